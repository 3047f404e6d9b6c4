"""The command line: parses arguments, calls one function, turns what went wrong into one line and an exit status.

0 done; 1 the answer is no; 2 the call, the site file or the samples are wrong; 3 something outside stood in the way;
70 a bug of ours (never 1); 130 interrupted. Results on stdout, everything else on stderr.
"""

import logging
import os
import sys
import traceback
from collections.abc import Sequence
from typing import Final

from gaugehouse.commands import Command, parser
from gaugehouse.errors import CallError, CouldNot
from gaugehouse.sitefile.problems import SiteError
from models.errors import GaugehouseError

DONE: Final = 0
NO: Final = 1
WRONG_CALL: Final = 2
COULD_NOT: Final = 3
BUG: Final = 70
INTERRUPTED: Final = 130


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and give back its exit status."""
    logging.basicConfig(stream=sys.stderr, level=logging.INFO, format="%(asctime)s %(levelname)s %(name)s: %(message)s")
    logging.getLogger("uvicorn").setLevel(logging.WARNING)  # a page that is opened is no news
    try:
        args = parser().parse_args(argv)
        run: Command = args.run
        status = run(args)
        sys.stdout.flush()
    except SystemExit as exit_:  # argparse: 0 for --help, 2 for a wrong call
        return exit_.code if isinstance(exit_.code, int) else WRONG_CALL
    except (SiteError, CallError) as error:
        return _say(error, WRONG_CALL)
    except CouldNot as error:
        return _say(error, COULD_NOT)
    except KeyboardInterrupt:
        return INTERRUPTED
    except BrokenPipeError:  # the reader of our output has gone: nobody is left to tell
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except GaugehouseError as error:
        return _say(error, COULD_NOT)
    except Exception:
        traceback.print_exc()
        print("gaugehouse: a bug of ours; please report it with the lines above", file=sys.stderr)
        return BUG
    return status


def _say(error: Exception, status: int) -> int:
    print(f"gaugehouse: {error}", file=sys.stderr)
    return status


if __name__ == "__main__":
    sys.exit(main())
