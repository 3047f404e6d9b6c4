"""The loop check record as a paper: a record of the book in the words of maintenance, page by page.

Knows the words, units and decimals of this paper; refuses to work anything out. The same record gives the same bytes:
its time is the time at which the check ended.
"""

from datetime import UTC, date, datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from console.check_words import FIELDS
from gaugehouse.loopchecks import ABORTED, AS_FOUND, AS_LEFT, FINISHED, RUNS, TIME_OVER
from gaugehouse.paper import Block, Column, Field, Fields, Note, Paper, Signatures, Size, Table

Json = dict[str, Any]

TITLE: Final = "Loop check record"
WHAT_IT_IS: Final = (
    "This record tells what the loop showed while known currents were applied to it. It is no calibration certificate: "
    "the level sensor itself was not compared with a level."
)
CAUTION: Final = (
    "A simulated current is real to everything that the loop feeds. Trips and interlocks are isolated and given back "
    "by the site's own procedure; work in hazardous areas needs the site's permit and equipment approved for the zone."
)
METHOD: Final = "Five points of 4 to 20 mA, upscale then downscale, currents applied in place of the transmitter"
HOW: Final = {
    FINISHED: "finished",
    ABORTED: "ABORTED: not a whole check",
    TIME_OVER: "TIME OVER: returned by itself, not a whole check",
}
RUN_WORDS: Final = {AS_FOUND: "As found", AS_LEFT: "As left"}
VERDICTS: Final = {True: "within the limit", False: "OUTSIDE THE LIMIT", None: "no verdict"}
FIGURES: Final = (
    ("largest_percent", "Largest error, without its sign", False),
    ("zero_percent", "Zero error, at 4 mA", True),
    ("span_percent", "Span error, 4 to 20 mA", True),
    ("hysteresis_percent", "Hysteresis (43 CFR 3175.135)", False),
    ("terminal_percent", "Non-linearity, terminal-based (IEC 61298-2)", False),
    ("independent_percent", "Non-linearity, independent (IEC 61298-2)", False),
)
"""Name in the record, words, and whether it has a sign."""
REFERENCE: Final = ("reference", "reference_certificate", "reference_due", "reference_uncertainty", "ambient")


def paper_of(record: Json, zone: str, *, size: Size = "A4") -> Paper:
    """A record of `gaugehouse.checkrecords` as a paper, times on the site's clock."""
    place = ZoneInfo(zone)
    ended = datetime.fromtimestamp(record["ended_ms"] / 1000, UTC).astimezone(place).replace(microsecond=0)
    blocks: list[Block] = [
        Note(WHAT_IT_IS, strong=True),
        Fields(_item(record), "The loop"),
        Fields(_check(record, place), "The check"),
        Fields(_reference(record), "What it was checked with"),
    ]
    for run in RUNS:
        if run in record["runs"]:
            blocks.append(_steps(record, run))
    blocks += [_results(record), Note(_verdict(record), strong=True)]
    adjusted, remarks = (record["filled"].get(name, "") for name in ("adjusted", "remarks"))
    blocks.append(Fields([Field(FIELDS["adjusted"], adjusted), Field(FIELDS["remarks"], remarks)], wide=True))
    blocks += [Note(_blinded(record), "Alarms that could see nothing meanwhile"), Note(CAUTION), _signatures(record)]
    return Paper(
        title=TITLE,
        site=record["item"]["site"],
        period=f"{when(record['started_ms'], place)} to {when(record['ended_ms'], place)}",
        made_by=record["ended_by"] or record["by"],
        made_at=ended,
        blocks=blocks,
        number=f"LC-{record['number']}",
        head=_head(record["head"]),
        simulated=record["simulated"],
        size=size,
    )


def _head(head: str) -> str:
    """The head that the record's entry makes, cut as `verify --against` still takes it."""
    count, _, own_hash = head.partition(":")
    return f"{count}:{own_hash[:24]}"


def _item(record: Json) -> list[Field]:
    item, ends = record["item"], record["range"]
    tanks = ", ".join(f"{tank['name']} ({tank['id']})" for tank in item["tanks"]) or "none"
    span = "not given" if ends is None else f"4 mA = {ends[0]:.3f} m, 20 mA = {ends[1]:.3f} m innage"
    wire = f"{item['bus']} ({item['where']}), unit {item['unit']}" if "bus" in item else ""
    return [
        Field("Instrument", f"{item['name']} ({record['instrument']})"),
        Field("Tank", tanks),
        Field("Line and unit", wire),
        Field("Range", span),
        Field(FIELDS["organisation"], record["filled"].get("organisation", "")),
        Field(FIELDS["customer"], record["filled"].get("customer", "")),
        Field(FIELDS["condition"], record["filled"].get("condition", "")),
    ]


def _check(record: Json, place: ZoneInfo) -> list[Field]:
    before = "; ".join(f"{tank} {_fixed(level, 3)} m" for tank, level in record["before_m"].items())
    fields = [
        Field("Started by", f"{record['by']}, {when(record['started_ms'], place)}"),
        Field("Ended by", f"{record['ended_by'] or 'itself'}, {when(record['ended_ms'], place)}"),
        Field("How it ended", HOW[record["how"]]),
        Field("Last good level before", before or "none"),
        Field("Limit", f"±{record['limit_percent']:g} % of the span of 16 mA"),
        Field("Decision rule", "simple acceptance: every error within the limit, uncertainty not allowed for"),
        Field("Method", METHOD),
        Field("Work permit", record["permit"]),
    ]
    if record["covered_by"]:
        fields.append(Field("Tank covered meanwhile by", record["covered_by"]))
    if record["at_rest"]:
        fields.append(Field("Known to stand still", record["at_rest"]))
    return fields


def _reference(record: Json) -> list[Field]:
    filled = record["filled"]
    fields = [Field(FIELDS[name], filled.get(name, "")) for name in REFERENCE]
    due = filled.get("reference_due", "")
    if due and date.fromisoformat(due) < datetime.fromtimestamp(record["ended_ms"] / 1000, UTC).date():
        place = REFERENCE.index("reference_due")
        fields[place] = Field(FIELDS["reference_due"], f"{due}: OVERDUE on the day of the check")
    return fields


def _steps(record: Json, run: str) -> Table:
    levels = record["range"] is not None and any(s["level_m"] is not None for s in record["runs"][run]["steps"])
    columns = [
        Column("Point\n[mA]", 1, "right"),
        Column("Way", 0.9),
        Column("Applied\n[mA]", 1.2, "right"),
        Column("Shown\n[mA]", 1.2, "right"),
        Column("Error\n[% of span]", 1.3, "right"),
        Column("Spread\n[mA]", 1.1, "right"),
    ]
    if levels:
        columns += [Column("Shown\nlevel [m]", 1.3, "right"), Column("Level\nerror [mm]", 1.3, "right")]
    columns.append(Column("Taken", 2.4))
    rows = []
    for step in record["runs"][run]["steps"]:
        cells = [
            f"{step['point_mA']:g}",
            step["direction"],
            f"{step['applied_mA']:.3f}",
            f"{step['shown_mA']:.4f}",
            _signed(step["error_percent"], 3),
            _fixed(step["spread_mA"], 4),
        ]
        if levels:
            shown, expected = step["level_m"], step["expected_m"]
            error = None if shown is None or expected is None else 1000 * (shown - expected)
            cells += [_fixed(shown, 4), _signed(error, 1)]
        how = f"live, {step['samples']} samples" if step["how"] == "live" else "typed"
        rows.append([*cells, how if step["by"] == record["by"] else f"{how}, {step['by']}"])
    return Table(columns, rows, RUN_WORDS[run], size_pt=8.0, together=True)


def _results(record: Json) -> Table:
    runs = [run for run in RUNS if run in record["runs"]]
    if not runs:
        return Table([Column("% of span")], [], "Results", empty="no step was taken")
    columns = [Column("% of span", 3.2)] + [Column(RUN_WORDS[run], 1, "right") for run in runs]
    rows = [
        [words, *((_signed if signed else _fixed)(record["runs"][run]["current"][name], 3) for run in runs)]
        for name, words, signed in FIGURES
    ]
    if any(record["runs"][run]["level"] for run in runs):
        largest = [(record["runs"][r]["level"] or {}).get("largest_percent") for r in runs]
        rows.append(["Level register: largest error, without its sign", *(_fixed(value, 3) for value in largest)])
    rows.append(["Verdict", *(VERDICTS[record["runs"][run]["passes"]] for run in runs)])
    return Table(columns, rows, "Results", strong=frozenset({len(rows) - 1}))


def _verdict(record: Json) -> str:
    if record["how"] != FINISHED:
        return f"The check was not finished ({HOW[record['how']]}): no verdict."
    said = [f"{RUN_WORDS[run]}: {VERDICTS[record['runs'][run]['passes']]}." for run in RUNS if run in record["runs"]]
    return f"{' '.join(said)} Limit ±{record['limit_percent']:g} % of span."


def _blinded(record: Json) -> str:
    return f"Out of service during the check: {', '.join(record['blinds']) or 'none'}."


def _signatures(record: Json) -> Signatures:
    return Signatures(["Tester", "Witness"], [record["by"], record["filled"].get("witness", "")])


def when(time_ms: int, place: ZoneInfo) -> str:
    """A time on the site's clock, to the minute."""
    return f"{datetime.fromtimestamp(time_ms / 1000, UTC).astimezone(place):%Y-%m-%d %H:%M %Z}"


def _fixed(value: float | None, decimals: int) -> str:
    return "–" if value is None else f"{value:.{decimals}f}".replace("-", "−")


def _signed(value: float | None, decimals: int) -> str:
    if value is None:
        return "–"
    text = f"{value:+.{decimals}f}"
    return text.replace("-", "−") if float(text) else f"{0:.{decimals}f}"
