"""`gaugehouse dip`: dips and density samples written down, listed, and held against the gauge."""

from argparse import Namespace
from pathlib import Path
from typing import Final

from gaugehouse.acting import answer_json, perform, printed
from gaugehouse.acts import Answer, Json, Taken
from gaugehouse.days import iso_ms
from gaugehouse.dipgauge import held, held_json, rounded, sample_row
from gaugehouse.dipgauge import trend as trend_of
from gaugehouse.diprecords import dips_of, samples_of
from gaugehouse.looking import moment_ms, sources_of, span_of
from gaugehouse.optionvalues import quantity, quantity_or_none
from gaugehouse.printing import as_json, table
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings

SHOWN: Final = (
    "number", "tank", "time", "dip_mm", "water_mm", "degC", "gauge_mm", "gauge-dip_mm", "+-_mm", "within", "by",
)  # fmt: skip
SAMPLES: Final = ("number", "tank", "time", "observed_kgpm3", "observed_degC", "meter", "base_kgpm3", "accepted", "by")


def add(args: Namespace) -> int:
    """`gaugehouse dip add`: 0 when it is written down, also when it was before (who by, is told)."""
    site = load_site(Path(args.site))
    method = "ullage" if args.ullage else "innage"
    readings = args.ullage or args.innage or []
    fields: Json = {
        "tank": args.tank,
        "method": method,
        "readings_m": [quantity(f"--{method}", text, "m", "9214 mm") for text in readings],
        "water_m": quantity_or_none("--water", args.water, "m", "12 mm"),
        "temperature_degC": quantity_or_none("--temperature", args.temperature, "degC", "28.5 degC"),
        "temperature_kind": args.kind,
        "tape_degC": quantity_or_none("--tape-temperature", args.tape_temperature, "degC", "31 degC"),
        "reference_m": quantity_or_none("--reference-height", args.reference_height, "m", "13502 mm"),
        "purpose": "verify" if args.verify else "stock",
        "after_setting": args.after_setting,
        "sure": args.sure,
        **_common(site, args),
    }
    answer = perform(site, "add_dip", fields)
    print(answer_json(answer) if args.json else _dip_text(answer))
    return 0


def _dip_text(answer: Answer) -> str:
    if answer.status is Taken.ALREADY:
        return f"nothing to do: {answer.text}"
    body = answer.body
    parts = []
    if body["level_m"] is not None:
        parts.append(f"{1000 * body['level_m']:.1f} mm ({body['repeated']})")
    if body["water_m"] is not None:
        parts.append(f"water {1000 * body['water_m']:.1f} mm")
    if body["temperature_degC"] is not None:
        parts.append(f"{body['temperature_degC']:.1f} degC {body['temperature_kind']}")
    lines = [f"{body['tank']}: dip {body['number']} by {body['by']}: {', '.join(parts)}"]
    if body["difference_m"] is not None:
        off, u95 = 1000 * body["difference_m"], 1000 * body["difference_u95_m"]
        lines.append(f"gauge less dip {off:+.1f} mm +- {u95:.1f} mm (both, k = 2)")
    if answer.text:
        lines.append(answer.text)
    return "\n".join(lines)


def sample(args: Namespace) -> int:
    """`gaugehouse dip sample`: 0 when it is written down, 1 when it was not accepted."""
    site = load_site(Path(args.site))
    fields: Json = {
        "tank": args.tank,
        "observed_kgpm3": quantity("--density", args.density, "kg/m3", "793.5 kg/m3"),
        "observed_degC": quantity("--temperature", args.temperature, "degC", "31 degC"),
        "meter": args.meter,
        "certificate_kgpm3": quantity_or_none("--certificate", args.certificate, "kg/m3", "800.2 kg/m3"),
        "place": args.place,
        "rejected": args.rejected,
        **_common(site, args),
    }
    answer = perform(site, "add_density_sample", fields)
    body = answer.body
    if not printed(args, answer):
        word = "accepted: it stands for the tank's product now" if body["accepted"] else "not accepted"
        base = f"{body['base_kgpm3']:.2f} kg/m3 at {body['base_degC']:g} degC"
        print(f"{body['tank']}: sample {body['number']} by {body['by']}: {base}, {word}")
        if answer.text:
            print(answer.text)
    return 0 if body["accepted"] else 1


def withdraw(args: Namespace) -> int:
    """`gaugehouse dip withdraw`: 0 when it counts no more."""
    kind = "sample" if args.sample else "dip"
    fields: Json = {"kind": kind, "number": args.number, "by": args.by, "why": args.why}
    answer = perform(load_site(Path(args.site)), "withdraw_dip", fields)
    body = answer.body
    print(answer_json(answer) if args.json else
          f"{body['tank']}: {kind} {body['number']} withdrawn by {body['by']}")  # fmt: skip
    return 0


def list_(args: Namespace) -> int:
    """`gaugehouse dip list`: dips or samples that count, oldest first."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    start, end = span_of(args, site)

    def within(time_ms: int) -> bool:
        return (start is None or time_ms >= start) and (end is None or time_ms < end)

    with look_into_book(site) as book, look_into_readings(site) as store:
        if args.samples:
            rows = [sample_row(one) for one in samples_of(book, args.tank) if within(one.time_ms)]
        else:
            dips = [dip for dip in dips_of(book, args.tank) if within(dip.time_ms)]
            rows = [rounded(held_json(one)) for one in held(site, store, dips)]
    if args.json:
        print(as_json(rows))
    elif not rows:
        print("no sample in that time" if args.samples else "no dip in that time")
    elif args.samples:
        print(table(SAMPLES, [row | {"accepted": "yes" if row["accepted"] else "no"} for row in rows]))
    else:
        print(table(SHOWN, [_shown(row) for row in rows]))
    return 0


def _shown(row: Json) -> Json:
    within = row["within"]
    return row | {
        "dip_mm": _mm(row["level_m"]),
        "water_mm": _mm(row["water_m"]),
        "degC": row["temperature_degC"],
        "gauge_mm": _mm(row["gauge_m"]),
        "gauge-dip_mm": _mm(row["difference_m"]),
        "+-_mm": _mm(row["difference_u95_m"]),
        "within": "" if within is None else "yes" if within else "no",
    }


def _mm(value: float | None) -> float | None:
    return None if value is None else round(1000 * value, 1) + 0.0


def trend(args: Namespace) -> int:
    """`gaugehouse dip trend`: what the dips say of a gauge; 1 when something is to be checked."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    with look_into_book(site) as book, look_into_readings(site) as store:
        found = trend_of(site, book, store, args.tank)
    print(as_json(found) if args.json else trend_text(found))
    return 0 if [one["what"] for one in found["check"]] == ["none"] else 1


def trend_text(found: Json) -> str:
    """The same for people."""
    limit = f"{1000 * found['limit_m']:g} mm, {found['limit_source']}"
    lines = [f"{found['tank']}: {len(found['dips'])} dips with a gauge's level since the gauge was last set ({limit})"]
    lines += [
        f"  {row['time']}  dip {1000 * row['level_m']:.1f} mm  gauge less dip {1000 * row['difference_m']:+.1f} mm "
        f"+- {1000 * row['difference_u95_m']:.1f} mm{'' if row['within'] else '  beyond the limit'}"
        for row in found["dips"]
    ]
    told, moved = found["split"], found["drift"]
    if told is None:
        lines.append(f"zero and span: {found['split_refused']}")
    else:
        lines.append(
            f"zero {1000 * told['zero_m']:+.1f} mm +- {1000 * told['zero_u95_m']:.1f} mm at an innage of "
            f"{told['zero_at_m']:g} m; span {1000 * told['span_m_per_m']:+.2f} mm a metre +- "
            f"{1000 * told['span_u95_m_per_m']:.2f} (95 %); {1000 * told['left_m']:.1f} mm are left unexplained"
        )
    if moved is not None:
        word = {0: "none seen", 1: "the gauge reads more than it did", -1: "the gauge reads less than it did"}
        since = f", since about {moved['since']}" if moved["since"] else ""
        lines.append(
            f"drift: {word[moved['way']]}{since} (cumulative sums; a gauge that stands still is wrongly said to have "
            f"moved once in {moved['run_length']:.0f} dips on the average)"
        )
    thirds = [f"{name} {'not done' if off is None else f'{1000 * off:+.1f} mm'}"
              for name, off in found["verified"].items()]  # fmt: skip
    lines.append(f"dips taken to verify it: {', '.join(thirds)}")
    lines += [one["words"] for one in found["check"]]
    lines.append(f"next dip due: {found['due'] or 'now, it was never dipped'} ({found['due_for']})")
    return "\n".join(lines)


def _common(site: Site, args: Namespace) -> Json:
    at = moment_ms(args.at, site)
    return {
        "time": None if at is None else iso_ms(at),
        "waited": args.waited,
        "comment": args.comment,
        "by": args.by,
    }
