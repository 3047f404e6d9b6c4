"""What is due of tank status: released fuel that is to be tested again by the site's limit of age."""

from collections.abc import Iterator
from typing import TYPE_CHECKING, Final

from gaugehouse.days import day_of
from inventory.duelist import DAY_MS, Due

if TYPE_CHECKING:
    from gaugehouse.core import Core

AHEAD_MS: Final = 14 * DAY_MS


def recertifications(core: "Core", now_ms: int) -> Iterator[Due]:
    """Each released tank, two weeks ahead; nothing where the site names no age."""
    settling = core.site.settling
    if settling is None or settling.recertify_after_ms is None:
        return
    for tank in core.site.tanks:
        release = core.status.state(tank.id).release
        if release is None:
            continue
        until = release.time_ms + settling.recertify_after_ms
        yield Due(
            "fuel test",
            tank.id,
            "test the fuel again and release it anew",
            until - AHEAD_MS,
            until,
            "operator",
            f"/status?tank={tank.id}",
            f"every {settling.recertify_after_ms / DAY_MS:g} d ({settling.recertify_source})",
            f"{day_of(core.site.zone, release.time_ms).isoformat()} by {release.by}",
        )
