"""Known vulnerabilities of what an installation is made of: `python deploy/audit.py SBOM`, by pip-audit.

Exit 0 when every package was looked up and none has a known vulnerability; 1 when one has; 3 when packages could not be
looked up (no network, or an index that does not tell): then nothing is known, and that is said. CI takes 3 for a
warning.
"""

import json
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

LONGEST_S = 300


def packages_of(bill: dict[str, Any]) -> list[str]:
    return [f"{one['name']}=={one['version']}" for one in bill["components"]]


def judged(answer: str) -> tuple[int, list[str]]:
    """The exit code for what pip-audit answered, and the lines to say."""
    try:
        rows = json.loads(answer)["dependencies"]
    except (ValueError, KeyError, TypeError):
        return 3, ["NOT AUDITED: no list of vulnerabilities could be reached; audit the bill of materials elsewhere"]
    skipped = [row for row in rows if "skip_reason" in row]
    told = [
        f"{row['name']} {row['version']}: {one['id']}, mended in {', '.join(one['fix_versions']) or 'no version yet'}"
        for row in rows
        for one in row.get("vulns", ())
    ]
    if skipped:
        names = ", ".join(row["name"] for row in skipped)
        told.append(f"NOT AUDITED, the index tells nothing of them: {names}")
    known = any(row.get("vulns") for row in rows)
    return 1 if known else 3 if skipped else 0, told or [f"{len(rows)} packages, no known vulnerability"]


def main(words: list[str]) -> int:
    bill = json.loads(Path(words[0]).read_text(encoding="utf-8"))
    with tempfile.NamedTemporaryFile("w", suffix=".txt", encoding="utf-8") as file:
        file.write("\n".join(packages_of(bill)) + "\n")
        file.flush()
        call = [sys.executable, "-m", "pip_audit", "-r", file.name, "--no-deps", "--disable-pip", "-f", "json"]
        try:
            done = subprocess.run(call, capture_output=True, text=True, check=False, timeout=LONGEST_S)  # noqa: S603 ours
            answer = done.stdout
        except subprocess.TimeoutExpired:
            answer = ""
    status, told = judged(answer)
    print("\n".join(told), file=sys.stderr if status else sys.stdout)
    return status


if __name__ == "__main__":
    sys.exit(main(sys.argv[1:]))
