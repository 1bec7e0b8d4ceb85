"""Surfaces of mirrors in closed form."""

from __future__ import annotations

import numpy as np


def bent_quadric(radius: float, angle: float) -> np.ndarray:
    """A sheet bent to a circular cylinder along the direction u cos(angle) + v sin(angle), (6,), as a facet's. [1/m]"""
    c, s = np.cos(angle), np.sin(angle)
    return np.array([c * c, s * s, 1.0, c * s, 0.0, 0.0]) / (2.0 * radius)


def meridian_arc(radius: float, *, focal_length: float) -> float:
    """Curve of a paraboloid from its vertex to a distance from the axis: f (u sqrt(1 + u^2) + asinh u), u = r / 2f. [m]

    `tests/published/test_paraboloid.py` holds it against printed values.
    """
    u = radius / (2.0 * focal_length)
    return float(focal_length * (u * np.sqrt(1.0 + u * u) + np.arcsinh(u)))


def cap_area(radius: float, *, focal_length: float) -> float:
    """A paraboloid within a distance from its axis: (8 pi f^2 / 3) [(1 + (r / 2f)^2)^(3/2) - 1]. [m2]"""
    return float(8.0 * np.pi * focal_length**2 / 3.0 * ((1.0 + (radius / (2.0 * focal_length)) ** 2) ** 1.5 - 1.0))
