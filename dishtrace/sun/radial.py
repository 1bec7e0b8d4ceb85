"""A radial profile of radiance and the share of its power outside a circle about the sun's centre."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np

NODES_PER_PANEL = 16
BISECTIONS = 64
ROUNDING = 4e-16
"""Relative differences of shares and of angles below which both are as good as equal. [–]"""


@dataclass(frozen=True, eq=False)
class RadialProfile:
    """Radiance over the angle from the sun's centre, integrated panel by panel.

    The power element is ``L(theta) cos(theta) sin(theta) dtheta``: power on a plane square to the direction
    of the sun's centre, the plane to which the direct normal irradiance belongs. Each panel is integrated by
    Gauss-Legendre quadrature with 16 nodes, so the radiance has to be smooth inside a panel; jumps and kinks
    belong on panel edges, and towards a square-root edge the panels have to shrink geometrically.

    Parameters
    ----------
    radiance : callable
        Takes angles (n,) [rad], gives relative radiance (n,), >= 0. [–]
    panel_edges : (m + 1,) float64
        Increasing, from 0 to the largest angle, at most pi/2. [rad]
    closed_angle_outside : callable, optional
        `angle_outside` in closed form, where there is one.
    """

    radiance: Callable[[np.ndarray], np.ndarray]
    panel_edges: np.ndarray
    closed_angle_outside: Callable[[np.ndarray], np.ndarray] | None = None
    outer: np.ndarray = field(init=False, repr=False)

    def __post_init__(self) -> None:
        edges = self.panel_edges
        panels = self._moment(edges[:-1], edges[1:], power=0)
        outer = np.append(np.cumsum(panels[::-1])[::-1], 0.0)
        object.__setattr__(self, "outer", outer)

    def _moment(self, start: np.ndarray, end: np.ndarray, *, power: int) -> np.ndarray:
        """Integral of theta^power L cos sin dtheta from `start` to `end`, (n,) [rad], inside a panel."""
        nodes, weights = np.polynomial.legendre.leggauss(NODES_PER_PANEL)
        half = 0.5 * (end - start)
        theta = (0.5 * (start + end))[:, None] + half[:, None] * nodes
        values = self.radiance(theta.ravel()).reshape(theta.shape) * np.cos(theta) * np.sin(theta)
        return half * ((values * theta**power) @ weights)

    @property
    def total(self) -> float:
        """Integral of L cos(theta) sin(theta) dtheta over the whole profile. [rad^2, relative]."""
        return float(self.outer[0])

    def share_outside(self, theta: np.ndarray) -> np.ndarray:
        """Share of the power further than `theta` from the sun's centre.

        Summed from outside inwards, so that small shares keep their relative accuracy (about 1e-14).

        Parameters
        ----------
        theta : (n,) float64
            Angles from the sun's centre, >= 0. [rad]

        Returns
        -------
        (n,) float64
            From 1 at the centre to 0 at the largest angle. [–]
        """
        edges = self.panel_edges
        theta = np.minimum(np.asarray(theta, dtype=float), edges[-1])
        panel = np.clip(np.searchsorted(edges, theta, side="right") - 1, 0, edges.size - 2)
        rest = self._moment(theta.ravel(), edges[panel + 1].ravel(), power=0).reshape(theta.shape)
        return (rest + self.outer[panel + 1]) / self.total

    def angle_outside(self, share: np.ndarray) -> np.ndarray:
        """Angle beyond which the given share of the power lies: the inverse of `share_outside`.

        By the closed form, or by Newton's method on the monotone `share_outside`, kept within brackets by bisection;
        inside a dark ring, where the inverse is not unique, the outer edge of the ring.

        Parameters
        ----------
        share : (n,) float64
            In [0, 1]. [–]

        Returns
        -------
        (n,) float64
            Angles; 0 where `share` is 1. [rad]
        """
        share = np.asarray(share, dtype=float)
        if self.closed_angle_outside is not None:
            return self.closed_angle_outside(share)
        angle = self._solved(share.ravel()).reshape(share.shape)
        return np.where(share >= 1.0, 0.0, np.where(share <= 0.0, self.panel_edges[-1], angle))

    def _solved(self, share: np.ndarray) -> np.ndarray:
        """`angle_outside` of shares (n,), each in the panel that holds it. [rad]"""
        edges = self.panel_edges
        last = np.searchsorted(-self.outer, -share * self.total, side="right") - 1
        panel = np.clip(last, 0, edges.size - 2)
        low, high = edges[panel].copy(), edges[panel + 1].copy()
        angle = 0.5 * (low + high)
        left = np.arange(len(share))
        for _ in range(BISECTIONS):
            at = angle[left]
            beyond = self.share_outside(at) - share[left]
            is_inside = beyond >= 0.0
            low[left] = np.where(is_inside, at, low[left])
            high[left] = np.where(is_inside, high[left], at)
            slope = self.radiance(at) * np.cos(at) * np.sin(at) / self.total
            step = np.divide(beyond, slope, out=np.full(at.shape, np.inf), where=slope > 0.0)
            is_found = (np.abs(beyond) <= ROUNDING * share[left]) | (np.abs(step) <= ROUNDING * at)
            aimed, middle = at + step, 0.5 * (low[left] + high[left])
            is_aimed = (aimed > low[left]) & (aimed < high[left])
            angle[left] = np.where(is_found, at, np.where(is_aimed, aimed, middle))
            left = left[~is_found]
            if len(left) == 0:
                break
        return angle

    def rms(self) -> float:
        """Root mean square angle from the centre, weighted by power; radial, per axis over sqrt 2. [rad]."""
        edges = self.panel_edges
        return float(np.sqrt(self._moment(edges[:-1], edges[1:], power=2).sum() / self.total))
