"""Sunshape: how the sun's radiance falls off with the angle from its centre, as one inverse table."""

from __future__ import annotations

import csv
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path

import numpy as np

from dishtrace.errors import Fault, InputError
from dishtrace.scene.model import Scene
from dishtrace.scene.tables import Circumsolar, SunShapeTable
from dishtrace.sun import profiles
from dishtrace.sun.radial import RadialProfile

OCTAVES = 33
CELLS_PER_OCTAVE = 256
LARGEST_TABLE_ANGLE_MRAD = 100.0


@dataclass(frozen=True, eq=False)
class SunShape:
    """Radiance of the sun over the angle from its centre, ready to be sampled.

    Parameters
    ----------
    profile : str
        Name of the profile as in the scene file.
    radial : RadialProfile
        The exact profile.
    table : (33, 257) float64
        ``table[k, j]`` is tan^2(theta) at which the share of the power outside theta is
        ``w = 2^-(k+1) (1 + j/256)``; see `inverse_table`. [–]
    edge_rad : float
        Largest angle that is ever sampled. [rad]
    csr : float or None
        Realised circumsolar ratio of a circumsolar profile, as `profiles.realised_csr` defines it. [–]
    chi : float or None
        The parameter of a circumsolar profile. [–]
    description : str
        One phrase for reports, with units.
    """

    profile: str
    radial: RadialProfile
    table: np.ndarray
    edge_rad: float
    csr: float | None
    chi: float | None
    description: str


def inverse_table(radial: RadialProfile, *, cells: int = CELLS_PER_OCTAVE) -> np.ndarray:
    """tan^2(theta) over the share w of the power outside theta, in octaves of w.

    Halving w from row to row keeps the relative accuracy far out in the wings, where a table even in w has
    none. Linear interpolation between the nodes is exact for a pillbox to second order in its half-angle;
    where the radiance jumps (the disc's edge of a circumsolar profile) it moves less than 1/256 of the share w
    outside the jump, and no further than the one cell in which the jump lies.

    Parameters
    ----------
    radial : RadialProfile
        The profile.
    cells : int
        Cells per octave. [–]

    Returns
    -------
    (33, cells + 1) float64
        ``table[k, j]`` at ``w = 2^-(k+1) (1 + j/cells)``; ``table[0, cells]`` is the centre, ``table[32, 0]``
        the outermost angle. [–]
    """
    row = 0.5 ** np.arange(1, OCTAVES + 1)
    share = row[:, None] * (1.0 + np.arange(cells + 1) / cells)
    return np.tan(radial.angle_outside(share)) ** 2


def make_sunshape(
    profile: str,
    radial: RadialProfile,
    *,
    description: str,
    csr: float | None = None,
    chi: float | None = None,
) -> SunShape:
    """SunShape of a radial profile, with its inverse table."""
    table = inverse_table(radial)
    edge = radial.panel_edges[-1]
    if profile == "gaussian":
        edge = np.arctan(np.sqrt(table[-1, 0]))
    return SunShape(profile, radial, table, float(edge), csr, chi, description)


def read_profile_table(path: Path, *, name: str) -> tuple[np.ndarray, np.ndarray]:
    """Read a sunshape csv: a head ``angle_mrad,radiance``, then rows; lines that start with # are comments.

    Parameters
    ----------
    path : Path
        The file.
    name : str
        The file as the user wrote it, for messages.

    Returns
    -------
    theta : (n,) float64
        Increasing from 0 to at most 0.1. [rad]
    radiance : (n,) float64
        >= 0. [any]

    Raises
    ------
    InputError
        With every fault found, each with file and line.
    """
    try:
        text = path.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        reason = getattr(error, "strerror", None) or "it is not text in UTF-8"
        raise InputError(Fault(name, "", "", f"sunshape table cannot be read: {reason}")) from error
    lines = [
        (number, line)
        for number, line in enumerate(text.splitlines(), 1)
        if line.strip() and not line.lstrip().startswith("#")
    ]
    faults: list[Fault] = []
    head = [cell.strip() for cell in lines[0][1].split(",")] if lines else []
    if head != ["angle_mrad", "radiance"]:
        where = f"{name}:{lines[0][0]}" if lines else name
        raise InputError(Fault(where, "head", ",".join(head), 'must be "angle_mrad,radiance"'))
    rows: list[tuple[float, float]] = []
    for number, line in lines[1:]:
        row = _table_row(line, where=f"{name}:{number}", previous=rows[-1][0] if rows else None, faults=faults)
        if row is not None:
            rows.append(row)
    if not faults and len(rows) < 2:
        faults.append(Fault(name, "", "", f"holds {len(rows)} rows of numbers; at least 2 are needed"))
    if not faults and all(value == 0.0 for _, value in rows):
        faults.append(Fault(name, "radiance", "0", "is zero in every row; one must be > 0"))
    if faults:
        raise InputError(faults)
    table = np.array(rows)
    return 1e-3 * table[:, 0], table[:, 1]


def _table_row(line: str, *, where: str, previous: float | None, faults: list[Fault]) -> tuple[float, float] | None:
    """One row (angle [mrad], radiance) of a sunshape csv; adds to `faults` what is wrong with it."""
    cells = next(csv.reader([line]))
    try:
        angle, radiance = (float(cell) for cell in cells)
    except ValueError:
        faults.append(Fault(where, "", line.strip(), "must be two numbers: angle_mrad,radiance"))
        return None
    before = len(faults)
    if not 0.0 <= angle <= LARGEST_TABLE_ANGLE_MRAD:
        faults.append(Fault(where, "angle_mrad", f"{angle:g}", "must lie from 0 to 100 (mrad)"))
    elif previous is None and angle != 0.0:
        faults.append(Fault(where, "angle_mrad", f"{angle:g}", "must be 0 in the first row, the sun's centre"))
    elif previous is not None and angle <= previous:
        faults.append(Fault(where, "angle_mrad", f"{angle:g}", f"must be > {previous:g}, the angle above it"))
    if not 0.0 <= radiance < np.inf:
        faults.append(Fault(where, "radiance", f"{radiance:g}", "must be >= 0 and finite"))
    return (angle, radiance) if len(faults) == before else None


def sunshape_of(scene: Scene) -> SunShape:
    """Sunshape that a scene asks for; the scene model fills in a pillbox of 4.65 mrad.

    Parameters
    ----------
    scene : Scene
        Read: ``sun.shape``.

    Returns
    -------
    SunShape

    Raises
    ------
    InputError
        For a table file at fault.
    """
    wanted = scene.sun.shape
    if wanted.profile != "table":
        return _computed(wanted)
    theta, radiance = read_profile_table(scene.path(wanted.file), name=wanted.file)
    return make_sunshape("table", profiles.tabulated(theta, radiance), description=f"table {wanted.file}")


@lru_cache(maxsize=8)
def _computed(wanted: SunShapeTable) -> SunShape:
    """Sunshape from numbers; kept, since studies trace many scenes under one sun."""
    if wanted.profile == "pillbox":
        return make_sunshape(
            "pillbox",
            profiles.pillbox(1e-3 * wanted.half_angle_mrad),
            description=f"pillbox, half-angle {wanted.half_angle_mrad:g} mrad",
        )
    if wanted.profile == "gaussian":
        return make_sunshape(
            "gaussian",
            profiles.gaussian(1e-3 * wanted.sigma_mrad),
            description=f"Gaussian, {wanted.sigma_mrad:g} mrad per axis",
        )
    if wanted.profile == "limb-darkened":
        return make_sunshape(
            "limb-darkened",
            profiles.limb_darkened(1e-3 * wanted.half_angle_mrad),
            description=f"limb-darkened disc (Jose 1957), half-angle {wanted.half_angle_mrad:g} mrad",
        )
    return _circumsolar(wanted)


def _circumsolar(wanted: Circumsolar) -> SunShape:
    """Circumsolar sunshape by realised `csr` or by the paper's `chi`; one of them is given."""
    chi = wanted.chi if wanted.csr is None else profiles.chi_for_csr(wanted.csr)
    csr = profiles.realised_csr(chi) if chi > 0.0 else 0.0
    return make_sunshape(
        "circumsolar",
        profiles.circumsolar(chi),
        csr=csr,
        chi=chi,
        description=f"circumsolar (Buie, Monger, Dey 2003), realised ratio {csr:.3f}, chi {chi:.4f}",
    )
