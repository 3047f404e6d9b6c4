"""Doors that take bytes from outside, as functions of bytes: pelted briefly by hypothesis in `make test`, and for as
long as wanted by atheris, which watches what each input reaches: `python -m tests.fuzz TARGET SECONDS` (extra `fuzz`).
"""
