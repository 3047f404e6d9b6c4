"""The receipt record as a paper: what a delivery's papers said, what was done, what the tank gained, who decided.

Knows the words and the order of this paper; refuses to work anything out. It certifies neither quality nor a measure:
it says so. The same record gives the same bytes: its time is the time of the decision.
"""

from datetime import UTC, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from console.figures import NBSP, THIN
from console.receipt_views import view
from gaugehouse.checkpaper import when
from gaugehouse.paper import Block, Column, Field, Fields, Note, Paper, Signatures, Size, Table

Json = dict[str, Any]

LATER: Final = "9999-01-01T00:00:00.000Z"
"""Seen from so far, every time is told with its day and year."""

TITLE: Final = "Receipt record"
WHAT_IT_IS: Final = (
    "This record tells what the delivery's papers stated, what the tank's gauge showed and what a person decided. It "
    "is neither a certificate of quality nor a calibration certificate, and no custody-transfer measurement."
)


def paper_of(record: Json, site: str, zone: str, *, size: Size = "A4") -> Paper:
    """A record of `gaugehouse.receiptrecords` as a paper, times on the site's clock."""
    place = ZoneInfo(zone)
    made_at = datetime.fromtimestamp(record["time_ms"] / 1000, UTC).astimezone(place).replace(microsecond=0)
    told = _plain(view(record, LATER, place))
    blocks: list[Block] = [
        Note(WHAT_IT_IS, strong=True),
        Fields(
            [
                Field("Tank", f"{told['tank_name']} ({told['tank']})"), Field("Product", told["product"]),
                Field("Decision", told["decision"]), Field("Comment", told["comment"] or "none"),
            ],
            "The receipt",
        ),
        Fields([Field(name, text) for name, text in told["paper"]], "What the papers state"),
        Fields([Field(name, text) for name, text in told["people"]] + [Field("Agreed rate", told["agreed"])], "People"),
        _checks(record, place),
        Fields([Field("Sample of the delivery", told["sample"])], wide=True),
    ]  # fmt: skip
    blocks.append(Fields([Field(name, text) for name, text in told["beside"]], "Known of the tank"))
    if told["forecast"] is not None:
        blocks.append(Note(told["forecast"]["fits"], "Before it"))
        blocks.append(
            Table([Column("Checked before", 2), Column("Found", 4)], [row[:2] for row in told["forecast"]["rows"]])
        )
    blocks.append(_gauged(record))
    blocks.append(_line(told))
    blocks += _match(told)
    notes = [*told["notes"], *([] if told["limits"] == "" else [f"Limits: {told['limits']}."])]
    if notes:
        blocks.append(Note(" ".join(f"{note[0].upper()}{note[1:].rstrip('.')}." for note in notes), "To be known"))
    blocks += [
        Note(record["caution"], strong=True),
        Signatures(["For the receiver", "For the sender"], [record["decided_by"], record["sender"]]),
    ]
    return Paper(
        TITLE, site, when(record["time_ms"], place), record["decided_by"], made_at, blocks,
        number=f"RC-{record['number']}", head=_head(record["head"]),
        tables_edition=f"{record['edition']}, reference {record['reference_degC']:g} °C", simulated=record["simulated"],
        size=size,
    )  # fmt: skip


def _head(head: str) -> str:
    count, _, own_hash = head.partition(":")
    return f"{count}:{own_hash[:24]}"


def _checks(record: Json, place: ZoneInfo) -> Table:
    rows = []
    for check in record["checks"]:
        at = "" if check["time"] is None else when(_ms(check["time"]), place)
        rows.append([check["what"], check["found"] or "done", check["by"], at])
    return Table(
        [Column("Check before flow", 3), Column("Found", 2), Column("By", 1.2), Column("When", 1.6)], rows, "Checks"
    )


def _gauged(record: Json) -> Table:
    columns = [Column("Tank at rest", 1.4)] + [
        Column(head, 1, "right") for head in ("Level\n[m]", "TOV\n[m³]", "Liquid\n[°C]", "Water\n[m]")
    ]
    rows = []
    for name in ("opening", "closing"):
        stand = record[name]
        if stand is None:
            rows.append([name, "–", "–", "–", "–"])
        else:
            figures = (
                (stand["level_m"], 4),
                (stand["tov_m3"], 3),
                (stand["temperature_degC"], 2),
                (stand["water_m"], 3),
            )
            rows.append([name, *("–" if value is None else f"{value:.{places}f}" for value, places in figures)])
    return Table(columns, rows, "Gauged")


def _line(told: Json) -> Table:
    columns = [Column("Line or vehicle\nat", 1.2), Column("Its figure", 1, "right"), Column("Compared", 1.2),
               Column("Line", 1, "right"), Column("Tank", 1, "right"), Column("Tank less line", 1.6, "right"),
               Column("Limit", 0.9, "right"), Column("By", 1)]  # fmt: skip
    rows = [
        [c["time"], c["figure"], c["basis"], c["line"], c["tank"], c["difference"], c["limit"], c["by"]]
        for c in reversed(told["line"])
    ]
    return Table(columns, rows, "Line against tank while it ran", empty="not done", size_pt=8.0)


def _match(told: Json) -> list[Block]:
    found = told["match"]
    if found is None:
        return [
            Note(f"The tank was not held against the papers: {told['why_not']}.", "Papers against tank", strong=True)
        ]
    columns = [Column("", 1.5), Column("Papers", 1.4, "right"), Column("Measured", 1.4, "right"),
               Column("Measured less papers", 1.9, "right"), Column("Limit", 1, "right"),
               Column("Verdict", 1.7)]  # fmt: skip
    rows = [[r["name"], r["paper"], r["tank"], r["difference"], r["limit"], r["verdict"]] for r in found["rows"]]
    blocks: list[Block] = [
        Table(columns, rows, "Papers against tank (± expanded uncertainty, 95 %)", size_pt=8.0, together=True),
        Note(" ".join(found["said"]), strong=True),
    ]
    beside = found["three"]
    if beside is not None:
        pairs = [Column("", 2), Column("Each ± its own", 2.6, "right"), Column("Difference", 2.2, "right"),
                 Column("Limit", 1, "right"), Column("Verdict", 1.7)]  # fmt: skip
        lines = [[r["name"], r["figures"], r["difference"], r["limit"], r["verdict"]] for r in beside["rows"]]
        blocks += [
            Table(pairs, lines, f"{beside['title']} (± expanded uncertainty, 95 %)", size_pt=8.0, together=True),
            Note(" ".join(f"{text.rstrip('.')}." for text in beside["said"])),
        ]
    return blocks


def _ms(text: str) -> int:
    return round(datetime.fromisoformat(text).timestamp() * 1000)


def _plain(value: Any) -> Any:
    """Narrow spaces as plain ones: a paper's columns break where they must."""
    if isinstance(value, str):
        return value.replace(THIN, " ").replace(NBSP, " ")
    if isinstance(value, dict):
        return {name: _plain(one) for name, one in value.items()}
    return [_plain(one) for one in value] if isinstance(value, list | tuple) else value
