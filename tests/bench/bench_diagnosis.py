"""The diagnosis against labelled faults of the simulator: a confusion matrix with the extra signals wired, one without.

Right: the true cause stands at the top, and what stands level with it are only causes that the evidence cannot tell
from it (GROUPS). A case takes about a third of a second, one that goes by hours about six. With --healthy nothing is
wrong with any loop: every verdict, and every declared fault, is a false one.
"""

import argparse
from collections import Counter
from collections.abc import Iterable, Sequence
from multiprocessing import Pool
from typing import Final, NamedTuple

from alerts.diagnosis import Question, diagnose
from simulator.cases import LABELS, case
from tests.bench.healthy import loop_days
from tests.bench.labelled import question, without

BUILDING: Final = range(1_000, 1_999)
"""Seeds on which the rules were built."""

PROVING: Final = range(500_000, 500_999)
"""Seeds that were kept apart: what the documentation prints."""

SHORT_LABELS: Final = tuple(
    name for name in LABELS if name not in ("leak", "fouled", "heater_dead", "zero_shift", "span_error")
)

CANNOT_TELL_WITHOUT: Final = (
    {"open_circuit", "supply_lost", "short"},  # no current: nothing else is known
    {"fouled", "heater_dead"},
    {"starved", "lost_echo"},  # a flat top while the tank fills: the supply would tell
    {"fail_high", "short"},  # between the highest failure current and the lowest limiter
)
CANNOT_TELL_AT_ALL: Final = (
    {"lost_echo", "frozen_register"},  # where one step of the register is larger than the noise
    {"open_circuit", "supply_lost"},
)


class Answer(NamedTuple):
    label: str
    seed: int
    wired: bool
    best: tuple[str, ...]
    blind: bool = False


def allowed(label: str, wired: bool) -> set[str]:
    """The causes that may stand beside the true one."""
    groups = () if wired else (*CANNOT_TELL_WITHOUT, *CANNOT_TELL_AT_ALL)
    return {label}.union(*(group for group in groups if label in group))


def is_right(answer: Answer) -> bool:
    if answer.blind and not answer.best:
        return True
    return answer.label in answer.best and set(answer.best) <= allowed(answer.label, answer.wired)


def ask(name: str, seed: int) -> tuple[Question, bool]:
    """The question of a case, and whether a healthy loop would look the same: then "unknown" is right.

    Two do: a frozen register of a tank at rest, where one step is larger than twice the noise, and a lost echo while
    no meter tells that the tank is moved on: a pump that stops looks like it.
    """
    made = case(name, seed)
    coarse = made.step_mA is not None and made.step_mA > 2 * made.noise_mA
    return question(made), (name == "frozen_register" and coarse) or (name == "lost_echo" and not made.loop.metered)


def _answers(job: tuple[str, int]) -> list[Answer]:
    name, seed = job
    asked, blind = ask(name, seed)
    return [
        Answer(name, seed, wired, tuple(str(c) for c in found.best), blind)
        for wired, found in ((True, diagnose(asked)), (False, diagnose(without(asked))))
    ]


def matrix(answers: Iterable[Answer]) -> list[str]:
    """Lines of a confusion matrix: true label, how many are right, and every answer with its count."""
    by_label: dict[str, list[Answer]] = {}
    for answer in answers:
        by_label.setdefault(answer.label, []).append(answer)
    lines = []
    for label, found in by_label.items():
        right = sum(map(is_right, found))
        told = Counter("/".join(sorted(a.best)) or "unknown" for a in found)
        lines.append(
            f"  {label:16} {right:4} of {len(found):4} {100 * right / len(found):5.1f} %   "
            + ", ".join(f"{words} {n}" for words, n in told.most_common())
        )
    right = sum(is_right(a) for found in by_label.values() for a in found)
    total = sum(map(len, by_label.values()))
    lines.append(f"  {'all':16} {right:4} of {total:4} {100 * right / total:5.1f} %")
    return lines


def healthy(seeds: Sequence[int], days: int) -> list[str]:
    """Lines that tell of loops without a fault: how many days of a loop, what was said of them all the same."""
    looked, looks, said = 0, 0, []
    for seed in seeds:
        for one in loop_days(seed, days):
            looked, looks = looked + 1, looks + one.looks
            said += [f"  {one.loop}, seed {seed}: declared {name}" for name in one.faults]
            said += [f"  {one.loop}, seed {seed}: {'/'.join(causes)}" for _, _, causes in one.verdicts]
    return [f"healthy loops: {looked} loop-days, looked at {looks} times, {len(said)} false", *said]


def main(argv: Sequence[str] | None = None) -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--short", action="store_true", help="five of each class that needs no night")
    parser.add_argument("--each", type=int, default=60, help="cases of each class")
    parser.add_argument("--building", action="store_true", help="take the seeds that the rules were built on")
    parser.add_argument("--labels", nargs="*", default=None)
    parser.add_argument("--healthy", type=int, metavar="FARMS", help="a day of so many farms without a fault instead")
    parser.add_argument("--processes", type=int, default=1)
    args = parser.parse_args(argv)
    seeds = BUILDING if args.building else PROVING
    if args.healthy:
        print("\n".join(healthy(seeds[: args.healthy], 1)))
        return
    labels = args.labels or (SHORT_LABELS if args.short else tuple(LABELS))
    jobs = [(name, seed) for name in labels for seed in seeds[: 5 if args.short else args.each]]
    if args.processes > 1:
        with Pool(args.processes) as pool:
            answers = [a for found in pool.imap(_answers, jobs, chunksize=5) for a in found]
    else:
        answers = [a for job in jobs for a in _answers(job)]
    for wired in (True, False):
        print(f"diagnosis, extra signals {'wired' if wired else 'not wired'}:")
        print("\n".join(matrix(a for a in answers if a.wired is wired)))


if __name__ == "__main__":
    main()
