"""The status of the site's tanks: a room of the core that gathers what flows where, and keeps each tank's state.

What flows is told by the gauge's own movements, by meters that fill or draw from a tank, and by points that the site
names for it. One gauge sees only the difference of what flows in and out: both at once is seen only where a meter or a
point tells of one of the two. An order is no flow and counts as no evidence. No I/O, no clock.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from gaugehouse.act import Decision, Json
from gaugehouse.days import iso_ms
from gaugehouse.keeper import EMPTYING, FILLING, HOLE_POLLS, TankKeeper
from gaugehouse.meterflow import MeterFlows
from gaugehouse.movementrecords import AMENDED, MOVEMENT
from gaugehouse.site import PointSpec, Site
from inventory.movement import Stage
from inventory.settling import SettlingRules
from inventory.status import MAY_ISSUE, S
from inventory.tankstate import GAUGE, Change, Seen, TankState
from models.gauging import Extra
from models.reading import BAD, Instant, Reading
from models.tank import Linear

STATUS: Final = "tank_status"
"""The kind of the record book's entries."""

EVIDENCE_AGE_MS: Final = 60_000
"""A meter or point that was not read for longer tells of no flow."""

HOLE_MS: Final = 60_000
"""A tank without a reading for so long (or for three polls, if that is longer) was not watched."""

Newest = Callable[[Linear | None, int], Extra]


class StatusRoom:
    """flowing: which way the gauge's movement of a tank runs now: +1 in, -1 out, 0 none. Empty without settling rules:
    a site that names none keeps no status."""

    def __init__(
        self, site: Site, keepers: Mapping[str, TankKeeper], flowing: Callable[[str], int], newest: Newest
    ) -> None:
        self._site, self._keepers, self._flowing, self._newest = site, keepers, flowing, newest
        rules: Mapping[str, SettlingRules] = {} if site.settling is None else site.settling.rules
        self._states = {
            name: TankState(
                keeper.tank.table.top_m, rules[name],
                max(HOLE_MS, HOLE_POLLS * site.period_ms[keeper.tank.instrument]),
            )
            for name, keeper in keepers.items() if name in rules
        }  # fmt: skip
        self._meters = MeterFlows(site.meters if rules else ())
        named = () if site.settling is None else (site.settling.receiving, site.settling.issuing)
        self._points: list[tuple[PointSpec, bool]] = [
            (point, inward)
            for ids, inward in zip(named, (True, False), strict=False)
            for point in site.points
            if point.id in ids and point.tank is not None
        ]
        self._dirty: set[str] = set()

    def __bool__(self) -> bool:
        return bool(self._states)

    def state(self, tank: str) -> TankState:
        """Raises KeyError for a tank whose status is not kept."""
        return self._states[tank]

    def get(self, tank: str) -> TankState | None:
        return self._states.get(tank)

    def step(self, at: Instant, readings: Sequence[Reading], moved: Sequence[Decision]) -> list[Decision]:
        """What these readings make of the tanks' states. moved: what the movements have just told."""
        told = _told(moved) if moved else {}
        evidence = self._evidence(at) if self._points or self._meters.meters else {}
        decisions: list[Decision] = []
        for reading in readings:
            state = self._states.get(reading.tank)
            if state is None:
                continue
            way = self._flowing(reading.tank)
            trusted = reading.quality is not BAD
            if not (way or evidence or told) and state.rests(at.elapsed_ms, at.time_ms, trusted):
                continue
            beside_in, beside_out = evidence.get(reading.tank, ((), ()))
            stages = told.get(reading.tank, frozenset())
            seen = Seen(
                at.elapsed_ms,
                at.time_ms,
                reading.level_m,
                trusted,
                (GAUGE, *beside_in) if way > 0 else beside_in,
                (GAUGE, *beside_out) if way < 0 else beside_out,
                Stage.FINAL.value in stages,
                Stage.WITHDRAWN.value in stages,
            )
            before = state.flow_in, state.flow_out
            changes = state.see(seen)
            if changes or before != (state.flow_in, state.flow_out):
                self._dirty.add(reading.tank)
            decisions += [self.entry(reading.tank, change, at) for change in changes]
        return decisions

    def changed(self, tank: str) -> None:
        """A person has changed a tank's state."""
        self._dirty.add(tank)

    def entry(self, tank: str, change: Change, at: Instant) -> Decision:
        """What became of a tank as an entry of the record book, with the whole state as it is now."""
        body: Json = {
            "tank": tank,
            "event": change.event.value,
            "from": change.before.value,
            "to": change.after.value,
            "why": change.why,
            "by": change.by,
            "time": iso_ms(at.time_ms),
            "settling": settling_json(self._states[tank], at.time_ms),
            "release": release_json(self._states[tank]),
        }
        return Decision(STATUS, body)

    def moved_by_points(self) -> dict[str, set[str]]:
        """The tanks that points of the site's tell to fill now, and those that they tell to empty."""
        moved: dict[str, set[str]] = {FILLING: set(), EMPTYING: set()}
        for tank, inward, _ in self._pointed():
            moved[FILLING if inward else EMPTYING].add(tank)
        return moved

    def issues_unreleased(self, tank: str) -> bool | None:
        """Whether fuel flows out of a tank that is not released; None where nobody knows what flows."""
        state = self._states[tank]
        return bool(state.flow_out) and state.status not in MAY_ISSUE if state.known else None

    def both_ways(self, tank: str) -> bool | None:
        """Whether fuel flows in and out at once; None where nobody knows what flows."""
        state = self._states[tank]
        return bool(state.flow_in and state.flow_out) if state.known else None

    def _evidence(self, at: Instant) -> dict[str, tuple[tuple[str, ...], tuple[str, ...]]]:
        """Of each tank, what beside its gauge tells of a flow in and of a flow out."""
        found: dict[str, tuple[list[str], list[str]]] = {}
        for tank, inward, word in self._beside(at):
            found.setdefault(tank, ([], []))[0 if inward else 1].append(word)
        return {tank: (tuple(ins), tuple(outs)) for tank, (ins, outs) in found.items()}

    def _beside(self, at: Instant) -> Iterator[tuple[str, bool, str]]:
        if self._meters.meters:
            values = {m.id: self._newest(m.source, EVIDENCE_AGE_MS).value for m in self._meters.meters}
            running = self._meters.running(at.elapsed_ms, values)
            for meter in self._meters.meters:
                if meter.id in running:
                    if meter.fills is not None:
                        yield meter.fills, True, f"meter {meter.id}"
                    if meter.draws_from is not None:
                        yield meter.draws_from, False, f"meter {meter.id}"
        yield from self._pointed()

    def _pointed(self) -> Iterator[tuple[str, bool, str]]:
        for point, inward in self._points:
            if self._newest(point.source, EVIDENCE_AGE_MS).value and point.tank is not None:
                yield point.tank, inward, f"point {point.id}"

    # The room

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        return self.save_some(sorted(self._dirty) if changed_only else self.keys())

    def keys(self) -> Sequence[str]:
        """The keys of a full save."""
        return list(self._states)

    def save_some(self, keys: Iterable[str]) -> Mapping[str, Any]:
        """Of these keys alone what a full save gives."""
        saved = {name: self._states[name].save() for name in keys}
        self._dirty -= saved.keys()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if name in self._states:
                self._states[name].restore(state)


def _told(moved: Sequence[Decision]) -> dict[str, frozenset[str]]:
    """By tank, the stages that its movements have just come to; an amendment speaks of one that was over before."""
    stages: dict[str, set[str]] = {}
    for decision in moved:
        if decision.kind == MOVEMENT and decision.body["change"] != AMENDED:
            stages.setdefault(decision.body["tank"], set()).add(decision.body["stage"])
    return {tank: frozenset(found) for tank, found in stages.items()}


def settling_json(state: TankState, now_ms: int) -> Json | None:
    """A countdown for people and programs; None where none runs.

    until: when it is over if nothing disturbs it and the level is seen all the time.
    """
    counting = state.countdown
    if counting is None:
        return None
    rule = state.rules.rule
    return {
        "need_s": counting.need_ms / 1000,
        "counted_s": counting.counted_ms / 1000,
        "left_s": counting.left_ms / 1000,
        "until": None if counting.held or counting.over else iso_ms(now_ms + counting.left_ms),
        "since": iso_ms(counting.since_ms),
        "held": counting.held,
        "restarts": counting.restarts,
        "depth_m": counting.depth_m,
        "blind_s": counting.blind_ms / 1000,
        "blind_counts": state.rules.blind_counts,
        "down_s": counting.down_ms / 1000,
        "down_counts": state.rules.down_counts,
        "rule": rule.words,
        "source": rule.source,
    }


def release_json(state: TankState) -> Json | None:
    """The release in force; None where there is none."""
    release = state.release
    if release is None:
        return None
    body = release.json()
    time_ms = body.pop("time_ms")
    return body | {"time": iso_ms(time_ms)}


def status_json(tank: str, state: TankState, now_ms: int) -> Json:
    """A tank's state for the pages, the API and the command."""
    return {
        "tank": tank,
        "status": state.status.value,
        "since": iso_ms(state.since_ms) if state.since_ms else None,
        "by": state.by,
        "reason": state.reason,
        "flow_in": list(state.flow_in),
        "flow_out": list(state.flow_out),
        "may_issue": state.status in MAY_ISSUE,
        "settling": settling_json(state, now_ms) if state.status not in (S.RELEASED, S.IN_USE) else None,
        "release": release_json(state),
        "rule": state.rules.rule.words,
        "source": state.rules.rule.source,
    }
