"""Every page of the console, found by following its own links, so that a page added tomorrow is looked at tomorrow.

One address stands for all that differ by an id or a query only; `BESIDE` adds states of a page that look different.
"""

import re
from typing import Final
from urllib.parse import urljoin, urlsplit

import httpx

NOT_THERE: Final = ("/tank/nobody", "/nowhere")
BESIDE: Final = (
    "/tank/ostler-n", "/tank/harrowmead", "/tank/fennock", "/loops/LI-fennock", "/loops/LI-fennock/check",
    "/loops/LI-fennock/faults/1", "/loops/LI-fennock/faults/2", "/dips/ostler-n", "/leak?tank=ostler-s",
    "/status?tank=ostler-s", *NOT_THERE,
)  # fmt: skip
"""A lost level, a level beyond the range, a fault with its trace, a suspected loss, an address that is not."""
NEEDED: Final = {
    "/", "/tank/*", "/alarms", "/alarms/every", "/alarms/performance", "/buses", "/loops", "/loops/*", "/loops/*/check",
    "/loops/*/faults/*", "/stock", "/documents", "/dips", "/dips/*", "/receipts", "/status", "/leak",
}  # fmt: skip
"""Pages that must be there: a page that no link leads to would otherwise be left out unseen."""
ID: Final = re.compile(r"(?<=^/tank/)[^/]+|(?<=^/loops/)[^/]+|(?<=^/dips/)[^/]+|(?<=/)\d+(?=/|$)")


def kind_of(path: str) -> str:
    """An address without ids and query."""
    return ID.sub("*", urlsplit(path).path)


def every_page(url: str) -> list[str]:
    """Addresses of all pages of a running console.

    AssertionError: a link that leads nowhere, or a page that no link leads to.
    """
    found: dict[str, str] = {}
    waiting = ["/", *BESIDE]
    seen: set[str] = set()
    asked: set[str] = set()
    with httpx.Client(base_url=url, headers={"accept": "text/html"}, timeout=30) as client:
        while waiting:
            path = waiting.pop(0)
            kind = kind_of(path)
            if path.startswith("/api") or path in asked or (kind in seen and path not in BESIDE):
                continue
            if path.startswith("/reports/") and "?" in path:
                continue  # the fake's reports are of a year of their own; each is reached by its name alone too
            seen.add(kind)
            asked.add(path)
            answer = client.get(path)
            if path not in NOT_THERE:
                assert answer.status_code == 200, f"a link leads to {path}, which answers {answer.status_code}"
            if not answer.headers["content-type"].startswith("text/html") or "<html" not in answer.text:
                continue
            found[path] = kind
            links = re.findall(r'<a\b[^>]*?href="([^"#]+)', answer.text)
            here = [urlsplit(urljoin(url + path, link.replace("&amp;", "&"))) for link in links]
            waiting += [
                one.path + (f"?{one.query}" if one.query else "") for one in here if one.netloc == urlsplit(url).netloc
            ]
    missing = NEEDED - set(found.values())
    assert not missing, f"no link leads to {sorted(missing)}"
    return list(found)


def templates_of(pages: list[str]) -> list[str]:
    """Of pages that differ in their words only, as those of the help do, the first."""
    first: dict[str, str] = {}
    for path in pages:
        first.setdefault("/help/*" if path.startswith("/help/") else path, path)
    return list(first.values())
