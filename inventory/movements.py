"""Movements of one tank, found from its trusted readings. Readings go in, what became of a movement comes out.

Means of half a minute are held against those of the last half hour; what has moved by more than day and night, the
surface and the register's own step explain is a movement. Its start and end are then found in the samples themselves
(`inventory.hinge`), so that the delay of the finding does not count. The volume is that at a reference temperature as
far as one spot probe can be believed: the mean temperature of a tank changes slowly, a probe that says otherwise (a
receipt that flows past it, a new sensor, none) moves the correction no faster than that. Refuses Bad readings, and to
say why something moves. What is slower than its threshold over half an hour (8 mm/h) it cannot see.
"""

import math
from collections import deque
from collections.abc import Callable, Sequence
from itertools import pairwise
from typing import Any, Final, NamedTuple

from inventory.hinge import Bend, bend, end_behind, turned
from inventory.movement import Event, Movement, Stage, Stand, movement_of
from inventory.onset import onset

MEAN_MS: Final = 30_000
WINDOW_MS: Final = 1_800_000
KEPT_MS: Final = 4_500_000
BREATH_M: Final = 0.001
"""What day and night may do to the surface, the gauge's mount included, within the window (ours; tests/bench)."""
STEPS: Final = 2.5
NOISES: Final = 7.0
"""What the surface must move beside that: so many steps of the register, or standard deviations of a mean at rest."""
UNLEARNED_M: Final = 0.004
LEARNED: Final = 20
"""What it must move at least while its noise is not known yet: until so many means at rest were seen (ours)."""
DRIFT_M_PER_S: Final = 0.002 / 3600
"""How fast day and night may move a tall tank's surface; in a gap without readings that is no movement (ours)."""
CORRECTION_PER_MS: Final = 2e-4 / 3_600_000
"""How fast the volume correction follows the probe: a tank's mean changes by 0.2 degC an hour (ours)."""

CALM_M: Final = 0.0015
CALM_MS: Final = (180_000, WINDOW_MS)
"""The surface is calm when it stays within `CALM_M` for so long; the slower the movement was, the longer."""
ROUGH_MS: Final = 7_200_000
"""So long after its farthest a surface that does not become calm is taken as it is."""
WAVE_MS: Final = 600_000
"""What is back where it was so soon was no movement of liquid through a pipe (ours)."""
GAP_MS: Final = 90_000
"""Without a sample for less than this there is no hole, however fast the polls are."""
UNCLEAR_MS: Final = 600_000
"""Where nothing was seen for so long while it moved, nobody knows whether it was one movement."""
FINE_MS: Final = 300_000
FINEST: Final = 1500
"""The start is looked for in the samples from so long before the one that the means tell; so many are kept."""
FLOW_MS: Final = 120_000
"""So much of the flow is fitted for its start at least: a slow start and what comes after it."""
STANDING: Final = 10
"""Means that make the level at rest before and after a movement: five minutes."""
SAVED: Final = 24
"""Means that outlive a restart."""
BEND_M: Final = 0.002
"""So far from the flat the start's line is fitted at least."""
LAST_MS: Final = 60_000
"""The end is fitted to at least the last minute of flow: the tail that a damped gauge draws is none of it."""
TAIL: Final = 5.0
"""So many time constants after the end a damped gauge still tells of it: 0.7 % is left then (computed)."""
PEAK_M: Final = 0.005
PEAK_MEANS: Final = 41
"""The fastest rate is one over at least this much of movement, and over no more than so many means."""
END_M: Final = 0.008
END_STEPS: Final = 8.0
"""So far from the flat the end's line is fitted: some steps of the register, or its last one alone would tell."""


class Mean(NamedTuple):
    """Half a minute of a tank. at_ms: elapsed time of its middle; clock_ms: what to add for people's time."""

    at_ms: int
    clock_ms: int
    volume_m3: float
    level_m: float
    tov_m3: float
    temperature_degC: float | None
    water_m: float | None


class Change(NamedTuple):
    """event: "begun", or the stage that was reached."""

    event: str
    movement: Movement


class MovementTracker:
    """One tank. area_m2: of its surface at an innage; hole_ms: so long without a sample is a hole (three polls).

    lag_ms: time constant of the transmitter's damping where it is known: times are those of the level ahead of it.
    """

    __slots__ = (
        "_area_m2", "_clock_ms", "_count", "_fine", "_hole_ms", "_lag_ms", "_last", "_last_ms", "_learned", "_level_m",
        "_levels", "_means", "_noise_m3", "_number", "_past", "_ratio", "_ratio_known", "_restored", "_step_m", "_tank",
        "_volumes", "made", "open",
    )  # fmt: skip

    def __init__(self, tank: str, area_m2: Callable[[float], float], hole_ms: int, lag_ms: float = 0.0) -> None:
        self._lag_ms = lag_ms
        self._tank, self._area_m2, self._hole_ms = tank, area_m2, max(GAP_MS, hole_ms)
        self._means: deque[Mean] = deque()
        self._fine: deque[tuple[float, float]] = deque(maxlen=FINEST)
        self._number, self._count, self._volumes, self._levels = 0, 0, 0.0, 0.0
        self._last: tuple[float, float | None, float | None, float | None] = (0.0, None, None, None)
        self._last_ms = 0
        self._clock_ms = 0
        self._level_m, self._step_m = 0.0, 1.0
        self._noise_m3, self._learned = 0.0, 0  # variance of a mean, from so many at rest
        self._ratio, self._ratio_known = 1.0, False
        self._past = 0
        self._restored = False
        self.made = 0
        self.open: Movement | None = None

    def add(
        self,
        at_ms: int,
        time_ms: int,
        level_m: float,
        tov_m3: float,
        gsv_m3: float | None,
        temperature_degC: float | None,
        water_m: float | None,
    ) -> Sequence[Change]:
        """One trusted reading, at_ms of elapsed time. Gives what it made known."""
        changes: Sequence[Change] = ()
        number = at_ms // MEAN_MS
        if number != self._number:
            if self._count:
                changes = self._whole()
            if self._restored:
                self._bridge(at_ms, time_ms)
            self._number = number
            self._clock_ms = time_ms - at_ms
        if level_m != self._level_m:
            step = abs(level_m - self._level_m)
            self._level_m = level_m
            if step < self._step_m and self._last_ms:
                self._step_m = step
        volume = tov_m3 * self._ratio
        self._fine.append((at_ms, volume))
        self._volumes += volume
        self._levels += level_m
        self._count += 1
        self._last_ms = at_ms
        self._last = tov_m3, gsv_m3, temperature_degC, water_m
        return changes

    def _bridge(self, at_ms: int, time_ms: int) -> None:
        """The first reading after a restart: the core's clock stood still meanwhile, the tank did not."""
        self._restored = False
        away = max(0, time_ms - at_ms - self._means[-1].clock_ms)
        if away < MEAN_MS:
            return
        self._means = deque(m._replace(at_ms=m.at_ms - away, clock_ms=m.clock_ms + away) for m in self._means)
        if self.open is not None:
            self.open.start_at_ms -= away
            self.open.extreme_at_ms -= away

    def blind(self, faults: Sequence[str]) -> None:
        """No trusted level now, for these loop faults: told on the movement that runs."""
        if self.open is not None:
            self.open.faults += [one for one in faults if one not in self.open.faults]

    def _whole(self) -> Sequence[Change]:
        """Half a minute is whole: correct, remember, judge."""
        tov, gsv, temperature, water = self._last
        level = self._levels / self._count
        volume = self._volumes / self._count
        self._count, self._volumes, self._levels = 0, 0.0, 0.0
        mean = Mean(
            self._number * MEAN_MS + MEAN_MS // 2, self._clock_ms, volume, level, volume / self._ratio, temperature,
            water,
        )  # fmt: skip
        before = self._means[-1] if self._means else None
        self._means.append(mean)
        while len(self._means) > 1 and self._means[1].at_ms < mean.at_ms - KEPT_MS:
            self._means.popleft()
        changes = self._watch(mean) if self.open is None else self._follow(self.open, mean, before)
        if self.open is None:
            if before is not None and self._past == 0 and mean.at_ms - before.at_ms == MEAN_MS:
                self._learned += 1
                new = (mean.volume_m3 - before.volume_m3) ** 2 / 2
                self._noise_m3 += max(0.05, 1 / self._learned) * (new - self._noise_m3)
            self._correct(tov, gsv)
        return changes

    def _correct(self, tov_m3: float, gsv_m3: float | None) -> None:
        if gsv_m3 is None or tov_m3 <= 0:
            return
        told = gsv_m3 / tov_m3
        if not self._ratio_known:  # the volumes so far were those of no temperature at all
            scale = told / self._ratio
            self._means = deque(m._replace(volume_m3=m.volume_m3 * scale) for m in self._means)
            self._fine = deque(((t, v * scale) for t, v in self._fine), maxlen=FINEST)
            self._ratio, self._ratio_known = told, True
            return
        most = CORRECTION_PER_MS * MEAN_MS
        self._ratio += min(most, max(-most, told - self._ratio))

    def _least_m3(self, level_m: float) -> float:
        area = self._area_m2(level_m)
        rest = max(area * STEPS * self._known_step_m, NOISES * math.sqrt(self._noise_m3))
        least = area * BREATH_M + rest
        known = self._learned >= LEARNED and self._known_step_m > 0  # a register that never moved has told no noise
        return least if known else max(least, area * UNLEARNED_M)

    def least_m(self, level_m: float) -> float:
        """How far the surface must move at a level to be told as a movement, as the noise is now."""
        area = self._area_m2(level_m)
        return self._least_m3(level_m) / area if area > 0 else UNLEARNED_M

    @property
    def _known_step_m(self) -> float:
        return self._step_m if self._step_m < 1.0 else 0.0

    # Still: has it begun to move?

    def _watch(self, mean: Mean) -> Sequence[Change]:
        least = self._least_m3(mean.level_m)
        means = self._means
        oldest = mean.at_ms - WINDOW_MS
        low = high = mean.volume_m3
        for one in reversed(means):
            if one.at_ms < oldest:
                break
            if one.volume_m3 < low:
                low = one.volume_m3
            elif one.volume_m3 > high:
                high = one.volume_m3
        gap = 0
        if len(means) > 1:
            before = means[-2]
            gap = mean.at_ms - before.at_ms
            if before.at_ms < oldest:  # nothing was seen for long: the level may be another one now
                least += gap / 1000 * DRIFT_M_PER_S * self._area_m2(mean.level_m)
                low, high = min(low, before.volume_m3), max(high, before.volume_m3)
        up, down = mean.volume_m3 - low, high - mean.volume_m3
        if max(up, down) < least:
            self._past = 0
            return ()
        sign = 1 if up >= down else -1
        if self._past * sign < 0 or gap > WINDOW_MS:
            self._past = 0
        self._past += sign
        return self._begin(mean, sign) if abs(self._past) > 1 or gap > self._hole_ms else ()

    def _begin(self, mean: Mean, sign: int) -> Sequence[Change]:
        self._past = 0
        self.made += 1
        at_ms, u95_s = self._start(mean, sign)
        rest = [one for one in self._means if one.at_ms + MEAN_MS // 2 <= at_ms][-STANDING:]
        start = _stand(rest or [min(self._means, key=lambda one: abs(one.at_ms - at_ms))])
        hole = self._gap_around(at_ms)
        movement = Movement(
            self._tank, self.made, sign, at_ms, at_ms + self._clock_ms, u95_s if rest else None, start, _stand([mean]),
            extreme_m3=mean.volume_m3, extreme_at_ms=mean.at_ms, unclear=hole > UNCLEAR_MS,
        )  # fmt: skip
        movement.blind_s = hole / 1000 if hole > self._hole_ms else 0.0
        moving = [one for one in self._means if one.at_ms >= at_ms]
        for count in range(3, len(moving) + 1):
            self._peak(movement, moving[:count])
        self.open = movement
        return (Change("begun", movement),)

    def _gap_around(self, at_ms: int) -> int:
        """The longest time without readings about the start."""
        times = [one.at_ms for one in self._means]
        holes = [b - a for a, b in pairwise(times) if a - MEAN_MS <= at_ms <= b + MEAN_MS]
        return max(holes, default=0)

    def _start(self, mean: Mean, sign: int) -> tuple[int, float]:
        """Elapsed time of the start and its expanded uncertainty in s: first by the means, then by the samples."""
        means = [(float(one.at_ms), one.volume_m3) for one in self._means]
        found = bend(means) or Bend(means[0][0], means[0][1], 0.0, MEAN_MS)
        reach = max(BEND_M, STEPS * self._known_step_m) * self._area_m2(mean.level_m)
        seen = [p for p in self._fine if found.at - FINE_MS <= p[0]]
        points = _till_beyond(seen, found.flat, reach)
        fine = bend(points) if points and points[0][0] <= found.at - MEAN_MS else None
        slack = reach / 2 / max(1e-12, abs(found.slope))  # a slow one's means see the day's drift as well
        if fine is None or abs(fine.at - found.at) > 4 * MEAN_MS + found.u95 + slack:
            return round(found.at - self._lag_ms), found.u95 / 1000
        until = max(points[-1][0], fine.at + FLOW_MS + 3 * self._lag_ms)
        noise = self._known_step_m / math.sqrt(12) * self._area_m2(mean.level_m)
        fed = [p for p in seen if p[0] <= until]
        best = onset(fed, self._lag_ms, fine, noise, slow_start=sign > 0) or fine
        return round(best.at), best.u95 / 1000

    # Moving: has it come to its end?

    def _peak(self, movement: Movement, means: Sequence[Mean]) -> None:
        """The fastest over a minute, or over as long as it takes to move by some steps of the register."""
        least = max(PEAK_M, STEPS * 2 * self._known_step_m) * self._area_m2(means[-1].level_m)
        last = means[-1]
        for first in reversed(means[:-2]):
            moved, took = last.volume_m3 - first.volume_m3, last.at_ms - first.at_ms
            if took > PEAK_MEANS * MEAN_MS:
                return
            if moved * movement.sign >= least:
                if abs(moved) / took * 1000 > abs(movement.peak_m3_per_s):
                    movement.peak_m3_per_s = moved / took * 1000
                return

    def _follow(self, movement: Movement, mean: Mean, before: Mean | None) -> Sequence[Change]:
        if before is not None and mean.at_ms - before.at_ms > self._hole_ms:
            gap = mean.at_ms - before.at_ms - MEAN_MS
            movement.blind_s += gap / 1000
            movement.unclear = movement.unclear or gap > UNCLEAR_MS
        sign = movement.sign
        movement.end = _stand([mean])
        if sign * (mean.volume_m3 - movement.extreme_m3) > 0:
            movement.extreme_m3, movement.extreme_at_ms = mean.volume_m3, mean.at_ms
        least = self._least_m3(mean.level_m)
        back = sign * (movement.extreme_m3 - mean.volume_m3)
        if back >= least:
            self._past -= sign
            if abs(self._past) > 1:
                return self._turn(movement, mean)
        else:
            self._past = 0
        if len(self._means) > 2:
            self._peak(movement, list(self._means)[-PEAK_MEANS:])
            self._slowed(movement, mean)
        calm = self._calm(movement, mean)
        if calm:
            return self._finish(movement, calm, Event.CALM)
        if movement.stage is Stage.SETTLING and mean.at_ms - movement.extreme_at_ms > ROUGH_MS:
            movement.rough = True
            return self._finish(movement, list(self._means)[-STANDING:], Event.ROUGH)
        return ()

    def _mean_rate(self, movement: Movement) -> float:
        """m3/ms so far, always positive."""
        took = max(MEAN_MS, movement.extreme_at_ms - movement.start_at_ms)
        return abs(movement.extreme_m3 - movement.start.volume_m3) / took

    def _slowed(self, movement: Movement, mean: Mean) -> None:
        first = self._means[-3]
        took = mean.at_ms - first.at_ms
        if took > 3 * MEAN_MS:
            return
        share = movement.sign * (mean.volume_m3 - first.volume_m3) / took / max(1e-12, self._mean_rate(movement))
        if movement.stage is Stage.MOVING and share < 0.15:
            movement.go(Event.SLOWED)
        elif movement.stage is Stage.SETTLING and share > 0.4:
            movement.go(Event.RESUMED)

    def _calm(self, movement: Movement, mean: Mean) -> list[Mean]:
        """The means of the calm surface, or none yet."""
        area = self._area_m2(mean.level_m)
        band = max(area * max(CALM_M, 1.2 * self._known_step_m), 5 * math.sqrt(self._noise_m3))
        wait = min(CALM_MS[1], max(CALM_MS[0], round(4 * band / max(1e-12, self._mean_rate(movement)))))
        some = []
        for one in reversed(self._means):
            if one.at_ms < mean.at_ms - wait:
                break
            some.append(one)
        if some[-1].at_ms > mean.at_ms - wait + MEAN_MS or some[-1].at_ms < movement.start_at_ms:
            return []
        volumes = [one.volume_m3 for one in some]
        return some[::-1] if max(volumes) - min(volumes) <= band else []

    def _finish(self, movement: Movement, calm: list[Mean], event: Event) -> Sequence[Change]:
        level = calm[-1].level_m
        flat = sum(one.volume_m3 for one in calm) / len(calm)
        reach = max(END_M, END_STEPS * self._known_step_m) * self._area_m2(level)
        half = abs(movement.moved_m3) / 2
        reach = min(half, max(reach, LAST_MS * self._mean_rate(movement)))
        means = turned([(float(one.at_ms), one.volume_m3) for one in self._means if one.at_ms >= movement.start_at_ms])
        found = bend(means) or Bend(-calm[0].at_ms, flat, 0.0, MEAN_MS)
        points = [p for p in self._fine if p[0] >= movement.start_at_ms]
        late = next((k for k in range(len(points) - 1, -1, -1) if abs(points[k][1] - flat) > reach), None)
        fine = None
        if late is not None and points[late][0] > points[0][0]:
            points = _till_beyond(turned(points), flat, reach)
            fine = bend(points)
        best = found if fine is None else fine
        end = -best.at
        if self._lag_ms:
            if fine is None:
                end -= self._lag_ms
            else:
                best = end_behind(turned(points), self._lag_ms, best._replace(at=end))
                end = best.at
        at_ms = min(max(round(end), movement.start_at_ms), self._means[-1].at_ms)
        movement.end_at_ms, movement.end_ms, movement.end_u95_s = at_ms, at_ms + self._clock_ms, best.u95 / 1000
        still_ms = at_ms + round(TAIL * self._lag_ms)
        rest = [one for one in self._means if one.at_ms - MEAN_MS // 2 >= still_ms][:STANDING]
        movement.end = _stand(rest or calm)
        mean = movement.moved_m3 / max(MEAN_MS, at_ms - movement.start_at_ms) * 1000
        if abs(movement.peak_m3_per_s) < abs(mean):  # too little for a rate of its own
            movement.peak_m3_per_s = mean
        came_back = abs(movement.moved_m3) < self._least_m3(level) / 2
        return self._over(movement, Event.CAME_BACK if came_back else event, still_ms)

    def _turn(self, movement: Movement, mean: Mean) -> Sequence[Change]:
        """It goes the other way: this one ends at its farthest, and another begins there."""
        top = movement.extreme_at_ms
        movement.end_at_ms, movement.end_ms, movement.end_u95_s = top, top + self._clock_ms, 2 * MEAN_MS / 1000
        movement.end = _stand([one for one in self._means if one.at_ms == top] or [mean])
        short = mean.at_ms - movement.start_at_ms < WAVE_MS
        if short and abs(mean.volume_m3 - movement.start.volume_m3) < self._least_m3(mean.level_m) / 2:
            return self._over(movement, Event.CAME_BACK, mean.at_ms - MEAN_MS)
        changes = self._over(movement, Event.TURNED, top)
        return [*changes, *self._begin(mean, -movement.sign)]

    def _over(self, movement: Movement, event: Event, at_ms: int) -> Sequence[Change]:
        movement.go(event)
        self.open, self._past = None, 0
        while len(self._means) > 1 and self._means[0].at_ms < at_ms + (0 if event is Event.TURNED else MEAN_MS // 2):
            self._means.popleft()
        return (Change(movement.stage.value, movement),)

    def rest_stand(self, at_ms: int) -> Stand | None:
        """The tank at rest: means of the last minutes. None while it moves, or where nothing was seen just now."""
        if self.open is not None or self._restored or not self._means:
            return None
        newest = self._means[-1].at_ms
        if at_ms - newest > 2 * self._hole_ms:
            return None
        return _stand([one for one in self._means if one.at_ms > newest - STANDING * MEAN_MS])

    def save(self) -> dict[str, Any]:
        """What outlives a restart: the movement that runs, the last minutes, what was learned."""
        return {
            "open": None if self.open is None else self.open.json(),
            "means": list(self._means)[-SAVED:],
            "made": self.made,
            "noise": self._noise_m3,
            "learned": min(self._learned, LEARNED),
            "step": self._step_m,
            "ratio": self._ratio if self._ratio_known else None,
        }

    def restore(self, saved: dict[str, Any]) -> None:
        self.open = None if saved["open"] is None else movement_of(saved["open"])
        self._means = deque(Mean(*one) for one in saved["means"])
        self.made, self._noise_m3, self._step_m = saved["made"], saved["noise"], saved["step"]
        self._learned = saved.get("learned", LEARNED)
        if saved["ratio"] is not None:
            self._ratio, self._ratio_known = saved["ratio"], True
        if self._means:
            self._restored = True


def _till_beyond(points: Sequence[tuple[float, float]], flat: float, reach: float) -> list[tuple[float, float]]:
    """The first part of a movement only, until two points in a row lie beyond: what a pump does later is no line."""
    some, beyond = [], 0
    for point in points:
        some.append(point)
        beyond = beyond + 1 if abs(point[1] - flat) > reach else 0
        if beyond >= 2:
            break
    return some


def _stand(means: Sequence[Mean]) -> Stand:
    n = len(means)
    told = [one.temperature_degC for one in means if one.temperature_degC is not None]
    water = [one.water_m for one in means if one.water_m is not None]
    return Stand(
        sum(one.level_m for one in means) / n,
        sum(one.volume_m3 for one in means) / n,
        sum(one.tov_m3 for one in means) / n,
        sum(told) / len(told) if told else None,
        sum(water) / len(water) if water else None,
    )
