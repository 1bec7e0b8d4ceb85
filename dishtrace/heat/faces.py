"""The faces of a part that give off heat: which correlation holds for each, and how much sky it sees."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING, Literal

import numpy as np

from dishtrace.heat import convection
from dishtrace.scene.uncertain import nominal
from dishtrace.vec import normalise

if TYPE_CHECKING:
    from dishtrace.heat.air import Ambient
    from dishtrace.parts.assemble import PartMesh
    from dishtrace.scene.model import Part

Side = Literal["front", "back"]


@dataclass(frozen=True, eq=False)
class Face:
    """Triangles of one side of a part that share one correlation.

    Parameters
    ----------
    kind : str
        "plate", "cylinder", "sphere" or "cavity": a function of `convection`.
    sizes : dict
        Its keyword arguments.
    side : "front" or "back"
        Of the part; the front is where the normals of its triangles point.
    index : (m,) int64
        Triangles of the part. [–]
    area : float
        [m2]
    sky : (m,) float64
        Share of what each triangle sees that is sky, the rest being ground. [–]
    opening_area : float or None
        Of a hollow that the face lines: through it all of its radiation leaves; None for what stands free. [m2]
    """

    kind: str
    sizes: dict[str, float]
    side: Side
    index: np.ndarray
    area: float
    sky: np.ndarray
    opening_area: float | None = None

    def coefficient(self, wall: float, ambient: Ambient) -> float:
        """Mean coefficient to air at a wall of that temperature [K]; in W/(m2 K)."""
        return getattr(convection, self.kind)(wall, ambient, **self.sizes)

    def openness(self, emittance: float) -> float:
        """Factor on the emittance: 1 for what stands free, less for the lining of a hollow. [–]

        A grey hollow of one temperature shines through its opening with e / (e + (1 - e) f), f the opening's share of
        the inside; per area of the inside and per emittance that is f / (e + (1 - e) f).

        References
        ----------
        .. [1] R. Siegel, J. R. Howell, *Thermal Radiation Heat Transfer*, grey enclosure of two surfaces (from memory).
        """
        if self.opening_area is None:
            return 1.0
        share = self.opening_area / self.area
        return share / (emittance + (1.0 - emittance) * share) if emittance > 0.0 else share


def part_faces(part: Part, mesh: PartMesh, up: np.ndarray) -> tuple[Face, ...]:
    """All faces of a part that give off heat, both sides of sheets.

    Parameters
    ----------
    part : Part
    mesh : PartMesh
        Its triangles in the dish frame.
    up : (3,) float64
        Upwards, in the dish frame. [–]
    """
    shape, everything = part.shape, np.arange(len(mesh.areas))
    if shape == "sphere":
        return (_face("sphere", {"diameter": 2.0 * nominal(part.radius_m)}, mesh, everything, up),)
    if shape == "mesh":
        return _mesh_faces(mesh, up)
    if shape in ("disc", "rectangle"):
        return tuple(_plate(mesh, everything, up, side) for side in ("front", "back"))
    axis = _axis(part, mesh)
    if shape == "cavity":
        return _cavity_faces(part, mesh, axis, up)
    if shape == "box":
        return tuple(_plate(mesh, index, up, "front") for index in _flat_groups(mesh.normals))
    along = mesh.normals @ axis
    is_wall = np.abs(along) < 0.999
    faces = [_cylinder(part, mesh, np.flatnonzero(is_wall), axis, up, "front")]
    for end in (along >= 0.999, along <= -0.999):
        if end.any():
            faces.append(_plate(mesh, np.flatnonzero(end), up, "front"))
    if shape == "tube":
        faces.append(_cylinder(part, mesh, everything, axis, up, "back"))
    return tuple(faces)


def _axis(part: Part, mesh: PartMesh) -> np.ndarray:
    """The part's axis in the dish frame."""
    return normalise(np.array([float(nominal(value)) for value in part.axis])) @ mesh.frame_rotation


def _face(
    kind: str, sizes: dict, mesh: PartMesh, index: np.ndarray, up: np.ndarray, side: Side = "front", **more: float
) -> Face:
    outward = mesh.normals[index] if side == "front" else -mesh.normals[index]
    return Face(kind, sizes, side, index, float(mesh.areas[index].sum()), 0.5 * (1.0 + outward @ up), **more)


def _plate(mesh: PartMesh, index: np.ndarray, up: np.ndarray, side: Side) -> Face:
    """A flat group of triangles."""
    outward = normalise((mesh.areas[index, np.newaxis] * mesh.normals[index]).sum(axis=0))
    outward = outward if side == "front" else -outward
    slope, breadth = plate_lengths(mesh.triangles[index], outward, up)
    tilt = math.acos(float(np.clip(outward @ up, -1.0, 1.0)))
    return _face("plate", {"slope": slope, "breadth": breadth, "tilt": tilt}, mesh, index, up, side)


def _cylinder(part: Part, mesh: PartMesh, index: np.ndarray, axis: np.ndarray, up: np.ndarray, side: Side) -> Face:
    """The wall of a cylinder, a tube or a cone, which counts as a cylinder of its mean diameter."""
    radius, height = float(nominal(part.radius_m)), float(nominal(part.height_m))
    diameter = radius if part.shape == "cone" else 2.0 * radius
    sizes = {"diameter": diameter, "length": height, "tilt": math.acos(min(abs(float(axis @ up)), 1.0))}
    hollow = {"opening_area": 2.0 * math.pi * radius**2} if side == "back" else {}
    return _face("cylinder", sizes, mesh, index, up, side, **hollow)


def _cavity_faces(part: Part, mesh: PartMesh, axis: np.ndarray, up: np.ndarray) -> tuple[Face, ...]:
    """The inside of a cavity, which is its front, and its shell from outside."""
    radius, opening = float(nominal(part.radius_m)), float(nominal(part.opening_radius_m))
    dip = math.asin(float(np.clip(-axis @ up, -1.0, 1.0)))
    sizes = {"diameter": 2.0 * radius, "opening": 2.0 * opening, "dip": dip}
    everything = np.arange(len(mesh.areas))
    faces = [_face("cavity", sizes, mesh, everything, up, opening_area=math.pi * opening**2)]
    along = mesh.normals @ axis
    tilt = math.acos(min(abs(float(axis @ up)), 1.0))
    shell = {"diameter": 2.0 * radius, "length": float(nominal(part.depth_m)), "tilt": tilt}
    faces.append(_face("cylinder", shell, mesh, np.flatnonzero(np.abs(along) < 0.5), up, "back"))
    for end in (along >= 0.5, along <= -0.5):
        if end.any():
            faces.append(_plate(mesh, np.flatnonzero(end), up, "back"))
    return tuple(faces)


def _mesh_faces(mesh: PartMesh, up: np.ndarray) -> tuple[Face, ...]:
    """A drawn shape: a closed one as a lying cylinder as thick as it is, an open one as plates that look up, sideways
    and down.
    """
    everything = np.arange(len(mesh.areas))
    if mesh.is_closed:
        thickness = 4.0 * volume_of(mesh.triangles) / float(mesh.areas.sum())
        sizes = {"diameter": thickness, "length": float(np.ptp(mesh.triangles @ up)), "tilt": 0.5 * math.pi}
        return (_face("cylinder", sizes, mesh, everything, up),)
    faces = []
    for side, sign in (("front", 1.0), ("back", -1.0)):
        rise = sign * (mesh.normals @ up)
        for group in (rise > 0.7, np.abs(rise) <= 0.7, rise < -0.7):
            if group.any():
                faces.append(_loose_plate(mesh, np.flatnonzero(group), up, side, float(rise[group].mean())))
    return tuple(faces)


def _loose_plate(mesh: PartMesh, index: np.ndarray, up: np.ndarray, side: Side, rise: float) -> Face:
    """Triangles that look the same way without lying in one plane."""
    area = float(mesh.areas[index].sum())
    height = max(float(np.ptp(mesh.triangles[index] @ up)), 0.1 * math.sqrt(area))
    sizes = {"slope": height, "breadth": 0.25 * math.sqrt(area), "tilt": math.acos(float(np.clip(rise, -1.0, 1.0)))}
    return _face("plate", sizes, mesh, index, up, side)


def _flat_groups(normals: np.ndarray) -> list[np.ndarray]:
    """Triangles of equal normals, group by group."""
    _, group = np.unique(np.round(normals, 6) + 0.0, axis=0, return_inverse=True)
    return [np.flatnonzero(group.ravel() == number) for number in range(group.max() + 1)]


def plate_lengths(triangles: np.ndarray, normal: np.ndarray, up: np.ndarray) -> tuple[float, float]:
    """Mean length along the slope, and area over perimeter, of a flat set of triangles (n, 3, 3). [m]"""
    across = np.cross(normal, up)
    if np.linalg.norm(across) < 1e-6:
        across = np.cross(normal, np.eye(3)[np.argmin(np.abs(normal))])
    across = normalise(across)
    down = np.cross(normal, across)
    area = 0.5 * float(
        np.linalg.norm(np.cross(triangles[:, 1] - triangles[:, 0], triangles[:, 2] - triangles[:, 0]), axis=1).sum()
    )
    width = float(np.ptp(triangles @ across))
    perimeter = _perimeter(triangles)
    slope = area / width
    return min(slope, float(np.ptp(triangles @ down))), area / perimeter


def _perimeter(triangles: np.ndarray) -> float:
    """Length of the edges that only one triangle has. [m]"""
    scale = float(np.abs(triangles).max())
    _, corner = np.unique(np.round(triangles.reshape(-1, 3) / scale, 9), axis=0, return_inverse=True)
    corner = corner.reshape(-1, 3)
    edges = np.sort(np.stack([corner, np.roll(corner, -1, axis=1)], axis=-1).reshape(-1, 2), axis=1)
    lengths = np.linalg.norm(np.roll(triangles, -1, axis=1) - triangles, axis=2).ravel()
    _, first, counts = np.unique(edges, axis=0, return_index=True, return_counts=True)
    return float(lengths[first[counts == 1]].sum())


def volume_of(triangles: np.ndarray) -> float:
    """Volume enclosed by closed triangles (n, 3, 3) whose fronts look outwards. [m3]"""
    a, b, c = np.moveaxis(triangles - triangles.mean(axis=(0, 1)), 1, 0)
    return float(np.einsum("ij,ij->", a, np.cross(b, c)) / 6.0)
