"""A heating log: the readings of a csv file, in SI units and degrees Celsius, and what its head says."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.csv_table import Row, read_rows
from dishtrace.scene.quantity import Quantity
from dishtrace.scene.source import shortened
from dishtrace.study.fit.given import Given, head_lines, read_given

TIMES = {"time_s": 1.0, "time_min": 60.0, "time_h": 3600.0, "time": None}
TEMPERATURES = {"temperature_c": "c", "temperature_f": "f", "temperature_k": "k"}
OTHERS = ("dni_w_m2", "air_c", "sun", "spot")
LEAST_READINGS = 6
_IRRADIANCE = Quantity("W/m2", 0.0, 1500.0)
_AIR = Quantity("degrees C", -90.0, 60.0)
_WATER_C = (-5.0, 400.0)
_CELL = re.compile(r"^([-+0-9.eE]+)\s*(?:deg\s*)?°?\s*([cCfFkK]?)$")
_CLOCK = re.compile(r"^(\d{1,2}):(\d{2})(?::(\d{2}(?:\.\d+)?))?$")
_SUN = {"on": True, "1": True, "yes": True, "off": False, "0": False, "no": False}
_DAY_S = 86400.0


@dataclass(frozen=True, eq=False)
class Log:
    """Readings of a heating test.

    Parameters
    ----------
    name : str
        The file as the user named it.
    given : Given
        What its head says, as given.
    lines : (n,) int64
        Line of each reading in the file.
    time_s : (n,) float64
        From the first reading, rising. [s]
    reading_c : (n,) float64
        As read, in degrees Celsius. [degC]
    dni_w_m2, air_c : (n,) float64 or None
        Columns of the file, where it has them. [W/m2], [degC]
    is_sun_on : (n,) bool
        Whether the dish faces the sun from this reading to the next.
    is_wall : (n,) bool or None
        Whether the reading was taken on the wall rather than on the water, where the file says so.
    step_c : float
        Smallest step that the readings come in; 0 when there is none. [K]
    notes : tuple of str
        What was found on reading.
    """

    name: str
    given: Given
    lines: np.ndarray
    time_s: np.ndarray
    reading_c: np.ndarray
    dni_w_m2: np.ndarray | None
    air_c: np.ndarray | None
    is_sun_on: np.ndarray
    is_wall: np.ndarray | None
    step_c: float
    notes: tuple[str, ...]


def read_log(path: str | Path, *, given: Mapping[str, Any] | None = None) -> Log:
    """A heating log from a csv file.

    Parameters
    ----------
    path : str or Path
        Lines ``# key = value`` give what is known (`given.NUMBERS`, `given.WORDS`), other lines that start with # are
        remarks. The header names a time (time_s, time_min, time_h, or time as 14:05[:30] or with the date), a
        temperature (temperature_c, temperature_f, temperature_k), and may name dni_w_m2, air_c, sun (on/off) and spot
        (water/wall).
    given : mapping, optional
        Overrides what the head says; numbers, pairs (value, sd) or texts.

    Raises
    ------
    InputError
        With every fault of the file.
    """
    name, faults = str(path), []
    known = (*TIMES, *TEMPERATURES, *OTHERS)
    rows = read_rows(Path(path), name, needed=(), known=known, faults=faults)
    text = Path(path).read_text(encoding="utf-8-sig").splitlines()
    written = [(f"{name}:{number}", key, value) for number, key, value in head_lines(text)]
    written += [("given", key, value) for key, value in (given or {}).items()]
    knowledge = read_given(written, faults)
    columns = tuple(rows[0].cells) if rows else ()
    time_key = _one_of(name, columns, tuple(TIMES), "a time", faults)
    heat_key = _one_of(name, columns, tuple(TEMPERATURES), "a temperature with its unit", faults)
    if not time_key or not heat_key:
        raise InputError(faults)
    log = _log(name, rows, knowledge, time_key, heat_key, faults)
    if faults:
        raise InputError(list(dict.fromkeys(faults)))
    return log


def _one_of(name: str, columns: tuple[str, ...], wanted: tuple[str, ...], what: str, faults: list[Fault]) -> str:
    """The one column of several that the file has."""
    found = [column for column in wanted if column in columns]
    if len(found) == 1:
        return found[0]
    said = f"has no column with {what}" if not found else f"has several columns with {what}: {', '.join(found)}"
    faults.append(Fault(name, "", "", said, f"name one column {', '.join(wanted[:-1])} or {wanted[-1]}"))
    return ""


def _log(name: str, rows: list[Row], given: Given, time_key: str, heat_key: str, faults: list[Fault]) -> Log:
    """The readings that can be used; faults and notes of the others."""
    notes: list[str] = []
    times = _times(rows, time_key, faults)
    heats, is_other = _temperatures(rows, heat_key, faults, notes)
    kept = np.flatnonzero(np.isfinite(heats) & np.isfinite(times))
    if len(kept) < len(rows) and not faults:
        notes.append(f"{len(rows) - len(kept)} of {len(rows)} rows have no temperature and are left out")
    if len(kept) < LEAST_READINGS and not faults:
        remedy = "read the thermometer every minute or so until the curve bends"
        faults.append(Fault(name, "", "", f"has {len(kept)} readings; {LEAST_READINGS} at least are needed", remedy))
    lines = np.array([int(row.where.rpartition(":")[2]) for row in rows])
    cells = {
        key: _column(rows, key, quantity, faults) for key, quantity in (("dni_w_m2", _IRRADIANCE), ("air_c", _AIR))
    }
    sun = _flags(rows, "sun", _SUN, faults)
    wall = _flags(rows, "spot", {"water": False, "wall": True}, faults)
    usable = heats[kept]
    step = _step(usable) if not is_other else 0.0
    return Log(
        name,
        given,
        lines[kept],
        times[kept] - (times[kept[0]] if len(kept) else 0.0),
        usable,
        *(None if cells[key] is None else cells[key][kept] for key in ("dni_w_m2", "air_c")),
        np.ones(len(kept), dtype=bool) if sun is None else sun[kept],
        None if wall is None else wall[kept],
        step,
        tuple(notes),
    )


def _times(rows: list[Row], key: str, faults: list[Fault]) -> np.ndarray:
    """Times in seconds, which must rise from row to row. [s]"""
    times = np.full(len(rows), np.nan)
    days, last = 0.0, -np.inf
    for place, row in enumerate(rows):
        text = row.cells[key]
        seconds = _clock(text) if TIMES[key] is None else _scaled(text, TIMES[key])
        if seconds is None:
            form = "a number" if TIMES[key] else "14:05, 14:05:30 or 2026-03-21T14:05:30"
            faults.append(row.fault(key, f"must be {form}"))
            continue
        if _CLOCK.match(text) and seconds + days < last - 0.5 * _DAY_S:
            days += _DAY_S
        seconds += days
        if seconds <= last:
            remedy = "times must rise; sort the rows, and give one reading a time"
            faults.append(row.fault(key, "is not later than the row before", remedy))
        times[place] = last = seconds
    return times


def _scaled(text: str, unit: float) -> float | None:
    try:
        value = float(text) * unit
    except ValueError:
        return None
    return value if np.isfinite(value) else None


def _clock(text: str) -> float | None:
    """Seconds of a time of day, or of a date and time."""
    match = _CLOCK.match(text)
    if match:
        hours, minutes, seconds = (float(part or 0.0) for part in match.groups())
        return 3600.0 * hours + 60.0 * minutes + seconds if hours < 24.0 and minutes < 60.0 and seconds < 60.0 else None
    try:
        return datetime.fromisoformat(text).timestamp()
    except ValueError:
        return None


def _temperatures(rows: list[Row], key: str, faults: list[Fault], notes: list[str]) -> tuple[np.ndarray, bool]:
    """Temperatures in degrees Celsius, NaN where there is none; whether some came in another unit than the header's."""
    heats = np.full(len(rows), np.nan)
    others: list[str] = []
    for place, row in enumerate(rows):
        text = row.cells[key]
        if not text:
            continue
        match = _CELL.match(text)
        value = _scaled(match.group(1), 1.0) if match else None
        if value is None:
            faults.append(row.fault(key, "must be a number, or empty", "a unit may stand behind it: 165 F"))
            continue
        unit = match.group(2).lower() or TEMPERATURES[key]
        heats[place] = celsius(value, unit)
        if unit != TEMPERATURES[key]:
            others.append(row.where.rpartition(":")[2])
    for place, slip in _slips(heats, TEMPERATURES[key]):
        notes.append(f"{rows[place].where}: {shortened(rows[place].cells[key])} {slip}; it is left out")
        heats[place] = np.nan
    for place in np.flatnonzero(np.isfinite(heats) & ((heats < _WATER_C[0]) | (heats > _WATER_C[1]))):
        allowed = f"must be from {_WATER_C[0]:g} to {_WATER_C[1]:g} degrees C for water, but is {heats[place]:.1f}"
        faults.append(rows[place].fault(key, allowed, "check the unit in the header"))
    if others:
        cells = "1 cell carries" if len(others) == 1 else f"{len(others)} cells carry"
        lines = f"{', '.join(others[:6])}{', ...' if len(others) > 6 else ''}"
        notes.append(f"mixed units: the header says {key}, but {cells} another unit: converted (line {lines})")
    return heats, bool(others)


def celsius(value: float, unit: str) -> float:
    """Degrees Celsius of a temperature in "c", "f" or "k"."""
    return {"c": value, "f": (value - 32.0) / 1.8, "k": value - 273.15}[unit]


def _slips(heats: np.ndarray, unit: str) -> list[tuple[int, str]]:
    """Readings that fit among their neighbours only when they are read in another unit, and which.

    A reading counts when it lies more than 15 K off the middle of up to three readings on each side, and within 5 K
    of it when converted (common practice, no source).
    """
    found = []
    known = np.flatnonzero(np.isfinite(heats))
    shown = {"c": heats, "f": heats * 1.8 + 32.0, "k": heats + 273.15}[unit]
    for rank, place in enumerate(known):
        near = known[[other for other in range(max(rank - 3, 0), min(rank + 4, len(known))) if other != rank]]
        if len(near) < 3:
            continue
        middle = float(np.median(heats[near]))
        if abs(heats[place] - middle) <= 15.0:
            continue
        for other, word in (("c", "degrees C"), ("f", "degrees F"), ("k", "kelvin")):
            if other != unit and abs(celsius(float(shown[place]), other) - middle) < 5.0:
                found.append((int(place), f"looks like {word} among readings in another unit (mixed units)"))
    return found


def _column(rows: list[Row], key: str, quantity: Quantity, faults: list[Fault]) -> np.ndarray | None:
    """Numbers of a column that the file may have."""
    from dishtrace.scene.csv_table import cell_number

    if not rows or key not in rows[0].cells:
        return None
    values = [cell_number(row, key, quantity, faults) for row in rows]
    return np.array([np.nan if value is None else value for value in values], dtype=np.float64)


def _flags(rows: list[Row], key: str, words: Mapping[str, bool], faults: list[Fault]) -> np.ndarray | None:
    """Yes or no of a column that the file may have."""
    if not rows or key not in rows[0].cells:
        return None
    flags = np.zeros(len(rows), dtype=bool)
    for place, row in enumerate(rows):
        text = row.cells[key].lower()
        if text in words:
            flags[place] = words[text]
        else:
            faults.append(row.fault(key, f"must be {' or '.join(words)}"))
    return flags


def _step(heats: np.ndarray) -> float:
    """The step that all readings are whole multiples of, among those of usual displays; 0 when none is. [K]"""
    for step in (1.0, 0.5, 5.0 / 9.0, 0.2, 0.1):
        base = heats - heats[0] if len(heats) else heats
        if len(base) and np.all(np.abs(base / step - np.round(base / step)) < 1e-6):
            return step
    return 0.0
