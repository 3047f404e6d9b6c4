"""What the keys of [register_server] mean together, and what is unwise in them."""

import ipaddress

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report, listed, nearest
from gaugehouse.sitefile.registersfacts import MOST_TANKS, bad_value_of

_LEAST_LIKELY = -100_000.0
_MOST_LIKELY = 1e9
"""A bad value between these could be taken for a figure: a rate downward in m3/h, a mass upward in kg."""
_EVERY_ADDRESS = ("0.0.0.0", "::")  # noqa: S104  names only: what it means to listen there


def check_register_server(draft: Draft) -> None:
    """Every mistake of the table."""
    table = draft.file.register_server
    if table is None:
        return
    for place, word in enumerate(table.allow or ()):
        _network(draft, f"register_server.allow[{place}]", word)
    if table.allow == [] and draft.report_is_clean("register_server.allow"):
        text = "nobody may ask; name the control room's addresses, or take [register_server] out"
        draft.report.error("register_server.allow", text, found="[]", allowed='["10.1.2.0/24"]')
    if table.bad_value is not None:
        _bad_value(draft, table.bad_value)
    _port(draft)
    known = draft.ids("tank")
    tanks = table.tanks or []
    count = len(known if table.tanks is None else tanks)
    if count > MOST_TANKS or table.tanks == []:
        text = f"{count} tanks have no place in the map, 1 to {MOST_TANKS} have; name them in tanks = [...]"
        draft.report.error("register_server.tanks", text, found=str(count), allowed=f"1 to {MOST_TANKS}")
    for place, tank in enumerate(tanks):
        key = f"register_server.tanks[{place}]"
        if tank not in known:
            text = f'there is no tank "{tank}"{nearest(tank, known)}; the site has {listed(known)}'
            draft.report.error(key, text, found=tank, allowed=listed(known))
        elif tank in tanks[:place]:
            draft.report.error(key, f'tank "{tank}" stands there twice; keep one', found=tank)


def _port(draft: Draft) -> None:
    """Two servers cannot listen at one place."""
    table, console = draft.file.register_server, draft.file.console
    if table is None or table.port == 0 or table.port != console.port:
        return
    if table.host == console.host or {table.host, console.host} & set(_EVERY_ADDRESS):
        text = f"the console listens on port {table.port} already; write another one, such as 1502"
        draft.report.error("register_server.port", text, found=str(table.port), allowed=f"not {console.port}")


def _network(draft: Draft, key: str, word: str) -> None:
    allowed = '"10.1.2.3" or "10.1.2.0/24"'
    try:
        ipaddress.ip_network(word)
    except ValueError as error:
        mend = allowed
        if "host bits" in str(error):
            mend = f'"{ipaddress.ip_network(word, strict=False)}" for the network, or the address without a slash'
        draft.report.error(key, f'"{word}" is no address and no network; write {mend}', found=word, allowed=allowed)


def _bad_value(draft: Draft, word: str) -> None:
    key, allowed = "register_server.bad_value", '"NaN", or a number such as "-9999999"'
    try:
        value = bad_value_of(word)
    except ValueError:
        draft.report.error(key, f'"{word}" is no such value; write {allowed}', found=word, allowed=allowed)
        return
    if _LEAST_LIKELY < value < _MOST_LIKELY:
        text = f"{word} could be taken for a level, a volume or a mass; write {allowed}"
        draft.report.error(key, text, found=word, allowed=allowed)


def advise_register_server(site: Site, report: Report) -> None:
    """What is legal but unwise."""
    spec = site.register_server
    if spec is None:
        return
    for network in spec.allow:
        if network.prefixlen == 0:
            text = "everybody may read the figures; name the control room's own addresses"
            report.warn("register_server.allow", text, found=str(network), allowed="the addresses that ask")
    here = ("127.0.0.1", "::1", "localhost")
    if spec.host in here and any(not network.is_loopback for network in spec.allow):
        text = f"others may ask, and it listens on {spec.host} only; write the address of this machine"
        report.warn("register_server.host", text, found=spec.host, allowed='such as "0.0.0.0"')
