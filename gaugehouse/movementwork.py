"""Movements of the site's tanks: a room of the core that feeds the trackers, pairs transfers, joins orders.

Knows how a reading becomes a tracker's input and what a change of a movement becomes in the record book. The book of
stock is fed by documents; a movement found here only stands beside it. No I/O, no clock.
"""

from collections import deque
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from typing import Any, Final

from gaugehouse.act import Decision
from gaugehouse.keeper import HOLE_POLLS, TankKeeper
from gaugehouse.movementrecords import AMENDED, MOVEMENT, movement_body, movement_row
from gaugehouse.plans import RECEIPT, Plans
from gaugehouse.site import Site
from inventory.moved import moved
from inventory.movement import Movement, Stage, Stand, movement_of
from inventory.movements import Change, MovementTracker
from inventory.ordered import Order, moved_before
from inventory.pairing import partner
from models.reading import EXACT, GOOD, Instant, Reading
from models.stock_budget import AT_REST

RECENT: Final = 4
RECENT_MS: Final = 86_400_000
"""A transfer's other side is looked for among so many final movements of a tank, no older than a day."""

Faults = Callable[[], Mapping[str, tuple[str, ...]]]


class MovementWork:
    """declared: the loop fault classes in force, by instrument."""

    def __init__(self, site: Site, keepers: Mapping[str, TankKeeper], plans: Plans, declared: Faults) -> None:
        self._site, self._keepers, self._plans, self._declared = site, keepers, plans, declared
        self._trackers = {
            name: MovementTracker(
                name,
                keeper.tank.table.area_m2,
                HOLE_POLLS * site.period_ms[keeper.tank.instrument],
                _damping_ms(site, name),
            )
            for name, keeper in keepers.items()
        }
        self._adders = {name: tracker.add for name, tracker in self._trackers.items()}
        self._recent: dict[str, deque[Movement]] = {name: deque(maxlen=RECENT) for name in keepers}
        self._dirty: set[str] = set()
        self._judged_ms = 0

    def step(self, at: Instant, readings: Sequence[Reading]) -> list[Decision]:
        """What these readings made known of movements."""
        decisions: list[Decision] = []
        adders, elapsed_ms = self._adders, at.elapsed_ms
        for reading in readings:
            tov = reading.tov_m3
            if reading.quality is GOOD and tov is not None and reading.bound is EXACT:
                assert reading.level_m is not None
                changes = adders[reading.tank](
                    elapsed_ms, reading.time_ms, reading.level_m, tov, reading.gsv_m3, reading.temperature_degC,
                    reading.water_m,
                )  # fmt: skip
                for change in changes:
                    decisions += self._told(at, change)
            else:
                self._blind(reading.tank)
        if elapsed_ms - self._judged_ms >= 30_000:
            self._judged_ms = elapsed_ms
            decisions += self._joined()
        return decisions

    def open(self) -> list[Movement]:
        """The movements that run or settle."""
        return [tracker.open for tracker in self._trackers.values() if tracker.open is not None]

    def running(self, tank: str) -> Movement | None:
        """The movement of a tank that runs or settles."""
        return self._trackers[tank].open

    def rest_of(self, tank: str, at: Instant) -> Stand | None:
        """The tank at rest, by the means of its last minutes."""
        return self._trackers[tank].rest_stand(at.elapsed_ms)

    def since(self, tank: str, from_ms: int) -> list[Movement]:
        """What has moved in a tank since a time: the newest final ones, and the one that runs."""
        known = [*self._recent[tank], *(one for one in (self._trackers[tank].open,) if one is not None)]
        return [one for one in known if (one.end_ms or one.start_ms) >= from_ms or one.stage is not Stage.FINAL]

    def finals(self, tank: str) -> list[Movement]:
        """The newest final movements of a tank, oldest first."""
        return list(self._recent[tank])

    def amend(self, movement: Movement) -> Decision:
        """A final movement of `finals` is known otherwise now: a new entry takes the place of its newest one."""
        return self._entry(AMENDED, movement)

    def stretches(self, tank: str) -> Iterator[tuple[int, int | None]]:
        """From when to when a tank has moved lately, site's time; None for an end that is not known yet."""
        tracker = self._trackers[tank]
        for movement in self._recent[tank]:
            yield movement.start_ms, movement.end_ms
        if tracker.open is not None and tracker.open.stage is Stage.MOVING:
            yield tracker.open.start_ms, None

    def flowing(self, tank: str) -> int:
        """Which way a tank's movement runs now: +1 in, -1 out, 0 where none does; one whose surface settles is over."""
        movement = self._trackers[tank].open
        return movement.sign if movement is not None and movement.stage is Stage.MOVING else 0

    def least_m(self, tank: str, level_m: float) -> float:
        """How far the surface of a tank must move now to be told as a movement."""
        return self._trackers[tank].least_m(level_m)

    def row(self, movement: Movement) -> dict[str, Any]:
        """A movement with the columns of movements.csv."""
        return movement_row(movement, self._moved(movement))

    def _blind(self, tank: str) -> None:
        tracker = self._trackers[tank]
        if tracker.open is not None:
            tracker.blind(self._declared().get(self._keepers[tank].tank.instrument, ()))

    def _told(self, at: Instant, change: Change) -> Iterator[Decision]:
        movement, event = change.movement, change.event
        known = self._keepers[movement.tank].known
        air = None if known is None else known.gauging.ambient_degC
        if event == "begun":
            movement.ambient_degC = air, air
            movement.rested = known is not None and known.rest is AT_REST
        else:
            movement.ambient_degC = movement.ambient_degC[0], air
        self._join(movement)
        if movement.stage in (Stage.FINAL, Stage.WITHDRAWN):
            if movement.pair and movement.stage is Stage.WITHDRAWN:
                yield from self._unpair(movement)
            recent = self._recent[movement.tank]
            while recent and at.elapsed_ms - recent[0].start_at_ms > RECENT_MS:
                recent.popleft()
            if movement.stage is Stage.FINAL:
                recent.append(movement)
                yield from self._pair(movement)
        yield self._entry(event, movement)

    def _entry(self, change: str, movement: Movement) -> Decision:
        movement.revision += 1
        self._dirty.add(movement.tank)
        return Decision(MOVEMENT, movement_body(change, movement, self._moved(movement)))

    def _moved(self, movement: Movement) -> Any:
        stock = self._keepers[movement.tank].stock
        return moved(movement, stock, self._site.accuracy[movement.tank])

    # What was ordered

    def _join(self, movement: Movement) -> bool:
        """Whether that made a difference."""
        if movement.ordered == "yes" or not self._plans:
            return False
        plan = self._plans.get(movement.tank)
        movement.product = self._keepers[movement.tank].tank.product
        if plan is None:
            movement.order = None
        else:
            order = Order(plan.kind, plan.product, plan.quantity_m3, plan.rate_m3_per_s, plan.by, plan.made_ms)
            movement.order = tuple(order)
            movement.ordered_before_m3 = moved_before(order, self._recent[movement.tank])
        fits = plan is not None and (plan.kind == RECEIPT) == (movement.sign > 0)
        before, movement.ordered = movement.ordered, "yes" if fits else "no"
        return before != movement.ordered

    def _joined(self) -> Iterator[Decision]:
        """Each half minute: what people ordered meanwhile, and two that turn out to be one transfer."""
        for tracker in self._trackers.values():
            movement = tracker.open
            if movement is None:
                continue
            if self._join(movement):
                self._dirty.add(movement.tank)
            if not movement.pair:
                yield from self._pair(movement)

    # Transfers

    def _others(self, movement: Movement) -> Iterator[Movement]:
        product = self._keepers[movement.tank].tank.product
        for name, tracker in self._trackers.items():
            if name != movement.tank and self._keepers[name].tank.product == product:
                if tracker.open is not None:
                    yield tracker.open
                yield from self._recent[name]

    def _pair(self, movement: Movement) -> Iterator[Decision]:
        """Look for the other side; one that is final already is amended. A pair that no longer fits is undone."""
        mine, others = _name(movement), list(self._others(movement))
        free = [other for other in others if other.pair in ("", mine)]
        other = partner(movement, free)
        if other is not None and movement.pair == _name(other):
            return
        if movement.pair:
            yield from self._unpair(movement)
        if other is None or (movement.stage is not Stage.FINAL and other.stage is Stage.FINAL):
            return
        movement.pair, other.pair = _name(other), mine
        self._dirty |= {movement.tank, other.tank}
        if other.stage is Stage.FINAL:
            yield self._entry(AMENDED, other)

    def _unpair(self, movement: Movement) -> Iterator[Decision]:
        for other in self._others(movement):
            if _name(other) == movement.pair:
                other.pair = ""
                self._dirty.add(other.tank)
                if other.stage is Stage.FINAL:
                    yield self._entry(AMENDED, other)
        movement.pair = ""

    # The room

    def save(self, changed_only: bool) -> Mapping[str, Any]:
        return self.save_some(sorted(self._dirty) if changed_only else self.keys())

    def keys(self) -> Sequence[str]:
        """The keys of a full save."""
        return list(self._trackers)

    def save_some(self, keys: Iterable[str]) -> Mapping[str, Any]:
        """Of these keys alone what a full save gives."""
        saved = {
            name: {
                "tracker": self._trackers[name].save(),
                "recent": [movement.json() for movement in self._recent[name]],
            }
            for name in keys
        }
        self._dirty -= saved.keys()
        return saved

    def restore(self, saved: Mapping[str, Any]) -> None:
        for name, state in saved.items():
            if name in self._trackers:
                self._trackers[name].restore(state["tracker"])
                self._recent[name].extend(movement_of(one) for one in state["recent"])


def _damping_ms(site: Site, tank: str) -> int:
    """The time constant of the tank's transmitter, where the site tells it."""
    response = site.extras[tank].response
    return 0 if response is None else response.damping_ms


def _name(movement: Movement) -> str:
    return f"{movement.tank}:{movement.number}"
