"""All benchmarks, one after the other: `python -m tests.bench [--short]`."""

import subprocess
import sys

BENCHES = (
    "bench_collector",
    "bench_scale",
    "bench_serial",
    "bench_replay",
    "bench_history",
    "bench_store",
    "bench_kill",
    "bench_models",
    "bench_notify",
    "bench_flood",
    "bench_diagnosis",
    "bench_movements",
    "bench_forecast",
    "bench_leak",
    "bench_pages",
    "bench_paper",
)

if __name__ == "__main__":
    for name in BENCHES:
        print(f"== {name}", flush=True)
        subprocess.run([sys.executable, "-m", f"tests.bench.{name}", *sys.argv[1:]], check=True)
