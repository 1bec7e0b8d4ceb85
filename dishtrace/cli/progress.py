"""Progress of long work, on standard error."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import Any

from dishtrace.cli.ctrl_c import answered
from dishtrace.cli.printing import encodable


def watched(work: Callable[..., Any], subject: Any, *, quiet: bool, **options: Any) -> Any:
    """Do long work on a subject with a bar, announcements and a word on Ctrl-C, or without a word."""
    if quiet:
        return work(subject, **options)
    with _progress() as (progress, announce), answered(announce):
        return work(subject, progress=progress, announce=announce, **options)


@contextmanager
def _progress() -> Iterator[tuple[Callable[[int, int], None] | None, Callable[[str], None]]]:
    """A bar with the time that remains, on standard error when it is a terminal, and a way to say a line there."""
    if not sys.stderr.isatty():
        yield None, lambda text: print(encodable(text, sys.stderr), file=sys.stderr, flush=True)
        return
    from rich.console import Console
    from rich.progress import BarColumn, Progress, TaskProgressColumn, TextColumn, TimeRemainingColumn

    columns = (
        TextColumn("tracing"),
        BarColumn(),
        TaskProgressColumn(),
        TextColumn("time left"),
        TimeRemainingColumn(),
    )
    with Progress(*columns, console=Console(file=sys.stderr), transient=True) as bar:
        task = bar.add_task("tracing", total=None)
        yield (
            lambda done, total: bar.update(task, completed=done, total=total),
            lambda text: bar.console.print(text, markup=False, highlight=False),
        )
