"""What happens in each labelled case: one function a label, all of its luck drawn by seed.

A case begins with some quiet or moving minutes (or days, where the cause shows itself by hours), then the fault comes,
and somebody looks: at the first sign of it, give or take half a minute. What the site's own fault tracker would have
declared is not known here.
"""

from collections.abc import Callable
from random import Random
from typing import Final

from simulator.cases.plant import LOOP, OTHER, Plant, plant, with_cabinet, with_gauge
from simulator.cases.recorded import Case, Dip, Recorder
from simulator.chance import stream
from simulator.farm import Farm
from simulator.layout import STEP_MS, Act, Planned

HOUR_S: Final = 3600
DAY_S: Final = 24 * HOUR_S
SLOW_S: Final = 5
"""Cases that last for days are polled every five seconds, the others every second."""


class _Play:
    """One case while it is played."""

    def __init__(self, label: str, seed: int, drawn: Plant, *, metered: bool = True, period_s: int = 1) -> None:
        self.label, self.seed, self.plant = label, seed, drawn
        self.luck: Random = stream(seed, label, "play")
        self.farm = Farm(seed, drawn.start_ms, drawn.layout, drawn.weather, step_ms=STEP_MS if period_s == 1 else 5000)
        missed = self.luck.choice((0.0, 0.0005, 0.003))
        both = ("a", "b") if metered and len(drawn.layout.tanks) == 2 else ()
        self.recorder = Recorder(self.farm, seed, missed_frac=missed, metered=both, period_s=period_s)
        self.pointed_ms: int | None = None
        self.dips: list[Dip] = []

    def run(self, seconds: float) -> None:
        self.recorder.run(round(seconds))

    def point(self) -> None:
        """Here is the first sign."""
        if self.pointed_ms is None:
            self.pointed_ms = self.farm.now_ms

    def move(self, act: Act, rise_m_per_h: float, height_m: float, tank: str = "a") -> None:
        """Start a movement that changes the level of a tank at so much an hour, by so much at the most."""
        area = self.plant.area_m2
        flow = rise_m_per_h * area
        if act is Act.RECEIVE:
            top = self.farm.truth()[tank].level_m + height_m
            self.farm.start(Planned(0, act, tank, flow, to_level_m=top))
        else:
            self.farm.start(Planned(0, act, tank, flow, volume_m3=height_m * area))

    def some_movement(self, chance: float = 0.5) -> None:
        """Whatever goes on at a farm."""
        if self.luck.random() < chance:
            act = self.luck.choice((Act.RECEIVE, Act.ISSUE))
            self.move(act, self.luck.uniform(0.15, 1.2), self.luck.uniform(0.1, 0.5))

    def before(self) -> None:
        """Twenty minutes or so before the fault."""
        self.run(self.luck.uniform(240, 600))
        self.some_movement()
        self.run(self.luck.uniform(500, 900))

    def shared(self) -> bool:
        return self.plant.shares_supply

    def case(self, *, blocking_m: float | None = None, loop_powered: bool = False) -> Case:
        drawn, others = self.plant, self.recorder.loops
        assert self.pointed_ms is not None
        pointed = self.pointed_ms + round(1000 * self.luck.uniform(0, 30))
        mine = others.pop(LOOP)
        return Case(
            self.label, self.seed, mine, others, pointed, drawn.gauge.at_4mA_m, drawn.gauge.at_20mA_m, blocking_m,
            loop_powered, drawn.step_mA, drawn.gauge.noise_mA, drawn.area_m2,
            (OTHER,) if self.shared() and others else (), self.dips,
        )  # fmt: skip


def _injected(
    label: str, seed: int, kind: str, value: Callable[[Random], float | None], *, powered: float = 0.0
) -> Case:
    """The common form: something comes at once and stays for some minutes, sometimes to the end of the record."""
    drawn = plant(label, seed)
    powered_by_loop = stream(seed, label, "powered").random() < powered
    if powered_by_loop:
        drawn = with_gauge(drawn, loop_powered=True)
    play = _Play(label, seed, drawn)
    play.before()
    lasts = play.luck.uniform(300, 1200)
    play.farm.inject(LOOP, kind, lasts, value=value(play.luck))
    if kind == "supply_lost" and play.shared():
        play.farm.inject(OTHER, kind, lasts)
    play.point()
    play.run(lasts + play.luck.choice((-60, 120, 300)))
    return play.case(loop_powered=powered_by_loop)


def open_circuit(seed: int) -> Case:
    return _injected("open_circuit", seed, "open_loop", lambda luck: None, powered=0.3)


def supply_lost(seed: int) -> Case:
    return _injected("supply_lost", seed, "supply_lost", lambda luck: None, powered=0.3)


def short(seed: int) -> Case:
    """Before the receiver (the limiter's current), or across the receiver (nothing arrives, the field shows it)."""
    if stream(seed, "short", "which").random() < 0.35:
        return _injected("short", seed, "bypassed", lambda luck: None)
    return _injected("short", seed, "short", lambda luck: luck.uniform(22.2, 34))


def fail_low(seed: int) -> Case:
    return _injected("fail_low", seed, "fail_low", lambda luck: luck.uniform(3.1, 3.59))


def fail_high(seed: int) -> Case:
    return _injected("fail_high", seed, "fail_high", lambda luck: luck.uniform(21.02, 22.8))


def reset_cycling(seed: int) -> Case:
    return _injected("reset_cycling", seed, "resetting", lambda luck: luck.uniform(18, 110))


def interference(seed: int) -> Case:
    return _injected("interference", seed, "interference", lambda luck: luck.uniform(0.05, 0.5))


def surge_step(seed: int) -> Case:
    """Lightning: the step stays. Half of the time another loop got its part of it."""
    play = _Play("surge_step", seed, plant("surge_step", seed))
    play.before()
    play.farm.inject(LOOP, "surge", value=_either(play.luck, 0.12, 3.0))
    if play.luck.random() < 0.5:
        play.farm.inject(OTHER, "surge", value=_either(play.luck, 0.1, 2.0))
    play.point()
    play.run(play.luck.uniform(600, 1500))
    return play.case()


def frozen_register(seed: int) -> Case:
    return _injected("frozen_register", seed, "frozen", lambda luck: None)


def wrong_unit(seed: int) -> Case:
    return _injected("wrong_unit", seed, "wrong_unit", lambda luck: 2.0)


def lost_echo(seed: int) -> Case:
    """The level is held while the tank moves; most times a meter sees that."""
    which = stream(seed, "metered")
    held_first = which.random() < 0.4  # then only a meter can see it
    play = _Play("lost_echo", seed, plant("lost_echo", seed), metered=held_first or which.random() < 0.75)
    luck = play.luck
    play.run(luck.uniform(400, 900))
    if held_first:
        play.farm.inject(LOOP, "held")
        play.run(luck.uniform(30, 200))
    play.point()
    play.move(luck.choice((Act.RECEIVE, Act.ISSUE)), luck.uniform(0.2, 1.5), 2.0)
    if not held_first:
        play.run(luck.uniform(240, 600))
        play.farm.inject(LOOP, "held")
        play.pointed_ms = play.farm.now_ms
    play.run(luck.uniform(700, 1500))
    return play.case()


def starved(seed: int) -> Case:
    """A receipt rises to what the supply can drive; now and then the level falls below it again."""
    drawn = plant("starved", seed, filled=(0.35, 0.75))
    luck = stream(seed, "starved", "supply")
    if luck.random() < 0.6:
        drawn = with_cabinet(drawn, supply_V=luck.uniform(14, 19))
    cabinet = drawn.layout.units[0].cabinet
    assert cabinet is not None
    ceiling = drawn.mA_of(drawn.level_m) + luck.uniform(0.12, 0.35)
    least_V = cabinet.supply_V - cabinet.source_ohm * (cabinet.heater_mA + ceiling) / 1000
    play = _Play("starved", seed, drawn)
    play.farm.inject(LOOP, "starved", value=1000 * (least_V - 10.5) / ceiling)
    play.run(luck.uniform(300, 600))
    play.move(Act.RECEIVE, luck.uniform(0.6, 1.8), 1.5)
    unit = play.farm.unit(LOOP)
    for _ in range(4000):
        play.run(1)
        gauge = unit.gauge
        assert gauge is not None
        if gauge.level_m - gauge.of_current(gauge.current_mA) > 0.01:
            break
    play.point()
    play.run(luck.uniform(700, 1500))
    if luck.random() < 0.5:
        play.farm.stop("a")
        play.run(60)
        play.move(Act.ISSUE, luck.uniform(0.8, 1.8), 1.5)
        play.run(luck.uniform(600, 1500))
    return play.case()


def blocking_limit(seed: int) -> Case:
    """A receipt rises into the gauge's dead zone; its limit stands in the site file, to the centimetre."""
    drawn = plant("blocking_limit", seed, filled=(0.8, 0.85))
    luck = stream(seed, "blocking_limit", "reach")
    reach = drawn.level_m + luck.uniform(0.1, 0.35)
    play = _Play("blocking_limit", seed, with_gauge(drawn, reach_m=reach))
    play.run(luck.uniform(300, 600))
    play.move(Act.RECEIVE, luck.uniform(0.4, 1.5), 0.9)
    for _ in range(6000):
        play.run(1)
        if play.farm.truth()["a"].level_m > reach:
            break
    play.point()
    play.run(luck.uniform(600, 1200))
    return play.case(blocking_m=round(reach, 2))


def _day(play: _Play, days: float, movements: int = 4) -> None:
    """Receipts and issues over some days, mostly by day; the level stays between a fifth and nine tenths."""
    luck, height = play.luck, play.plant.height_m
    moments = sorted(luck.uniform(0, days * DAY_S) for _ in range(round(movements * days)))
    at = 0.0
    for moment in moments:
        play.run(moment - at)
        at = moment
        level = play.farm.truth()["a"].level_m
        if level < 0.45 * height:
            play.move(Act.RECEIVE, luck.uniform(0.4, 1.5), luck.uniform(0.1, 0.4) * height)
        else:
            play.move(Act.ISSUE, luck.uniform(0.2, 1.0), luck.uniform(0.03, 0.12) * height)
    play.run(days * DAY_S - at)


def leak(seed: int) -> Case:
    """Water in a junction box: a night and two half days. Looked at when the box is wettest."""
    drawn = plant("leak", seed, hour=stream(seed, "leak", "hour").uniform(11, 14), alone=True)
    play = _Play("leak", seed, drawn, period_s=SLOW_S)
    play.farm.inject(LOOP, "leak", value=_either(play.luck, 0.2, 1.5, negative=0.8))
    _day(play, 1.2)
    loop = play.recorder.loops[LOOP]
    panel = {row.time_ms: row.current_mA for row in loop.rows}
    apart = [(abs(mA - s.value), s.time_ms) for s in loop.around["field_current"] if (mA := panel[s.time_ms])]
    play.pointed_ms = max(apart)[1]
    return play.case()


def _window(label: str, seed: int) -> Case:
    """Two nights with a wet window. Looked at when the last episode begins."""
    drawn = plant(label, seed, hour=stream(seed, label, "hour").uniform(11, 15), alone=True)
    play = _Play(label, seed, drawn, period_s=SLOW_S)
    play.farm.inject(LOOP, label, value=play.luck.uniform(0.3, 1.0))
    _day(play, 1.9)
    gauge = drawn.gauge
    wrong = [
        row.time_ms
        for row in play.recorder.loops[LOOP].rows
        if row.current_mA is not None and (not 3.8 <= row.current_mA <= 20.5)
    ]
    assert gauge is not None
    play.pointed_ms = wrong[-1] - 10_000 if wrong else play.farm.now_ms - 8 * HOUR_S * 1000
    return play.case()


def fouled(seed: int) -> Case:
    return _window("fouled", seed)


def heater_dead(seed: int) -> Case:
    return _window("heater_dead", seed)


def _dipped(label: str, seed: int, kind: str, value: float) -> Case:
    """A day and a half with dips at as many levels as there were."""
    drawn = plant(label, seed, hour=6.0, alone=True, filled=(0.2, 0.85))
    play = _Play(label, seed, drawn, period_s=SLOW_S)
    play.farm.inject(LOOP, kind, value=value)
    luck, person = play.luck, stream(seed, label, "person")
    for _ in range(luck.randrange(4, 8)):
        level, height = play.farm.truth()["a"].level_m, drawn.height_m
        target = luck.uniform(0.15, 0.9) * height
        if target > level:
            play.move(Act.RECEIVE, luck.uniform(1.5, 3), target - level)
        else:
            play.move(Act.ISSUE, luck.uniform(1.5, 3), level - target)
        play.run(abs(target - level) / 1.5 * HOUR_S + 1800)
        dip = play.recorder.dip(LOOP, person)
        if dip is not None:
            play.dips.append(dip)
    play.point()
    play.run(60)
    return play.case()


def zero_shift(seed: int) -> Case:
    return _dipped("zero_shift", seed, "zero_shift", _either(stream(seed, "zero_shift", "value"), 0.020, 0.080))


def span_error(seed: int) -> Case:
    return _dipped("span_error", seed, "span_error", _either(stream(seed, "span_error", "value"), 0.004, 0.015))


def _either(luck: Random, low: float, high: float, negative: float = 0.5) -> float:
    size = luck.uniform(low, high)
    return -size if luck.random() < negative else size


LABELS: Final[dict[str, Callable[[int], Case]]] = {
    made.__name__: made
    for made in (
        open_circuit, supply_lost, short, fail_low, fail_high, starved, reset_cycling, leak, interference, surge_step,
        lost_echo, fouled, heater_dead, blocking_limit, zero_shift, span_error, frozen_register, wrong_unit,
    )
}  # fmt: skip


def case(label: str, seed: int) -> Case:
    """A case of a label. Raises KeyError for a label that there is not."""
    return LABELS[label](seed)
