"""Dips, samples and the gauge beside them as people read them, and where the marks of the two charts stand.

Knows words, figures and drawing units; refuses to judge: verdicts come with the facts.
"""

import math
from collections.abc import Sequence
from datetime import datetime
from typing import Final, NamedTuple
from zoneinfo import ZoneInfo

from console.dip_words import DIP, DUE
from console.facts import Json
from console.figures import NOTHING, moment, number, shown, until, with_unit, written
from console.lookup import time_ms
from console.units import units_now

WIDE: Final = 560
HIGH: Final = 240
LEFT: Final = 52
RIGHT: Final = 12
TOP: Final = 12
BOTTOM: Final = 30
TICK_WIDE: Final = 130
"""Room for a text below the chart and some air."""


def overview(tank: Json, state: Json, now: str, zone: ZoneInfo) -> Json:
    """A tank's line: the newest of everything, and what is due."""
    level, water, sample = state["level"], state["water"], state["sample"]
    return {
        "tank": tank["tank"],
        "name": tank["name"],
        "product": tank["product"],
        "last": last(level, now, zone),
        "off": NOTHING if level is None else _apart(level["difference_m"]),
        "beyond": level is not None and level["within"] is False,
        "water": DIP["water_none"] if water is None else DIP["water" if _counts(state) else "water_old"].format(
            water=with_unit("dip_m", water["water_m"]), time=moment(water["time"], now, zone)
        ),
        "base": DIP["base"].format(base=with_unit("density_kgpm3", state["base_kgpm3"])) if sample is None
        else DIP["base_sample"].format(
            base=with_unit("density_kgpm3", sample["base_kgpm3"]), number=sample["number"],
            time=moment(sample["time"], now, zone)
        ),
        "due": due(state, now, zone),
        "overdue": state["overdue"],
        "wait": wait(state),
        "waits": state["flows"] or state["wait_s"] > 0,
    }  # fmt: skip


def _counts(state: Json) -> bool:
    return bool(state["water"]["fresh"] or not state["water_from_dips"])


def last(level: Json | None, now: str, zone: ZoneInfo) -> str:
    """The newest dip of the level, in words."""
    if level is None:
        return DIP["none"]
    said = with_unit("dip_m", level["level_m"])
    return DIP["last"].format(level=said, by=level["by"], time=moment(level["time"], now, zone))


def due(state: Json, now: str, zone: ZoneInfo) -> str:
    """When the next dip is due, in words."""
    why = DUE.get(state["due_for"], state["due_for"])
    if state["due"] is None:
        return DIP["due_now"].format(why=why)
    if state["overdue"]:
        return DIP["overdue"].format(time=moment(state["due"], now, zone), why=why)
    return DIP["due"].format(time=until(state["due"], now, zone), why=why)


def line(state: Json | None, now: str, zone: ZoneInfo) -> Json:
    """The newest dip on the tank's own page."""
    if state is None:
        return {"dip": NOTHING, "dip_note": ""}
    level, coming = state["level"], due(state, now, zone)
    if level is None:
        return {"dip": NOTHING, "dip_note": f"{DIP['none']}; {coming}"}
    by = DIP["by"].format(by=level["by"], time=moment(level["time"], now, zone))
    return {"dip": written("dip_m", level["level_m"]), "dip_note": f"{by}; {coming}"}


def wait(state: Json) -> str:
    """What is left of the relaxation time, in words."""
    minutes = -(-int(state["wait_s"]) // 60)
    if state["flows"]:
        return DIP["flows"].format(minutes=minutes)
    if minutes > 0:
        return DIP["wait"].format(minutes=minutes)
    return DIP["free" if state["watched"] else "unwatched"]


def rows(dips: Sequence[Json], limit_m: float, now: str, zone: ZoneInfo) -> list[Json]:
    """The dips of a tank, newest first."""
    return [_row(dip, limit_m, now, zone) for dip in dips]


def _row(dip: Json, limit_m: float, now: str, zone: ZoneInfo) -> Json:
    off, limit = dip["difference_m"], with_unit("limit_m", limit_m)
    return {
        "number": dip["number"],
        "time": moment(dip["time"], now, zone),
        "readings": " · ".join(written("dip_m", one) for one in dip["readings_m"]),
        "method": dip["method"],
        "verify": dip["purpose"] == "verify",
        "after_setting": dip["after_setting"],
        "level": written("dip_m", dip["level_m"]),
        "water": written("dip_m", dip["water_m"]),
        "temperature": written("temperature_degC", dip["temperature_degC"]),
        "kind": dip["temperature_kind"],
        "gauge": written("dip_m", dip["gauge_m"]),
        "off": NOTHING if off is None
        else DIP["off"].format(off=_apart(off), u95=with_unit("apart_m", dip["difference_u95_m"])),
        "within": "" if off is None else DIP["within" if dip["within"] else "beyond"].format(limit=limit),
        "beyond": dip["within"] is False,
        "by": dip["by"],
        "comment": dip["comment"],
    }  # fmt: skip


def sample_rows(samples: Sequence[Json], now: str, zone: ZoneInfo) -> list[Json]:
    """The density samples of a tank, newest first."""
    return [
        {
            "number": one["number"],
            "time": moment(one["time"], now, zone),
            "observed": written("density_kgpm3", one["observed_kgpm3"]),
            "at": written("temperature_degC", one["observed_degC"]),
            "meter": one["meter"],
            "base": written("density_kgpm3", one["base_kgpm3"]),
            "verdict": DIP["accepted"] if one["accepted"] else DIP["rejected"].format(why=one["why"]),
            "by": one["by"],
            "comment": one["comment"],
        }
        for one in samples
    ]


def trend(told: Json, now: str, zone: ZoneInfo) -> Json:
    """What a row of dips says of the gauge, and its two charts."""
    split, drift = told["split"], told["drift"]
    way = None if drift is None else {0: "steady", 1: "up", -1: "down"}[drift["way"]]
    since = "" if drift is None or drift["since"] is None else moment(drift["since"], now, zone)
    limit_m = told["limit_m"]
    return {
        "limit": f"{with_unit('limit_m', limit_m)}, {told['limit_source']}",
        "refused": told["split_refused"],
        "zero": "" if split is None else DIP["zero"].format(
            value=_apart(split["zero_m"]), u95=with_unit("apart_m", split["zero_u95_m"]),
            at=with_unit("dip_m", split["zero_at_m"]),
        ),
        "span": "" if split is None else DIP["span"].format(
            value=written("span_m_per_m", split["span_m_per_m"], signed=True),
            u95=with_unit("span_m_per_m", split["span_u95_m_per_m"]), length=DIP[units_now()],
        ),
        "split": "" if split is None
        else DIP["split"].format(dips=split["dips"], left=with_unit("apart_m", split["left_m"])),
        "drift": NOTHING if way is None else DIP[way].format(time=since),
        "runs": "" if drift is None else DIP["runs"].format(runs=number(drift["run_length"], 0)),
        "verified": [
            {"place": place, "off": DIP["not_done"] if off is None else with_unit("apart_m", off, signed=True)}
            for place, off in told["verified"].items()
        ],
        "check": [one["words"] for one in told["check"]],
        "nothing": [one["what"] for one in told["check"]] == ["none"],
        "by_time": chart(told["dips"], limit_m, [time_ms(one["time"]) / 1000 for one in told["dips"]], zone),
        "by_level": chart(told["dips"], limit_m, [one["level_m"] for one in told["dips"]], None),
    }  # fmt: skip


class _Scale(NamedTuple):
    low: float
    high: float
    start: float
    end: float

    def at(self, value: float) -> float:
        part = (value - self.low) / (self.high - self.low)
        return round(self.start + part * (self.end - self.start), 1)


def chart(dips: Sequence[Json], limit_m: float, across: Sequence[float], zone: ZoneInfo | None) -> Json:
    """Gauge less dip, upward, over time (zone given) or level: points, marks of both axes, lines of the limit."""
    factor = shown("apart_m").factor
    off = [factor * one["difference_m"] for one in dips]
    limit = factor * limit_m
    reach = 1.1 * max([limit, *(abs(one) for one in off)])
    reach += min(limit, max((factor * one["difference_u95_m"] for one in dips), default=0.0))
    step = round_step(2 * reach / 5)
    up = _Scale(-reach, reach, HIGH - BOTTOM, TOP)
    low, high = min(across, default=0.0), max(across, default=1.0)
    room = max(0.05 * (high - low), 0.5 if zone is None else 43_200.0)
    along = _Scale(low - room, high + room, LEFT, WIDE - RIGHT)
    places = max(0, -math.floor(math.log10(step) + 1e-9))
    marks = [step * k for k in range(math.ceil(-reach / step), math.floor(reach / step) + 1)]
    return {
        "wide": WIDE, "high": HIGH, "left": LEFT, "right": WIDE - RIGHT, "mark_x": LEFT - 8, "mark_y": HIGH - 8,
        "zero": up.at(0.0),
        "limits": [up.at(limit), up.at(-limit)],
        "rungs": [{"y": up.at(one), "text": number(one, places, signed=True)} for one in marks],
        "ticks": [] if not dips else [
            {"x": along.at(one), "text": _tick(one, zone), "end": k == 2}
            for k, one in enumerate((low, (low + high) / 2, high))
            if k == 0 or along.at(high) - along.at(low) > (2 if k == 1 else 1) * TICK_WIDE
        ],
        "points": [
            {
                "x": along.at(x), "y": up.at(y), "beyond": one["within"] is False, "verify": one["purpose"] == "verify",
                "cross": f"M{along.at(x) - 6:.1f} {up.at(y) - 6:.1f}l12 12m0 -12l-12 12",
                "box": f"M{along.at(x) - 5:.1f} {up.at(y) - 5:.1f}h10v10h-10z",
                "low": up.at(max(-reach, y - factor * one["difference_u95_m"])),
                "high": up.at(min(reach, y + factor * one["difference_u95_m"])),
                "words": f"dip {one['number']}: {with_unit('apart_m', one['difference_m'], signed=True)} "
                f"at {with_unit('dip_m', one['level_m'])}",
            }
            for x, y, one in zip(across, off, dips, strict=True)
        ],
    }  # fmt: skip


def round_step(about: float) -> float:
    """A round step near to what is wanted: 1, 2 or 5 times a power of ten."""
    power = 10.0 ** math.floor(math.log10(about))
    return next(power * k for k in (1, 2, 5, 10) if power * k >= about)


def _tick(value: float, zone: ZoneInfo | None) -> str:
    if zone is None:
        return written("dip_m", value)
    local = datetime.fromtimestamp(value, zone)
    return f"{local:%Y-%m-%d}"


def _apart(value: float | None) -> str:
    return written("apart_m", value, signed=True)
