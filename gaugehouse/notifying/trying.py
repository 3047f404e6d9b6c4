"""`gaugehouse notify-test`: one marked message through one channel, and what the other side answered.

Goes straight out, beside a running daemon and without one: it touches neither the record book nor a bus.
"""

import asyncio
import logging
import time
from argparse import Namespace
from pathlib import Path
from typing import Any

from alerts.notify.letter import letter_of_test
from gaugehouse.errors import CallError
from gaugehouse.notifying.faces import house_of
from gaugehouse.notifying.postroom import sender_of
from gaugehouse.notifying.sender import SendTrouble, hush_libraries
from gaugehouse.printing import as_json
from gaugehouse.site import Site, load_site


def notify_test(args: Namespace) -> int:
    """0 when the other side took it, 1 when it did not; 2 for a channel that the site does not have."""
    site = load_site(Path(args.site))
    result = asyncio.run(_try(site, args.channel, args.by))
    if args.json:
        print(as_json(result))
    else:
        words = "taken" if result["taken"] else "NOT taken"
        print(f"{result['channel']} ({result['kind']}, for {result['who']}): {words} after {result['seconds']:.2f} s")
        print(result["answer"])
    return 0 if result["taken"] else 1


async def _try(site: Site, channel: str, by: str) -> dict[str, Any]:
    spec = next((spec for spec in site.channels if spec.id == channel), None)
    if spec is None:
        known = ", ".join(spec.id for spec in site.channels)
        there = f"there are {known}" if known else "there is no [[notify]] in it"
        raise CallError(f"{site.path}: no channel {channel!r}; {there}")
    hush_libraries()
    url = f"http://{site.console_host}:{site.console_port}"
    letter = letter_of_test(spec.id, house_of(site, spec, url, simulated=False), time.time_ns() // 1_000_000, by)
    begun = time.monotonic()
    taken = True
    quiet = logging.getLogger("collector")
    level = quiet.level
    quiet.setLevel(logging.ERROR)  # the answer tells what the connection's log would
    try:
        answer = await sender_of(spec, site).send(letter)
    except SendTrouble as trouble:
        taken, answer = False, str(trouble)
    finally:
        quiet.setLevel(level)
    return {
        "channel": spec.id,
        "kind": spec.kind,
        "who": spec.who,
        "taken": taken,
        "seconds": round(time.monotonic() - begun, 3),
        "answer": answer,
        "key": letter.key,
    }
