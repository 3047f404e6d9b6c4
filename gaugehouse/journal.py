"""What the record book says about the daemon itself: its starts, and what changed in the site file between them."""

import json
from collections.abc import Mapping
from typing import Final

from gaugehouse.acts import Decision
from gaugehouse.site import Site, changes

SETTINGS: Final = "site/settings"
MODEL: Final = "site/model"


def started(site: Site, state: Mapping[str, str], build: str, now_ms: int, *, simulated: bool) -> list[Decision]:
    """The entries of a start: the build, each changed setting, each tank model seen for the first time."""
    out = [
        Decision("started", {"build": build, "site": site.id, "settings": site.fingerprint(), "simulated": simulated})
    ]
    if SETTINGS in state:
        for line in changes(json.loads(state[SETTINGS]), site.settings):
            out.append(Decision("setting_changed", {"change": line}))
    for tank in site.tanks:
        version = site.model_version(tank.id)
        if state.get(f"{MODEL}/{tank.id}/{version}") is None:
            out.append(
                Decision("model_version", {"tank": tank.id, "version": version, "model": site.model_settings(tank.id)})
            )
    last_ms = int(state.get("core/time_ms", "0"))
    if now_ms < last_ms:
        out.append(Decision("clock_behind", {"last_ms": last_ms, "now_ms": now_ms}))
    return out


def state_of_site(site: Site) -> dict[str, str | None]:
    """What the next start compares itself with."""
    state: dict[str, str | None] = {SETTINGS: json.dumps(dict(site.settings), sort_keys=True)}
    for tank in site.tanks:
        state[f"{MODEL}/{tank.id}/{site.model_version(tank.id)}"] = "1"
    return state
