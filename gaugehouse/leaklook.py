"""`gaugehouse leak`: what loss of quiet tanks would have been seen, from what is kept; a person may sign it."""

import contextlib
from argparse import Namespace
from collections.abc import Iterator
from pathlib import Path
from typing import Any

from console import leak_words as words
from gaugehouse.acting import perform
from gaugehouse.acts import Taken
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.leakacts import leak_tests
from gaugehouse.leakpaper import paper_of
from gaugehouse.leakwork import leak, outcome_json
from gaugehouse.looking import sources_of, span_of
from gaugehouse.paper import pdf_of
from gaugehouse.printing import as_json
from gaugehouse.simulatedbook import now_of
from gaugehouse.site import Site, load_site
from gaugehouse.stores import look_into_book, look_into_readings
from inventory.leak import Verdict
from inventory.leakrules import HOUR_MS

Json = dict[str, Any]


def leak_command(args: Namespace) -> int:
    """0 when no loss was seen; 1 when one is suspected, or when nothing can be said of the tanks asked for."""
    site = load_site(Path(args.site))
    sources_of(site, args.tank)
    if args.decide is not None:
        return _decide(site, args)
    if args.pdf is not None or args.signed:
        return _signed(site, args)
    start, end = span_of(args, site)
    if start is not None and end is None:
        raise CallError("--from goes with --to: a test has an end; add --to")
    if args.sign and (args.tank is None or args.by is None):
        raise CallError("--sign goes with --tank and --by: a person answers for one test")
    if start is not None and end is not None and end - start < HOUR_MS:
        raise CallError("--from and --to are less than an hour apart; give a night, or best a day")
    tanks = [args.tank] if args.tank else list(site.leak.tanks)
    if not tanks:
        raise CallError(
            f"{site.path}: no tank is named for leak tests; name them in [stock.leak] tanks, or give --tank"
        )
    with look_into_readings(site) as store, look_into_book(site) as book:
        now = now_of(book)
        results = [outcome_json(site, leak(site, store, book, tank, now, start, end)) for tank in tanks]
    if args.sign:
        answer = perform(site, "sign_leak_test", {"result": results[0], "by": args.by, "comment": args.comment})
        results = [dict(answer.body)]
    if args.json:
        print(as_json(results))
    else:
        print("\n\n".join(text_of(result) for result in results))
        print(f"\n{words.WHAT_IT_IS}")
    return 0 if all(result["verdict"] == Verdict.NO_LOSS_SEEN.value for result in results) else 1


def text_of(result: Json) -> str:
    """A result for people: the sentence first, then what it stands on."""
    lines = [f"{result['tank']} ({result['product']}): {words.verdict(result)}"]
    lines += [f"  {words.refusal(said)}" for said in result["refusals"]]
    if result["from"] is not None:
        lines.append(f"  {words.PAGE['window']}: {result['from']} to {result['to']}, {result['hours']:g} h")
    if result["u_m3_per_h"] is not None:
        for name in ("loss", "u", "threshold", "detectable"):
            lines.append(f"  {words.PAGE[name]}: {words.litres(result[f'{name}_m3_per_h'])} L/h")
        lines += [f"    {words.TERMS[t['name']]}: {words.litres(t['m3_per_h'], 1)} L/h" for t in result["terms"]]
    unit = "" if result["smallest_m3_per_h"] is None else " L/h"
    lines.append(f"  {words.PAGE['smallest']}: {words.litres(result['smallest_m3_per_h'])}{unit}")
    if result["verdict"] == Verdict.LOSS.value:
        lines += [f"  {words.PAGE['first']}:", *(f"  {k}. {text}" for k, text in enumerate(words.FIRST, 1))]
    if "by" in result:
        lines.append(f"  signed by {result['by']} at {result['signed']}")
    if result.get("alarm") in words.ALARM:
        lines.append(f"  {words.ALARM[result['alarm']]}")
    return "\n".join(lines)


def _decide(site: Site, args: Namespace) -> int:
    """A person's decision on a suspected loss: 0 when it is written, also when none was suspected."""
    if args.tank is None or args.by is None:
        raise CallError("--decide goes with --tank and --by: a person answers for it")
    answer = perform(site, "decide_leak", {"tank": args.tank, "reason": args.decide, "by": args.by})
    body = dict(answer.body)
    if args.json:
        print(as_json({"status": answer.status.value, **body}))
    elif answer.status is Taken.ALREADY:
        print(f"nothing to do: {answer.text}")
    else:
        print(f"{args.tank}: {words.PAGE['decided'].format(by=body['by'], time=body['time'], reason=body['reason'])}")
    return 0


def _signed(site: Site, args: Namespace) -> int:
    with look_into_book(site) as book:
        records = leak_tests(book, args.tank)
    if args.pdf is not None:
        if args.tank is None:
            raise CallError("--pdf prints the newest signed test of one tank; add --tank")
        if not records:
            raise CallError(f"tank {args.tank} has no signed test; sign one with --sign --by NAME")
        path = Path(args.pdf)
        with _told(path):
            path.write_bytes(pdf_of(paper_of(records[0], site.name, site.zone, site.volume_correction)))
        return 0
    if args.json:
        print(as_json(records))
    else:
        print("\n\n".join(text_of(record) for record in records) or words.PAGE["none_signed"])
    return 0


@contextlib.contextmanager
def _told(path: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise CouldNot(f"{path}: cannot be written: {error.strerror}") from error
