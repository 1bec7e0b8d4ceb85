"""Which readings of a heating log can be used: gaps, slips, boiling, falls while the sun is on, all of them told."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

GAP_INTERVALS, GAP_S = 5.0, 120.0
"""A gap is longer than so many usual intervals and than so long (common practice, no source). [–], [s]"""
FALL_SIGMAS, FALL_K = 4.0, 0.5
"""A fall is deeper than so many standard deviations of a reading and than so much. [–], [K]"""
SLIP_SIGMAS, SLIP_K = 8.0, 2.0
"""A single reading that lies so far beside its neighbours is left out. [–], [K]"""
DIMMED = 0.7
"""A fall is put down to the irradiance when that sank below this share of its 90th percentile. [–]"""
NEAR_BOILING_K = 1.5
"""So far below boiling, steam already takes heat away that the model does not know. [K]"""
ABOVE_BOILING_K = 4.0
"""Water so far above boiling is under pressure. [K]"""
BOILING_K, STANDARD_PA = 373.124, 101325.0
"""Boiling of water at 1 atm (IAPWS-95). [K], [Pa]"""
LATENT_OVER_GAS_K = 2.2564e6 / 461.526
"""Heat of evaporation at 1 atm over the gas constant of steam (IAPWS-IF97). [K]"""


@dataclass(frozen=True, eq=False)
class Judged:
    """Readings that can be used, in stretches that each start anew.

    Parameters
    ----------
    stretches : tuple of (k,) int64
        Numbers of the readings of each stretch.
    noise_k : float
        Robust standard deviation of a reading, from how it lies between its neighbours. [K]
    notes : tuple of str
        What was found and what was done about it.
    """

    stretches: tuple[np.ndarray, ...]
    noise_k: float
    notes: tuple[str, ...]


def boiling_c(pressure_pa: float) -> float:
    """Boiling temperature of water, by Clausius and Clapeyron from 1 atm; within 0.4 K from 57 to 120 kPa. [degC]"""
    return 1.0 / (1.0 / BOILING_K - math.log(pressure_pa / STANDARD_PA) / LATENT_OVER_GAS_K) - 273.15


def judge(
    time_s: np.ndarray,
    heat_c: np.ndarray,
    *,
    is_sun_on: np.ndarray,
    dni_w_m2: np.ndarray | None,
    is_wall: np.ndarray | None,
    boils_at_c: float,
    step_k: float,
) -> Judged:
    """Sort a log's readings.

    Parameters
    ----------
    time_s, heat_c : (n,) float64
        Readings, times rising. [s], [degC]
    is_sun_on : (n,) bool
        Whether the dish faces the sun from each reading to the next.
    dni_w_m2 : (n,) float64 or None
        Irradiance, where it was read. [W/m2]
    is_wall : (n,) bool or None
        Readings on the wall; they are not compared with neighbours on the water.
    boils_at_c : float
        Boiling temperature of the water. [degC]
    step_k : float
        Step of the thermometer's display; 0 for none. [K]
    """
    notes: list[str] = []
    groups = [np.ones(len(time_s), dtype=bool)] if is_wall is None else [is_wall, ~is_wall]
    noise = max(_noise(time_s, heat_c, groups), step_k / math.sqrt(12.0), 1e-9)
    usable = np.ones(len(time_s), dtype=bool)
    for members in groups:
        for place in _slips(time_s, heat_c, np.flatnonzero(members), noise):
            usable[place] = False
            notes.append(
                f"the reading of {heat_c[place]:.1f} degC at {time_s[place] / 60.0:.1f} min lies far beside its "
                "neighbours; it is left out"
            )
    boils = _boiling(time_s, heat_c, boils_at_c, notes)
    places = np.flatnonzero(usable & ~boils)
    after = [*_gaps(time_s, notes), *(np.flatnonzero(boils)[-1:] + 1)]
    starts = {int(place) for one in after for place in places[places >= one][:1]}
    fallen, fresh = _falls(
        time_s, heat_c, places, is_sun_on=is_sun_on, dni=dni_w_m2, groups=groups, noise=noise, notes=notes
    )
    return Judged(_stretches(places, fallen, starts | fresh, notes), noise, tuple(notes))


def _beside(time_s: np.ndarray, heat_c: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """How far each inner reading lies off the line through its neighbours, and by what factor noise counts there."""
    share = (time_s[1:-1] - time_s[:-2]) / (time_s[2:] - time_s[:-2])
    off = heat_c[1:-1] - (1.0 - share) * heat_c[:-2] - share * heat_c[2:]
    return off, np.sqrt(1.0 + share**2 + (1.0 - share) ** 2)


def _noise(time_s: np.ndarray, heat_c: np.ndarray, groups: list[np.ndarray]) -> float:
    """Robust standard deviation of a reading: 1.4826 times the median distance (normal noise). [K]"""
    scaled = [np.divide(*_beside(time_s[one], heat_c[one])) for one in groups if np.count_nonzero(one) > 2]
    return float(1.4826 * np.median(np.abs(np.concatenate(scaled)))) if scaled else 0.0


def _slips(time_s: np.ndarray, heat_c: np.ndarray, places: np.ndarray, noise: float) -> list[int]:
    """Single readings far beside their neighbours, which agree with one another without them."""
    found: list[int] = []
    left = places.copy()
    while len(left) > 4:
        off, factor = _beside(time_s[left], heat_c[left])
        limit = np.maximum(SLIP_SIGMAS * noise * factor, SLIP_K)
        order = np.argsort(-np.abs(off) / limit)
        worst = int(order[0])
        if abs(off[worst]) <= limit[worst]:
            break
        without = np.delete(left, worst + 1)
        again, again_factor = _beside(time_s[without], heat_c[without])
        near = slice(max(worst - 1, 0), worst + 1)
        if np.any(np.abs(again[near]) > np.maximum(SLIP_SIGMAS * noise * again_factor[near], SLIP_K)):
            break
        found.append(int(left[worst + 1]))
        left = without
    return found


def _boiling(time_s: np.ndarray, heat_c: np.ndarray, boils_at_c: float, notes: list[str]) -> np.ndarray:
    """Readings so close to boiling that steam takes heat away."""
    none = np.zeros(len(heat_c), dtype=bool)
    if np.median(np.sort(heat_c)[-3:]) > boils_at_c + ABOVE_BOILING_K:
        notes.append(
            f"readings go above {boils_at_c:.1f} degC, where water boils here: the vessel is under pressure, or the "
            "thermometer shows too much. Never close a vessel without a relief valve that passes the full power"
        )
        return none
    near = heat_c > boils_at_c - NEAR_BOILING_K
    if np.count_nonzero(near) < 2:
        return none
    first, last = np.flatnonzero(near)[[0, -1]]
    none[first : last + 1] = True
    notes.append(
        f"from {time_s[first] / 60.0:.1f} to {time_s[last] / 60.0:.1f} min the water is within {NEAR_BOILING_K:g} K "
        f"of boiling ({boils_at_c:.1f} degC here) and steam takes heat away: these readings are left out"
    )
    return none


def _gaps(time_s: np.ndarray, notes: list[str]) -> list[int]:
    """Numbers of readings that follow a gap."""
    if len(time_s) < 3:
        return []
    steps = np.diff(time_s)
    limit = max(GAP_INTERVALS * float(np.median(steps)), GAP_S)
    found = np.flatnonzero(steps > limit) + 1
    for place in found:
        notes.append(
            f"a gap from {time_s[place - 1] / 60.0:.1f} to {time_s[place] / 60.0:.1f} min: what happened in it is not "
            "known, so the fit starts anew after it"
        )
    return [int(place) for place in found]


def _falls(
    time_s: np.ndarray,
    heat_c: np.ndarray,
    places: np.ndarray,
    *,
    is_sun_on: np.ndarray,
    dni: np.ndarray | None,
    groups: list[np.ndarray],
    noise: float,
    notes: list[str],
) -> tuple[set[int], set[int]]:
    """Readings in a fall while the sun is on, and readings that start anew after one."""
    limit = max(FALL_SIGMAS * noise, FALL_K)
    fallen: set[int] = set()
    fresh: set[int] = set()
    for members in groups:
        lit = _runs(places[members[places]], is_sun_on)
        for run in lit:
            for top, bottom in falls(heat_c[run], limit):
                first, last = run[top], run[bottom]
                if dni is not None and np.nanmean(dni[first : last + 1]) < DIMMED * np.nanpercentile(
                    dni[is_sun_on], 90.0
                ):
                    continue
                fallen.update(range(first + 1, last + 1))
                fresh.add(int(last) + 1)
                notes.append(
                    f"readings fall from {heat_c[first]:.1f} to {heat_c[last]:.1f} degC between "
                    f"{time_s[first] / 60.0:.1f} and {time_s[last] / 60.0:.1f} min though the sun is on: a cloud, the "
                    "dish off the sun, or cold water? They are left out and the fit starts anew after them; a column "
                    "dni_w_m2 or sun (on/off) would let them count"
                )
    return fallen, fresh


def _runs(places: np.ndarray, is_sun_on: np.ndarray) -> list[np.ndarray]:
    """Readings in a row with the sun on; the reading at which it goes off still belongs to them."""
    runs: list[list[int]] = [[]]
    for place in places:
        runs[-1].append(int(place))
        if not is_sun_on[place]:
            runs.append([])
    return [np.array(run) for run in runs if len(run) > 2]


def falls(heat_c: np.ndarray, limit: float) -> list[tuple[int, int]]:
    """Where a series of readings falls by more than a limit: numbers of the top and the bottom of each fall.

    Medians of three stand for the readings, so that one slip makes no fall.
    """
    smooth = np.array([np.median(heat_c[max(k - 1, 0) : k + 2]) for k in range(len(heat_c))])
    found = []
    top, k = 0, 0
    while k < len(smooth):
        if smooth[k] >= smooth[top]:
            top = k
        elif smooth[top] - smooth[k] > limit:
            bottom = k
            while k < len(smooth) and smooth[k] - smooth[bottom] <= 0.5 * limit:
                if smooth[k] < smooth[bottom]:
                    bottom = k
                k += 1
            found.append((_extreme(heat_c, top, np.argmax), _extreme(heat_c, bottom, np.argmin)))
            top = bottom
            k = bottom
        k += 1
    return found


def _extreme(heat_c: np.ndarray, place: int, which: Callable[[np.ndarray], np.intp]) -> int:
    """The highest or lowest of a reading and its neighbours: medians of three hide by one where a fall begins."""
    first = max(place - 1, 0)
    return first + int(which(heat_c[first : place + 2]))


def _stretches(places: np.ndarray, fallen: set[int], starts: set[int], notes: list[str]) -> tuple[np.ndarray, ...]:
    """Usable readings cut at every start; stretches of a single reading are dropped."""
    stretches: list[list[int]] = [[]]
    waiting = False
    for place in (int(one) for one in places):
        waiting |= place in starts
        if place in fallen:
            continue
        if waiting and stretches[-1]:
            stretches.append([])
        waiting = False
        stretches[-1].append(place)
    kept = tuple(np.array(one) for one in stretches if len(one) > 1)
    n_single = sum(len(one) == 1 for one in stretches)
    if n_single:
        notes.append(f"{n_single} readings stand alone between gaps or falls and say nothing; they are left out")
    return kept
