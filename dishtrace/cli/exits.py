"""Exit codes, and the messages that go with those that are not 0."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import asdict
from typing import Any

import typer

import dishtrace
from dishtrace.cli.printing import encodable, print_json
from dishtrace.errors import DishtraceError, InputError

DONE, STOPPED = 0, 130
"""Exit codes of a run without an error; an error brings its own, see `dishtrace.errors`."""


@contextmanager
def told(as_json: bool) -> Iterator[None]:
    """Turn errors raised on purpose and Ctrl-C into messages and exit codes."""
    try:
        yield
    except DishtraceError as error:
        print(encodable(f"{_kind(error)}:\n{error}", sys.stderr), file=sys.stderr)
        if as_json:
            print_json(_error_object(error))
        raise typer.Exit(error.exit_code) from error
    except KeyboardInterrupt:
        print("stopped", file=sys.stderr)
        raise typer.Exit(STOPPED) from None


def _kind(error: DishtraceError) -> str:
    if not isinstance(error, InputError):
        return "the run failed"
    number = len(error.faults)
    return "1 thing needs a change" if number == 1 else f"{number} things need a change"


def _error_object(error: DishtraceError) -> dict[str, Any]:

    faults = [{**asdict(fault), "text": str(fault)} for fault in getattr(error, "faults", ())]
    return {"dishtrace": dishtrace.__version__, "ok": False, "error": str(error), "faults": faults}
