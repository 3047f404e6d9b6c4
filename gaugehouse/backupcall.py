"""`gaugehouse backup` and `gaugehouse restore`: options and what they print."""

import time
from argparse import ArgumentParser, Namespace
from pathlib import Path


def backup_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE.tar.gz", help="the backup; must not be there yet")


def restore_arguments(parser: ArgumentParser) -> None:
    parser.add_argument("file", type=Path, metavar="FILE.tar.gz", help="a backup of this site")
    parser.add_argument("--look", action="store_true", help="only say what is in it")


def backup(args: Namespace) -> int:
    """Raises `CallError` for a file that is there already, `CouldNot`."""
    from gaugehouse.backup import take
    from gaugehouse.errors import CallError
    from gaugehouse.printing import as_json
    from gaugehouse.site import load_site

    if args.file.exists():
        raise CallError(f"{args.file}: is there already; a backup never replaces a file, name another one")
    made = take(load_site(Path(args.site)), args.file, time.time_ns() // 1_000_000)
    if args.json:
        print(as_json([made.json()]))
    else:
        print(f"{args.file}: site {made.site} at {made.time}, record book {made.head}, readings up to {made.seq}")
        print("keep it on another machine; `gaugehouse restore` puts it back while no daemon runs")
    return 0


def restore(args: Namespace) -> int:
    """Raises `CallError` for a file that is no backup of this site, `CouldNot` while a daemon runs."""
    from gaugehouse.backup import manifest_of
    from gaugehouse.backup import restore as put_back
    from gaugehouse.printing import as_json
    from gaugehouse.site import load_site

    site = load_site(Path(args.site))
    made, aside = (manifest_of(args.file), None)
    if not args.look:
        made, aside = put_back(site, args.file, time.time_ns() // 1_000_000)
    if args.json:
        print(as_json([{**made.json(), "aside": None if aside is None else str(aside)}]))
        return 0
    done = "holds" if args.look else "is put back:"
    print(f"{args.file} {done} site {made.site} at {made.time}, record book {made.head}, made by {made.version}")
    if aside is not None:
        print(f"what was there before is in {aside}; remove it when all is well")
    if not args.look:
        print("the site file and its tables are in the backup too (site/); they were left as they are here")
    return 0
