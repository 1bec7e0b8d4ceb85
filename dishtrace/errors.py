"""What can go wrong, said so that a builder knows where, what was found, what is allowed and what to do."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

COMMAND_LINE = "command line"
"""Where a fault stands that is in no file."""


@dataclass(frozen=True)
class Fault:
    """One fault of the user's input.

    Parameters
    ----------
    where : str
        File and line, ``"yard.toml:14"``; the file alone when no line is known.
    key : str
        The key as the user wrote it, ``'part "pot" radius_m'``; empty when the fault is the whole file's.
    found : str
        The value found, as text; empty when the key is missing.
    allowed : str
        What is allowed, as the end of a sentence: ``"must be > 0 (metres)"``.
    remedy : str
        What to do about it; may be empty.
    """

    where: str
    key: str
    found: str
    allowed: str
    remedy: str = ""

    def __str__(self) -> str:
        subject = f"{self.key} = {self.found}" if self.key and self.found else self.key or self.found
        sentence = f"{subject} {self.allowed}".strip()
        tail = f"; {self.remedy}" if self.remedy else ""
        return f"{self.where}: {sentence}{tail}"


class DishtraceError(Exception):
    """Base of all errors that dishtrace raises on purpose; knows its exit code."""

    exit_code = 1


class InputError(DishtraceError):
    """The user's input is at fault; carries every fault found, not just the first.

    Parameters
    ----------
    faults : Fault or sequence of Fault
        At least one.
    """

    exit_code = 2

    def __init__(self, faults: Fault | list[Fault] | tuple[Fault, ...]) -> None:
        self.faults = (faults,) if isinstance(faults, Fault) else tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


def gathered(*makers: Callable[[], Any]) -> list[Any]:
    """What each of the callables gives.

    Raises
    ------
    InputError
        With the faults of all of them, each fault once.
    """
    found, faults = [], []
    for make in makers:
        try:
            found.append(make())
        except InputError as error:
            faults += error.faults
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    return found


class RunError(DishtraceError):
    """A run failed although the input was sound."""

    exit_code = 1
