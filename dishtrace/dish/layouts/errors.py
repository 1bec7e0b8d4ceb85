"""What is wrong with one built dish: canting, piston and missing facets."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from dishtrace.chance import normals
from dishtrace.dish.facets import Facets
from dishtrace.dish.layouts.plan import LayoutError

PURPOSE_CANT_U, PURPOSE_CANT_V, PURPOSE_PISTON = 101, 102, 103
"""Purposes of the draws from dish.seed; the index of a draw is the facet's number."""


def canted(facets: Facets, *, spread: float, seed: int) -> Facets:
    """Facets tilted by chance about their middles.

    Parameters
    ----------
    facets : Facets
    spread : float
        Standard deviation of the normal's tilt towards u, and of that towards v. [rad]
    seed : int
        Of the dish. A facet's tilt depends on it and on the facet's number only.
    """
    if spread == 0.0:
        return facets
    towards_u = spread * normals(seed, PURPOSE_CANT_U, facets.number)
    towards_v = spread * normals(seed, PURPOSE_CANT_V, facets.number)
    turn = towards_u[:, np.newaxis] * facets.axes[:, 1] - towards_v[:, np.newaxis] * facets.axes[:, 0]
    return replace(facets, axes=facets.axes @ rotations_about(turn).transpose(0, 2, 1))


def pistoned(facets: Facets, *, spread: float, seed: int) -> Facets:
    """Facets shifted by chance along their normals, standard deviation `spread`. [m]"""
    if spread == 0.0:
        return facets
    shift = spread * normals(seed, PURPOSE_PISTON, facets.number)
    return replace(facets, origin=facets.origin + shift[:, np.newaxis] * facets.axes[:, 2])


def rotations_about(turn: np.ndarray) -> np.ndarray:
    """Rotations about axes by the lengths of the axes' vectors (Rodrigues' formula).

    Parameters
    ----------
    turn : (n, 3) float64
        Axis times angle. [rad]

    Returns
    -------
    (n, 3, 3) float64
        For column vectors. [–]
    """
    angle = np.linalg.norm(turn, axis=1)[:, np.newaxis, np.newaxis]
    cross = np.zeros((len(turn), 3, 3))
    cross[:, 2, 1], cross[:, 0, 2], cross[:, 1, 0] = turn.T
    cross = cross - cross.transpose(0, 2, 1)
    first = np.sinc(angle / np.pi)
    second = 0.5 * np.sinc(0.5 * angle / np.pi) ** 2
    return np.eye(3) + first * cross + second * cross @ cross


def without(facets: Facets, missing: tuple[int, ...]) -> Facets:
    """The facets that are there.

    Parameters
    ----------
    facets : Facets
    missing : tuple of int
        Numbers of those that are not.

    Raises
    ------
    LayoutError
        If there is no facet of such a number, or none is left.
    """
    unknown = sorted(set(missing) - set(facets.number.tolist()))
    if unknown:
        shown = ", ".join(map(str, unknown[:5])) + (", ..." if len(unknown) > 5 else "")
        low, high = facets.number.min(), facets.number.max()
        raise LayoutError("missing", f"names {shown}, but the facets have the numbers {low} to {high}")
    here = ~np.isin(facets.number, missing)
    if not here.any():
        raise LayoutError("missing", "leaves no facet at all")
    return facets if here.all() else facets.taken(np.flatnonzero(here))
