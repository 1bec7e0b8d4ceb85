"""Light that changes while a filling is followed: a course of power, or a power that is held."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np


@dataclass(frozen=True, eq=False)
class Course:
    """A power over time, straight between its points and held beyond them.

    Parameters
    ----------
    time : (n,) float64
        Rising from 0. [s]
    power : (n,) float64
        [W], or a share of a power.
    """

    time: np.ndarray
    power: np.ndarray

    def scaled(self, factor: float) -> Course:
        """The course times a factor."""
        return replace(self, power=self.power * factor)

    @property
    def duration(self) -> float:
        """When its last point is. [s]"""
        return float(self.time[-1])


def power_at(absorbed: float | Course, time: float) -> float:
    """Power at a time [s]. [W]"""
    return float(np.interp(time, absorbed.time, absorbed.power)) if isinstance(absorbed, Course) else absorbed


def energy_until(absorbed: float | Course, time: np.ndarray | float) -> np.ndarray | float:
    """Energy from time 0 to times [s] within the course, exact for its straight pieces. [J]"""
    if not isinstance(absorbed, Course):
        return absorbed * time
    steps = np.diff(absorbed.time)
    sums = np.concatenate([[0.0], np.cumsum(0.5 * (absorbed.power[1:] + absorbed.power[:-1]) * steps)])
    k = np.clip(np.searchsorted(absorbed.time, time, side="right") - 1, 0, len(steps) - 1)
    into = np.asarray(time, dtype=float) - absorbed.time[k]
    slope = (absorbed.power[k + 1] - absorbed.power[k]) / steps[k]
    energy = sums[k] + into * (absorbed.power[k] + 0.5 * slope * into)
    return energy if np.ndim(time) else float(energy)


def largest(absorbed: float | Course) -> float:
    """The largest power. [W]"""
    return float(absorbed.power.max()) if isinstance(absorbed, Course) else absorbed


def is_held(absorbed: float | Course) -> bool:
    """Whether the power stays the same, so that what is heated can settle."""
    return not isinstance(absorbed, Course)


def longest_step(absorbed: float | Course, otherwise: float) -> float:
    """Longest step of an integration that sees every point of a course. [s]"""
    return otherwise if is_held(absorbed) else min(otherwise, float(np.diff(absorbed.time).min()))
