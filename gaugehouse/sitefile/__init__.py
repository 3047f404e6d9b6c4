"""The site file: TOML text -> checked tables -> the domain objects of a site, with every mistake told at once.

pydantic and pint stay in here; what leaves are plain values in SI (`gaugehouse.site.Site`).
"""
