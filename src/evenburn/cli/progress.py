"""Progress of long work: on a terminal only, on standard error, with the time left."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from rich.console import Console
from rich.progress import BarColumn, MofNCompleteColumn, Progress, TextColumn, TimeRemainingColumn


@contextmanager
def shown_progress() -> Iterator[Callable[[str, int, int], None]]:
    """Yield a function that shows what is being done, and how long the rest will take."""
    if not sys.stderr.isatty():
        yield lambda _what, _done, _of: None
        return
    bar = Progress(
        TextColumn("{task.description}"),
        BarColumn(bar_width=28),
        MofNCompleteColumn(separator=" of "),
        TimeRemainingColumn(compact=True),
        TextColumn("left"),
        console=Console(stderr=True),
        transient=True,
    )
    with bar:
        task = bar.add_task("reading the batch", total=None)

        def tell(what: str, done: int, of: int) -> None:
            bar.update(task, description=what, completed=done, total=of)

        yield tell
