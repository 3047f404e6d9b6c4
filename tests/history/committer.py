"""A child process that commits ticks until it is killed: the book first, then the readings, then a word to the parent.

It seals and merges between ticks as the daemon does; an hour is 9 ticks, a day 216.

python -m tests.history.committer FOLDER. Prints "<seq> <head>" after each tick is kept.
"""

import sys
from itertools import count
from pathlib import Path

from history.book import RecordBook
from history.chain import Entry
from history.sqlite import SqliteStore
from tests.history.samples import NOON_MS, reading

TANKS = ("T-1", "T-2", "T-3")
STEP_MS = 400_000


def main(folder: Path) -> None:
    book = RecordBook.open(folder / "book.sqlite", "FARM")
    readings = SqliteStore.open(folder / "readings.sqlite", "FARM")
    first = max(book.last_seq(), readings.last_seq()) + 1
    for seq in count(first):
        time_ms = NOON_MS + seq * STEP_MS
        entries = [
            Entry("tick", time_ms, seq, {"part": part, "text": "x" * (seq % 900)}) for part in range(seq % 3 + 1)
        ]
        head = book.commit(entries, {"tick": str(seq), "parts": str(len(entries)), "odd": "yes" if seq % 2 else None})
        readings.append([reading(seq, time_ms, tank) for tank in TANKS])
        readings.tidy()
        print(seq, head, flush=True)


if __name__ == "__main__":
    main(Path(sys.argv[1]))
