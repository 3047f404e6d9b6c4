"""What `/api/alarms/performance` answers, field by field, for whoever reads the OpenAPI description.

Knows names and shapes only; the figures come from `console.facts.Facts.performance`.
"""

from typing import Literal

from pydantic import BaseModel, ConfigDict, Field


class _Strict(BaseModel):
    model_config = ConfigDict(extra="forbid")


class Aim(_Strict):
    """What the standard aims at for one figure. `below`: the bound itself misses it. `kpi`: row of our check values."""

    figure: str
    words: str
    unit: str
    acceptable: float
    manageable: float | None
    below: bool
    kpi: str


class Judged(_Strict):
    """A figure beside its aim; `value` is null where nothing was counted; "not judged": too short a time."""

    figure: str
    value: float | None
    verdict: Literal["met", "manageable", "missed", "nothing counted", "not judged"]


class Count(_Strict):
    """An alarm and a number of annunciations."""

    id: str
    times: int


class Now(_Strict):
    """What is so at this moment: a flood that runs, what chattered in the last 10 min, what is shown for over 24 h."""

    time: str
    flood_since: str | None
    chattering: list[str]
    stale: list[str]


class PeriodFigures(_Strict):
    """The figures of a day, a month or the whole stretch; rates and peaks per operator position."""

    name: str
    from_: str = Field(alias="from")
    to: str
    annunciations: int
    average_10min: float | None = Field(description="null: the period is shorter than that; so with the next two")
    average_hour: float | None
    average_day: float | None
    peak_10min: float
    peak_hour: float
    over_10_percent: float
    hours_over_30_percent: float
    floods: int
    flood_s: float
    flood_percent: float
    largest_flood: int
    chattering: list[Count] = Field(description="3 or more within a minute; times: the most within a minute")
    fleeting: list[Count] = Field(description="gone again within a minute; times: how often")
    stale: list[str]
    top: list[Count] = Field(description="the ten most frequent alarms")
    top_percent: float | None
    by_priority: list[int] = Field(description="priority 1, 2, 3")
    priority_percent: list[float] | None
    judged: list[Judged] = Field(description="in the order of `aims`")


class Performance(_Strict):
    """How the alarms perform beside the aims of ISA-18.2 / IEC 62682."""

    from_: str = Field(alias="from")
    to: str
    operator_positions: int
    convention: str = Field(description="what is counted, and in which windows")
    enough: bool = Field(description="false: the stretch is too short to judge a system by")
    enough_days: int
    aims: list[Aim]
    now: Now
    whole: PeriodFigures
    months: list[PeriodFigures]
    days: list[PeriodFigures]
