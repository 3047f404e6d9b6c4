"""The paper of a signed leak test: a record of the book in words, page by page. Works nothing out."""

from datetime import UTC, datetime
from typing import Any
from zoneinfo import ZoneInfo

from console import leak_words as words
from gaugehouse.checkpaper import when
from gaugehouse.days import parse_ms
from gaugehouse.paper import Block, Column, Field, Fields, Note, Paper, Signatures, Size, Table

Json = dict[str, Any]

TITLE = "Leak test of a quiet tank"


def paper_of(record: Json, site: str, zone: str, edition: str, *, size: Size = "A4") -> Paper:
    """A record of `gaugehouse.leakacts.leak_tests` as a paper, times on the site's clock."""
    place = ZoneInfo(zone)
    signed = datetime.fromtimestamp(parse_ms(record["signed"]) / 1000, UTC).astimezone(place).replace(microsecond=0)
    window = f"{when(parse_ms(record['from']), place)} to {when(parse_ms(record['to']), place)}"
    total = record["u_m3_per_h"] ** 2
    terms = [
        [words.TERMS[t["name"]], words.litres(t["m3_per_h"], 1),
         words.figure(100 * t["m3_per_h"] ** 2 / total if total else 0.0, 0)]
        for t in record["terms"]
    ]  # fmt: skip
    terms.append(["Together (root of the sum of squares)", words.litres(record["u_m3_per_h"], 1), "100"])
    fit = record["fit"]
    fields = [
        Field("Tank", f"{record['tank']} ({record['product']})"),
        Field(words.PAGE["window"], f"{window}, {record['hours']:g} h"),
        Field("Thermometer", "several spots over the height" if record["averaging"] else "one spot"),
        Field(f"{words.PAGE['loss']} [L/h]", words.litres(record["loss_m3_per_h"])),
        Field(f"{words.PAGE['u']} [L/h]", words.litres(record["u_m3_per_h"])),
        Field("Degrees of freedom", words.figure(record["free"], 0)),
        Field(f"{words.PAGE['threshold']} [L/h]", words.litres(record["threshold_m3_per_h"])),
        Field(f"{words.PAGE['detectable']} [L/h]", words.litres(record["detectable_m3_per_h"])),
        Field("Blocks, and correlation of neighbours", f"{len(fit['hours'])}, {words.figure(fit['correlation'])}"),
        Field(f"{words.PAGE['smallest']} [L/h]", words.litres(record["smallest_m3_per_h"])),
    ]
    blocks: list[Block] = [
        Note(words.WHAT_IT_IS, strong=True),
        Fields(fields, "What was found", wide=True),
        Note(words.verdict(record), strong=True),
        Table(
            [Column("Term", 4), Column("Standard uncertainty [L/h]", 2, "right"), Column("Share [%]", 1, "right")],
            terms, words.PAGE["budget"], strong=frozenset({len(terms) - 1}), together=True,
        ),
    ]  # fmt: skip
    if record["verdict"] == "loss":
        blocks.append(Note(" ".join(f"{k}. {text}" for k, text in enumerate(words.FIRST, 1)), words.PAGE["first"]))
    blocks += [Fields([Field("Remarks", record["comment"])], wide=True), Signatures(["Signed by"], [record["by"]])]
    count, _, own_hash = record["head"].partition(":")
    return Paper(
        title=TITLE,
        site=site,
        period=window,
        made_by=record["by"],
        made_at=signed,
        blocks=blocks,
        number=f"LT-{record['number']}",
        head=f"{count}:{own_hash[:24]}",
        tables_edition=edition,
        simulated=record["simulated"],
        size=size,
    )
