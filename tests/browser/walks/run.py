"""`gaugehouse run` for a site on simulated instruments: the same daemon, whose pages bear the mark SIMULATED.

Argument: the site file. Says ``ready`` and the console's address; ends by a signal, as the daemon does.
"""

import asyncio
import sys
from pathlib import Path

from collector.clock import RealClock
from gaugehouse import __version__
from gaugehouse.daemon import Daemon, Options
from gaugehouse.service import stop_on_signals
from gaugehouse.site import load_site


async def main(path: Path) -> None:
    def say(url: str) -> None:
        print("ready", url, flush=True)

    daemon = Daemon(load_site(path), RealClock(), Options(__version__, simulated=True, on_ready=say))
    stop_on_signals(daemon)
    await daemon.run()


if __name__ == "__main__":
    asyncio.run(main(Path(sys.argv[1])))
