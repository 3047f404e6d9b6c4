"""One writer to a file: a lock file beside it, held for as long as the writer lives, with its process id inside.

The kernel lets go of the lock when the process ends, however it ends; the file stays and means nothing by itself.
"""

import fcntl
import os
from pathlib import Path

from history.errors import StoreBusy, StoreUnavailable


class WriterLock:
    """Held from construction to `release`. Raises `StoreBusy` naming the process that holds it.

    flock, not POSIX record locks: it also refuses a second writer inside of the same process, and closing another
    descriptor of the file does not drop it.
    """

    def __init__(self, path: Path, what: str) -> None:
        self.path = path.with_name(path.name + ".lock")
        try:
            self._fd: int | None = os.open(self.path, os.O_RDWR | os.O_CREAT | os.O_CLOEXEC, 0o644)
        except OSError as exc:
            raise StoreUnavailable(f"{what} {path}: cannot make its lock file {self.path}: {exc.strerror}") from exc
        try:
            fcntl.flock(self._fd, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError:
            holder = os.pread(self._fd, 32, 0).decode("ascii", "replace").strip() or "unknown"
            os.close(self._fd)
            raise StoreBusy(
                f"{what} {path}: process {holder} is writing to it; send changes through that process or end it first"
            ) from None
        except OSError as exc:
            os.close(self._fd)
            raise StoreUnavailable(f"{what} {path}: cannot lock {self.path}: {exc.strerror}") from exc
        os.ftruncate(self._fd, 0)
        os.pwrite(self._fd, f"{os.getpid()}\n".encode(), 0)

    def release(self) -> None:
        """Let the next writer in. Twice is harmless."""
        if self._fd is not None:
            os.close(self._fd)
            self._fd = None
