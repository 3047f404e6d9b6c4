"""A farm and its daemon as one process to be killed: `python -m tests.fault.child FOLDER SPEED [INSTRUMENT KIND]`.

Prints its address. What stands in FOLDER/more.toml is added to the site file. With an instrument and a kind of fault,
that instrument is broken from the beginning on. Above 1000 times real time the farm moves in steps of 10 s.
"""

import asyncio
import sys
from pathlib import Path

from tests.gaugehouse.farms import running


async def _main(folder: Path, speed: float, broken: list[str]) -> None:
    more = folder / "more.toml"
    text = more.read_text(encoding="utf-8") if more.exists() else ""
    pace_ms = 10_000 if speed > 1000 else 0
    async with running(folder, speed=speed, more=text, pace_ms=pace_ms) as run:
        if broken:
            run.farm.inject(*broken)
        print(run.daemon.url, flush=True)
        await asyncio.Event().wait()


if __name__ == "__main__":
    asyncio.run(_main(Path(sys.argv[1]), float(sys.argv[2]), sys.argv[3:]))
