"""Radial profiles of the sun's radiance: pillbox, Gaussian, limb-darkened, circumsolar, tabulated.

Radiances are functions of this module with some arguments given, so that a profile can be sent to another process.
"""

from __future__ import annotations

import csv
from functools import partial
from importlib.resources import files

import numpy as np

from dishtrace.sun.radial import RadialProfile

DISC_EDGE_MRAD = 4.65
AUREOLE_CUT_MRAD = 43.6
LARGEST_CHI = 1.0
SMALLEST_CHI = 1e-3


def pillbox(half_angle: float) -> RadialProfile:
    """Disc of uniform radiance.

    Parameters
    ----------
    half_angle : float
        Angle from the centre to the edge, > 0 and below pi/2. [rad]

    Returns
    -------
    RadialProfile
    """
    edges = np.linspace(0.0, half_angle, 5)
    return RadialProfile(np.ones_like, edges, partial(_pillbox_angle, edge=np.sin(half_angle)))


def _pillbox_angle(share: np.ndarray, *, edge: float) -> np.ndarray:
    """Angle [rad] outside of which a share of the power lies; `edge` is the sine of the half angle."""
    return np.arcsin(edge * np.sqrt(1.0 - share))


def gaussian(sigma: float) -> RadialProfile:
    """Gaussian radiance exp(-theta^2 / (2 sigma^2)), `sigma` per axis.

    Parameters
    ----------
    sigma : float
        Standard deviation per axis of the angle, > 0. [rad]

    Returns
    -------
    RadialProfile
        Reaches to 12 sigma (or pi/2), beyond which less than 1e-31 of the power lies.
    """
    reach = min(12.0 * sigma, 0.5 * np.pi)
    panels = max(4, int(np.ceil(2.0 * reach / sigma)))
    return RadialProfile(partial(_gaussian_radiance, sigma=sigma), np.linspace(0.0, reach, panels + 1))


def _gaussian_radiance(theta: np.ndarray, *, sigma: float) -> np.ndarray:
    return np.exp(-0.5 * (theta / sigma) ** 2)


def limb_darkening_law(name: str = "Jose 1957") -> np.ndarray:
    """Coefficients a0, a1, a2 of a limb-darkening law in data/limb_darkening.csv.

    Returns
    -------
    (3,) float64
        Radiance over that at the centre is a0 + a1 mu + a2 mu^2. [–]
    """
    text = (files("dishtrace") / "data" / "limb_darkening.csv").read_text(encoding="utf-8")
    rows = csv.DictReader(line for line in text.splitlines() if not line.startswith("#"))
    laws = {row["law"]: np.array([float(row[key]) for key in ("a0", "a1", "a2")]) for row in rows}
    return laws[name]


def limb_darkened(half_angle: float, coefficients: np.ndarray | None = None) -> RadialProfile:
    """Disc that is darker towards its edge: a0 + a1 mu + a2 mu^2 with mu = sqrt(1 - x^2).

    x = sin(theta) / sin(half_angle) is exact for a sphere seen from any distance. The panels shrink by halves
    towards the edge, where mu has a square-root edge.

    Parameters
    ----------
    half_angle : float
        Angle from the centre to the edge, > 0 and below pi/2. [rad]
    coefficients : (3,) float64, optional
        a0, a1, a2; from data/limb_darkening.csv when left out. [–]

    Returns
    -------
    RadialProfile
    """
    law = limb_darkening_law() if coefficients is None else coefficients
    edges = half_angle * np.append(1.0 - 0.5 ** np.arange(0.0, 48.0), 1.0)
    return RadialProfile(partial(_limb_darkened_radiance, half_angle=half_angle, law=law), edges)


def _limb_darkened_radiance(theta: np.ndarray, *, half_angle: float, law: np.ndarray) -> np.ndarray:
    a0, a1, a2 = law
    mu = np.sqrt(np.maximum(0.0, 1.0 - (np.sin(theta) / np.sin(half_angle)) ** 2))
    return a0 + mu * (a1 + mu * a2)


def aureole_constants(chi: float) -> tuple[float, float]:
    """Constants kappa and gamma of the aureole exp(kappa) theta^gamma, theta in mrad.

    Parameters
    ----------
    chi : float
        The paper's circumsolar parameter, > 0. [–]

    References
    ----------
    .. [1] D. Buie, A. G. Monger, C. J. Dey, "Sunshape distributions for terrestrial solar simulations", Solar
       Energy 74 (2003) 113-122. Equations and constants from memory.
    """
    kappa = 0.9 * np.log(13.5 * chi) * chi**-0.3
    gamma = 2.2 * np.log(0.52 * chi) * chi**0.43 - 0.1
    return float(kappa), float(gamma)


def circumsolar_radiance(theta: np.ndarray, chi: float) -> np.ndarray:
    """Radiance of disc and aureole over that at the disc's centre, without the cut at 43.6 mrad.

    Parameters
    ----------
    theta : (n,) float64
        Angles from the centre, >= 0. [rad]
    chi : float
        The paper's circumsolar parameter; 0 for the disc alone. [–]

    Returns
    -------
    (n,) float64
        [–]

    References
    ----------
    .. [1] As for `aureole_constants`.
    """
    mrad = 1e3 * np.asarray(theta, dtype=float)
    is_disc = mrad <= DISC_EDGE_MRAD
    on_disc = np.where(is_disc, mrad, 0.0)
    disc = np.cos(0.326 * on_disc) / np.cos(0.308 * on_disc)
    if chi == 0.0:
        return np.where(is_disc, disc, 0.0)
    kappa, gamma = aureole_constants(chi)
    off_disc = np.where(is_disc, DISC_EDGE_MRAD, mrad)
    return np.where(is_disc, disc, np.exp(kappa + gamma * np.log(off_disc)))


def circumsolar(chi: float) -> RadialProfile:
    """Disc with aureole after Buie, Monger and Dey (2003): edge 4.65 mrad, cut 43.6 mrad.

    Parameters
    ----------
    chi : float
        The paper's circumsolar parameter, up to 1; 0 for the disc alone. [–]

    Returns
    -------
    RadialProfile
    """
    disc = np.linspace(0.0, 1e-3 * DISC_EDGE_MRAD, 17)
    if chi == 0.0:
        return RadialProfile(partial(circumsolar_radiance, chi=0.0), disc)
    aureole = 1e-3 * np.geomspace(DISC_EDGE_MRAD, AUREOLE_CUT_MRAD, 17)
    return RadialProfile(partial(circumsolar_radiance, chi=chi), np.append(disc, aureole[1:]))


def realised_csr(chi: float) -> float:
    """Circumsolar ratio that the profile of the given `chi` really has.

    The ratio is the paper's own: integrals of radiance times theta dtheta (small angles), from the disc's
    edge to the cut over from the centre to the cut. The share of the traced power beyond the disc's edge has
    cos(theta) sin(theta) in place of theta and so is smaller by up to 3e-4.

    Parameters
    ----------
    chi : float
        The paper's circumsolar parameter, > 0. [–]

    Returns
    -------
    float
        [–]
    """
    nodes, weights = np.polynomial.legendre.leggauss(64)
    half = 0.5 * DISC_EDGE_MRAD
    theta = half * (1.0 + nodes)
    disc = half * np.sum(weights * theta * circumsolar_radiance(1e-3 * theta, 0.0))
    kappa, gamma = aureole_constants(chi)
    exponent = (gamma + 2.0) * np.log(AUREOLE_CUT_MRAD / DISC_EDGE_MRAD)
    stretch = np.expm1(exponent) / exponent if exponent != 0.0 else 1.0
    edge = np.exp(kappa + (gamma + 2.0) * np.log(DISC_EDGE_MRAD))
    aureole = edge * stretch * np.log(AUREOLE_CUT_MRAD / DISC_EDGE_MRAD)
    return float(aureole / (disc + aureole))


def chi_for_csr(csr: float) -> float:
    """The paper's `chi` whose profile has the wanted realised circumsolar ratio.

    Parameters
    ----------
    csr : float
        From 0 to `realised_csr(1)`, 0.8998. [–]

    Returns
    -------
    float
        0 (disc alone) for ratios too small to be told from 0, below 1e-14. [–]

    Raises
    ------
    ValueError
        If no `chi` up to 1 gives the ratio.
    """
    if 0.0 <= csr < realised_csr(SMALLEST_CHI):
        return 0.0
    low, high = np.log(SMALLEST_CHI), np.log(LARGEST_CHI)
    if not 0.0 <= csr <= realised_csr(LARGEST_CHI):
        raise ValueError(f"no circumsolar profile has a realised ratio of {csr:g}")
    for _ in range(60):
        middle = 0.5 * (low + high)
        low, high = (middle, high) if realised_csr(np.exp(middle)) < csr else (low, middle)
    return float(np.exp(0.5 * (low + high)))


def tabulated(theta: np.ndarray, radiance: np.ndarray) -> RadialProfile:
    """Radiance given at a few angles, linear in the angle in between.

    Parameters
    ----------
    theta : (n,) float64
        Increasing from 0. [rad]
    radiance : (n,) float64
        >= 0, not all zero. Rows of zeros at the end are left out. [any]

    Returns
    -------
    RadialProfile
    """
    last = min(int(np.flatnonzero(radiance)[-1]) + 2, theta.size)
    return RadialProfile(partial(np.interp, xp=theta, fp=radiance), np.array(theta[:last], dtype=float))
