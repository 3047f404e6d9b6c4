"""A bar on stderr for work that takes its time; nothing at all where stderr is no terminal."""

import contextlib
import sys
from collections.abc import Callable, Iterator


@contextlib.contextmanager
def progress(words: str, total: float) -> Iterator[Callable[[float], None]]:
    """Gives a function to call with how much more of `total` is done."""
    if not sys.stderr.isatty():
        yield lambda _: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = TextColumn("{task.description}"), BarColumn(), TaskProgressColumn(), TimeRemainingColumn()
    with Progress(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(words, total=max(total, 1e-9))
        yield lambda more: bar.advance(task, more)
