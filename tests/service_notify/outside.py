"""The world outside for one test: servers as processes that can be killed and started again on the same port."""

import json
import os
import signal
import subprocess
import sys
from pathlib import Path
from typing import Any

from tests.ports import free_port

ROOT = Path(__file__).parents[2]


class Outside:
    """One server. `taken`: what it has answered with a yes, in order, over all of its lives."""

    def __init__(self, module: str, folder: Path, *manners: str) -> None:
        self.port = free_port()
        self._module, self._manners = module, manners
        self._file = folder / f"{module}-{self.port}.jsonl"
        self._process: subprocess.Popen[str] | None = None

    def start(self, *manners: str) -> None:
        if manners:
            self._manners = manners
        module = f"tests.service_notify.{self._module}"
        self._process = subprocess.Popen(
            [sys.executable, "-m", module, str(self.port), str(self._file), *self._manners],
            stdout=subprocess.PIPE, text=True, cwd=ROOT, env=os.environ | {"PYTHONPATH": str(ROOT)},
        )  # fmt: skip
        assert self._process.stdout is not None
        if self._process.stdout.readline() != "up\n":
            self.kill()
            raise AssertionError("the server did not start")

    def kill(self) -> None:
        if self._process is not None:
            self._process.send_signal(signal.SIGKILL)
            self._process.wait()
            assert self._process.stdout is not None
            self._process.stdout.close()
            self._process = None

    def stop(self) -> None:
        """Hangs: the machine takes our bytes, nobody answers."""
        assert self._process is not None
        self._process.send_signal(signal.SIGSTOP)

    @property
    def taken(self) -> list[dict[str, Any]]:
        if not self._file.exists():
            return []
        whole, _, _ = self._file.read_text(encoding="utf-8").rpartition("\n")  # the last line may just be written
        return [json.loads(line) for line in whole.splitlines()]

    def __enter__(self) -> "Outside":
        self.start()
        return self

    def __exit__(self, *_: object) -> None:
        self.kill()


def mail(folder: Path, *manners: str) -> Outside:
    return Outside("mailserver", folder, *manners)


def hook(folder: Path, *manners: str) -> Outside:
    return Outside("hookserver", folder, *manners)
