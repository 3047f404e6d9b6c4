"""Days of cover and order points as people read them: names, the site's clock, plain words. Refuses to compute."""

from datetime import date
from zoneinfo import ZoneInfo

from console.facts import Json
from console.figures import NBSP, NOTHING, moment, number, until, with_unit, written
from console.water_words import ABOVE, FORECAST
from console.words import MONTHS


def forecast(rows: list[Json], names: dict[str, str], now: str, zone: ZoneInfo) -> list[Json]:
    """Days of cover and order points, products first. names: ids of products and tanks to their names."""
    return [_row(row, names, now, zone) for row in rows]


def _row(row: Json, names: dict[str, str], now: str, zone: ZoneInfo) -> Json:
    parts = row["parts"]
    of_parts = [note for part in parts for note in part["notes"]]
    why = [] if row["why"] == "; ".join(of_parts) else [row["why"]]
    told = [note for note in (*why, *row["notes"]) if note and note not in of_parts]
    said = [text for part in parts for text in _of_part(part, names, now, zone)]
    return {
        "name": names.get(row["id"], row["id"]),
        "product": "1" if row["of"] == "product" else "",
        "usable": _cubic(row["usable_m3"]),
        "held": FORECAST["held"].format(m3=_cubic(row["held_m3"])) if row["held_m3"] else "",
        "above": _above(parts, names),
        "mean": _cubic(row["mean_m3_per_day"]),
        "weekdays": _weekdays(row["by_weekday_m3"]),
        "cover": _days(row["cover_days"], row, over=True),
        "between": _between(row),
        "order_point": _cubic(row["order_point_m3"]),
        "lead": NOTHING if row["lead_days"] is None else f"{number(row['lead_days'], 1)}{NBSP}d",
        "order_by": _order(row),
        "now": "1" if row["order_now"] else "",
        "rests": FORECAST["rests"].format(
            known=row["days_known"], asked=row["days_asked"], papers=row["days_by_papers"], gauge=row["days_by_gauge"]
        ),
        "notes": list(dict.fromkeys([*said, *told])),
    }


def _of_part(part: Json, names: dict[str, str], now: str, zone: ZoneInfo) -> list[str]:
    """What keeps a tank's content from being told, or from counting."""
    name = names.get(part["tank"], part["tank"])
    if not part["known"]:
        if part["seen"] is None:
            return [FORECAST["unknown"].format(tank=name)]
        return [FORECAST["silent"].format(tank=name, time=moment(part["seen"], now, zone))]
    if not part["status"] or not part["held_m3"]:
        return [note for note in part["notes"] if not part["status"]]
    ends = FORECAST["settles"].format(time=until(part["until"], now, zone)) if part["until"] else ""
    return [
        FORECAST["not_released"].format(
            tank=name, status=part["status"], until=ends, m3=with_unit("cover_m3", part["held_m3"])
        )
    ]


def _above(parts: list[Json], names: dict[str, str]) -> str:
    """What the stock is counted from: told once where it is the same of all tanks."""
    kinds = [ABOVE.get(part["above"], str(part["above"])) for part in parts]
    if len(set(kinds)) == 1:
        return kinds[0] if len(kinds) == 1 else FORECAST["of_each"].format(what=kinds[0])
    return ", ".join(
        FORECAST["of_tank"].format(what=kind, tank=names.get(part["tank"], part["tank"]))
        for kind, part in zip(kinds, parts, strict=True)
    )


def _cubic(m3: float | None) -> str:
    return written("cover_m3", m3)


def _days(days: float | None, row: Json, *, over: bool) -> str:
    if days is not None:
        return number(days, 1)
    told = over and row["mean_m3_per_day"] is not None and row["usable_m3"] is not None
    return FORECAST["over"] if told else NOTHING


def _between(row: Json) -> str:
    if row["cover_earliest_days"] is None:
        return NOTHING
    return f"{number(row['cover_earliest_days'], 1)} … {_days(row['cover_latest_days'], row, over=True)}"


def _order(row: Json) -> str:
    if row["order_point_m3"] is None:
        return NOTHING
    if row["order_now"]:
        return FORECAST["now"]
    return FORECAST["later"] if row["order_by"] is None else _day(row["order_by"])


def _weekdays(values: list[float] | None) -> str:
    if values is None:
        return ""
    days = zip(FORECAST["weekdays"].split(), values, strict=True)
    return " · ".join(f"{day} {written('day_m3', m3)}" for day, m3 in days)


def _day(text: str) -> str:
    day = date.fromisoformat(text)
    return f"{day.day} {MONTHS[day.month - 1]} {day.year}"
