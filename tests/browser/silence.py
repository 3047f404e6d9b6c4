"""How soon a page tells that its server says nothing any more, told by the page itself.

A machine that gives the page no turn, or brings it what was sent before only late, is not the page's doing: a beat of
its own tells for how long it got no turn, and what it heard last tells since when it could know.
"""

import time
from collections.abc import Callable
from typing import Any, Final

from playwright.sync_api import Page

SAYS_SO_MS: Final = 6_000

_LONGEST_MS: Final = 60_000
_WATCH: Final = """() => {
  Object.assign(window, { told: undefined, stood: 0, heard: 0 });
  const beat = 100, banner = document.getElementById("silent"), clock = document.getElementById("clock");
  let last = performance.now();
  clearInterval(window.beating);
  window.beating = setInterval(() => {
    const now = performance.now();
    window.stood = Math.max(window.stood, now - last - beat);
    last = now;
  }, beat);
  if (window.watched) return;
  window.watched = true;
  new MutationObserver(() => { window.told ??= banner.hasAttribute("data-off") ? undefined : Date.now(); })
    .observe(banner, { attributes: true });
  new MutationObserver(() => { window.heard = Date.now(); })
    .observe(clock, { childList: true, characterData: true, subtree: true });
}"""


def late_pages(pages: list[tuple[str, Page]], silence: Callable[[], None]) -> list[str]:
    """Silence the server; the pages (by name) that tell of it too late, each with how late."""
    for _, page in pages:
        page.evaluate(_WATCH)
    since_ms = 1000 * time.time()
    silence()
    late = []
    for name, page in pages:
        page.wait_for_function("() => window.told", timeout=_LONGEST_MS)
        found: dict[str, Any] = page.evaluate("() => ({ told, stood, heard })")
        took_ms = found["told"] - max(since_ms, found["heard"])
        if took_ms > SAYS_SO_MS + found["stood"]:
            late.append(f"{name} after {took_ms:.0f} ms, of which it got no turn for {found['stood']:.0f} ms")
        assert page.title().startswith("NO DATA"), name
    return late
