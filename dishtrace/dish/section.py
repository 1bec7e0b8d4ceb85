"""A lateral section of a paraboloid that keeps its focus through the seasons: pure geometry.

The section's centre C keeps its distance to the focus F, which lies on the polar axis. On a day of declination
delta three conditions fix the paraboloid: its axis points to the sun, its focus is F, and it passes through C.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from dishtrace.dish import outline as outlines
from dishtrace.dish.facets import Facets, parent_quadric
from dishtrace.dish.outline import CIRCLE, Outline

CHORD_TOLERANCE = 1e-5
"""Largest distance between a curved edge and the chords that stand for it, as a share of the dish's size. [–]"""


@dataclass(frozen=True)
class Section:
    """A lateral section about a centre C on the y axis of the dish frame.

    Declinations are counted positive in the summer of the hemisphere where it stands; +y leans to the celestial
    pole above the horizon.

    Parameters
    ----------
    distance : float
        From C to the focus, rho. [m]
    equinox_angle : float
        Angle psi_0 at the focus, at equinox, between "away from the sun" and C. [rad]
    sign : int
        q: +1 when C lies towards +y, so the focus on its low side, which looks to the equator; -1 when C lies
        towards -y and the focus on its high side. [–]

    Notes
    -----
    psi = psi_0 + q delta; f = rho (1 + cos psi) / 2; the mirror's normal at C bisects the directions to sun
    and focus, so it stands psi / 2 from the axis, and the reflector turns by delta / 2 from its equinox
    attitude. All of it follows from the three conditions; the tests compare with published coefficients.
    """

    distance: float
    equinox_angle: float
    sign: int

    def angle(self, declination: float) -> float:
        """psi: angle at the focus between "away from the sun" and C; also twice the incidence angle at C. [rad]"""
        return self.equinox_angle + self.sign * declination

    def focal_length(self, declination: float) -> float:
        """Focal length of the paraboloid of the day. [m]"""
        return float(0.5 * self.distance * (1.0 + np.cos(self.angle(declination))))

    def center(self, declination: float) -> np.ndarray:
        """C in the dish frame of the day, (3,). [m]"""
        psi = self.angle(declination)
        height = self.focal_length(declination) - self.distance * np.cos(psi)
        return np.array([0.0, self.sign * self.distance * np.sin(psi), height])

    def axes(self, declination: float) -> np.ndarray:
        """Frame of the rim plane in the dish frame of the day, (3, 3). [–]

        Rows u along x, v up the slope in the meridian plane, w the mirror's normal at C, square to the rim
        plane.
        """
        half = 0.5 * self.angle(declination)
        sine, cosine = self.sign * np.sin(half), np.cos(half)
        return np.array([[1.0, 0.0, 0.0], [0.0, cosine, sine], [0.0, -sine, cosine]])

    def quadric(self, declination: float) -> np.ndarray:
        """The paraboloid of the day in the frame of the rim plane, (6,), as `Facets` has it. [1/m]"""
        return parent_quadric(
            self.center(declination)[np.newaxis],
            self.axes(declination)[np.newaxis],
            focal_length=self.focal_length(declination),
        )[0]


def section_about(center_y: float, *, focal_length: float) -> Section:
    """The section whose centre, seen along the axis at equinox, lies at (0, y), y not 0.

    Parameters
    ----------
    center_y : float
        Place of the centre. [m]
    focal_length : float
        Focal length at equinox, > 0. [m]
    """
    return Section(
        distance=focal_length + center_y**2 / (4.0 * focal_length),
        equinox_angle=float(2.0 * np.arctan(abs(center_y) / (2.0 * focal_length))),
        sign=1 if center_y > 0.0 else -1,
    )


def rim_outline(outline: Outline, section: Section) -> Outline:
    """The equinox rim, projected square to the rim plane.

    Parameters
    ----------
    outline : Outline
        Seen along the axis at equinox, without a hole, its centre on the y axis at the section's C. [m]
    section : Section

    Returns
    -------
    Outline
        In u, v about C: an exact ellipse for a circle; for straight edges, whose rim is curved, a polygon
        through the rim that strays from it by less than 1e-5 of the dish's size. [m]

    Notes
    -----
    A circle of radius b is the projection of a plane cut through the paraboloid: an ellipse of semi-axes b
    and b / cos(psi_0 / 2), its middle b^2 / (4 f) above C along the axis, hence beside C in the plane.
    """
    focal_length, axes = section.focal_length(0.0), section.axes(0.0)
    if outline.kind == CIRCLE:
        radius = float(outline.params[2])
        middle = radius**2 / (4.0 * focal_length) * axes[1, 2]
        return outlines.ellipse((radius, radius / axes[2, 2]), center=(0.0, middle))
    corners = outline.corners()
    tolerance = CHORD_TOLERANCE * outline.span
    edges = [
        _edge_in_plane(start, end, section, tolerance=tolerance)
        for start, end in zip(corners, np.roll(corners, -1, axis=0), strict=True)
    ]
    return outlines.polygon(np.concatenate(edges))


def _edge_in_plane(start: np.ndarray, end: np.ndarray, section: Section, *, tolerance: float) -> np.ndarray:
    """Points along an edge (2,) to (2,) on the mirror at equinox, in u, v, the last left out, (k, 2). [m]

    Seen square to the plane the edge is p + q t + c t^2; a chord over a step h leaves it by c h^2 / 4.
    """
    focal_length, axes, center = section.focal_length(0.0), section.axes(0.0), section.center(0.0)
    bow = np.sum((end - start) ** 2) / (4.0 * focal_length) * axes[:2, 2]
    chord = axes[:2, :2] @ (end - start) + np.sum(end**2 - start**2) / (4.0 * focal_length) * axes[:2, 2]
    across = abs(bow[0] * chord[1] - bow[1] * chord[0]) / np.hypot(*chord)
    steps = max(1, int(np.ceil(np.sqrt(across / (4.0 * tolerance)))))
    plan = start + np.linspace(0.0, 1.0, steps, endpoint=False)[:, np.newaxis] * (end - start)
    height = np.sum(plan**2, axis=1) / (4.0 * focal_length)
    places = np.column_stack([plan, height]) - center
    return places @ axes[:2].T


def mirror_of_day(section: Section, rim: Outline, declination: float, *, is_flexed: bool, slope: float) -> Facets:
    """The mirror on a day, as one facet in the frame of the rim plane.

    Parameters
    ----------
    section : Section
    rim : Outline
        From `rim_outline`. [m]
    declination : float
        Declination set. [rad]
    is_flexed : bool
        Whether the surface is bent to the paraboloid of the day; else it keeps that of equinox and only turns.
    slope : float
        Slope error per axis. [rad]
    """
    return Facets(
        number=np.array([1]),
        origin=section.center(declination)[np.newaxis],
        axes=section.axes(declination)[np.newaxis],
        quadric=section.quadric(declination if is_flexed else 0.0)[np.newaxis],
        outlines=(rim,),
        slope=np.array([slope]),
        brightness=np.ones(1),
    )


def least_opening(quadric: np.ndarray, rim: Outline) -> float:
    """Smallest discriminant of the surface over its rim; where it is not > 0 the mirror folds over the plane. [–]

    The discriminant is concave in u and v for a paraboloid, so the rim has its least value.
    """
    u, v = rim.boundary(2048).T
    uu, vv, ww, mixed_uv, uw, vw = quadric
    level = uu * u * u + vv * v * v + 2.0 * mixed_uv * u * v
    steep = 1.0 - 2.0 * (uw * u + vw * v)
    return float(np.min(np.where(steep > 0.0, steep * steep - 4.0 * ww * level, steep)))


def vector_area(facets: Facets, i: int = 0) -> np.ndarray:
    """Area of a facet as a vector: its scalar product with a direction is what it shows to it, (3,). [m2]"""
    outline = facets.outlines[i]
    points, weights = outline.quadrature(8 if len(outline.triangles) else 32)
    _, normals = facets.surface(i, points)
    return weights @ normals


def carried(facets: Facets, before: Facets, after: Facets) -> Facets:
    """Facets fixed to a mirror, moved along when it is re-set.

    Parameters
    ----------
    facets : Facets
        Laid out on the mirror `before`.
    before, after : Facets
        The mirror as one facet, before and after, from `mirror_of_day` with the same rim.

    Returns
    -------
    Facets
        Each over the same place of the rim plane, lifted as the surface under it and turned by the smallest
        rotation that takes the surface's old normal there to the new one; on a stiff frame all as one body.
        Their own shape stays.
    """
    local = (facets.origin - before.origin[0]) @ before.axes[0].T
    places, normals = zip(*(_in_plane(mirror, local[:, :2]) for mirror in (before, after)), strict=True)
    local = local + (places[1] - places[0])
    turns = _smallest_rotations(normals[0], normals[1])
    frames = facets.axes @ before.axes[0].T @ turns.transpose(0, 2, 1) @ after.axes[0]
    return replace(facets, origin=local @ after.axes[0] + after.origin[0], axes=frames)


def _in_plane(mirror: Facets, uv: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Places (k, 3) [m] and unit normals (k, 3) of a one-facet mirror, in the frame of its own plane."""
    places, normals = mirror.surface(0, uv)
    normals = normals @ mirror.axes[0].T
    return (places - mirror.origin[0]) @ mirror.axes[0].T, normals / np.linalg.norm(normals, axis=1, keepdims=True)


def _smallest_rotations(start: np.ndarray, end: np.ndarray) -> np.ndarray:
    """Smallest rotations that take unit vectors (k, 3), less than a half turn apart, to others, (k, 3, 3). [–]"""
    cross, cosine = np.cross(start, end), np.sum(start * end, axis=1)
    skew = np.zeros((len(start), 3, 3))
    skew[:, [2, 0, 1], [1, 2, 0]] = cross
    skew[:, [1, 2, 0], [2, 0, 1]] = -cross
    return np.eye(3) + skew + skew @ skew / (1.0 + cosine)[:, np.newaxis, np.newaxis]
