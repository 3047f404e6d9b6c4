"""What the keys of the [[store.server]] tables mean together, and what is unwise in them."""

from collections.abc import Iterator, Mapping
from typing import Final
from urllib.parse import urlsplit

from gaugehouse.sitefile.draft import Draft
from gaugehouse.sitefile.facts import Site
from gaugehouse.sitefile.problems import Report
from gaugehouse.sitefile.reading import label
from gaugehouse.sitefile.serverschema import ServerTable

_LOOPBACK: Final = ("127.0.0.1", "::1", "localhost")


def check_servers(draft: Draft) -> None:
    """Every mistake of the servers."""
    seen: set[str] = set()
    for key, table in _servers(draft):
        if table.id is not None and table.id in seen:
            text = f'the id "{table.id}" is given twice; each server has its own'
            draft.report.error(f"{key}.id", text, found=table.id)
        seen.add(table.id)
        if table.url is not None:
            _url(draft, f"{key}.url", table)
        if table.token_file is not None and table.token_env is not None:
            text = "the token has two places; keep one of `token_file` and `token_env`"
            draft.report.error(f"{key}.token_env", text, found=table.token_env)
        for name in ("token_file", "ca"):
            file = getattr(table, name)
            if file is not None and not (draft.folder / file).is_file():
                text = f'there is no file "{file}"; the path counts from the folder of the site file'
                draft.report.error(f"{key}.{name}", text, found=file)


def _servers(draft: Draft) -> Iterator[tuple[str, ServerTable]]:
    store = draft.raw.get("store")
    raw = store.get("server") if isinstance(store, Mapping) else None
    written = [(k, one) for k, one in enumerate(raw) if isinstance(one, Mapping)] if isinstance(raw, list) else []
    tables = (draft.file.store.server if draft.file.store is not None else None) or ()
    for (index, given), table in zip(written, tables, strict=False):
        yield f"store.server[{label(given, index)}]", table


def _url(draft: Draft, key: str, table: ServerTable) -> None:
    allowed = '"https://host:port", with a path where the server stands behind one'
    try:
        parts = urlsplit(table.url)
        sound = parts.scheme in ("http", "https") and bool(parts.hostname) and (parts.port is None or parts.port > 0)
    except ValueError:
        parts, sound = urlsplit(""), False
    if not sound:
        draft.report.error(key, f'"{table.url}" is no address; write {allowed}', found=table.url, allowed=allowed)
    elif parts.username is not None or parts.password is not None:
        text = (
            "a password never stands in the site file; write name:password into a file and name it with `token_file`, "
            "or into a variable with `token_env`"
        )
        draft.report.error(key, text, allowed="no user and password")
    elif parts.query or parts.fragment:
        draft.report.error(key, f"nothing may follow the path; write {allowed}", found=table.url, allowed=allowed)
    elif parts.path.rstrip("/").endswith(("/write", "/api/v2", "/query")):
        text = "give the address before /api/v2/write and /query: they are added"
        draft.report.error(key, text, found=table.url, allowed=allowed)
    elif parts.scheme == "http" and table.ca is not None:
        draft.report.error(f"{_table(key)}.ca", "has no use without TLS; write https, or remove it", found=table.ca)


def _table(key: str) -> str:
    """The table that a key stands in."""
    return key.rpartition(".")[0]


def advise_servers(site: Site, report: Report) -> None:
    """What is legal but unwise."""
    for server in site.servers:
        parts = urlsplit(server.url)
        if parts.scheme == "http" and parts.hostname not in _LOOPBACK:
            what = "the token and the readings cross" if server.token else "the readings cross"
            text = f"{what} the network in the clear; use https"
            report.warn(f"store.server[{server.id}].url", text, found="http", allowed="https")
    if site.keep_readings_ms is not None and not any(server.reads for server in site.servers):
        text = "what is older is kept as roll-ups only; a server with reads = true would still have the single readings"
        if site.servers:
            report.warn("store.keep_readings", text)
