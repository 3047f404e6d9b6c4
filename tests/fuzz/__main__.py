"""`python -m tests.fuzz [TARGET [SECONDS]]`: one target (or each in turn) under atheris, from its seeds on.

Needs the extra `fuzz`. What it finds stays in tests/fuzz/found/TARGET/ as a file; put its bytes among the seeds when it
is mended.
"""

import subprocess
import sys
from pathlib import Path

FOUND = Path(__file__).parent / "found"


def one(name: str, seconds: int) -> None:
    """In this process, which atheris ends."""
    import atheris

    with atheris.instrument_imports(include=["modbus", "collector", "gaugehouse", "models", "alerts", "history"]):
        from tests.fuzz.targets import SEEDS, TARGETS

    found = FOUND / name
    corpus = found / "corpus"
    corpus.mkdir(parents=True, exist_ok=True)
    for place, seed in enumerate(SEEDS[name]):
        (corpus / f"seed-{place}").write_bytes(seed)
    options = [f"-max_total_time={seconds}", f"-artifact_prefix={found}/", "-max_len=1024", "-print_final_stats=1"]
    atheris.Setup([sys.argv[0], str(corpus), *options], TARGETS[name])
    atheris.Fuzz()


def main(args: list[str]) -> int:
    """Each target in a process of its own: the first that finds something does not keep the others from running."""
    seconds = args[1] if len(args) > 1 else "60"
    if args:
        one(args[0], int(seconds))
        return 0
    from tests.fuzz.targets import TARGETS  # not before: atheris must see the imports of the one

    ended = {name: subprocess.run([sys.executable, "-m", "tests.fuzz", name, seconds]).returncode for name in TARGETS}
    print({name: "nothing found" if code == 0 else f"ended with {code}" for name, code in ended.items()})
    return max(ended.values())


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
