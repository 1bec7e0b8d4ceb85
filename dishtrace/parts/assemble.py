"""All parts of a scene as triangles in the dish frame, checked against the mirror."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.mount import Pose
from dishtrace.dish.outline import Outline
from dishtrace.errors import Fault, InputError
from dishtrace.parts import sheets, solids
from dishtrace.parts.cavity import cavity
from dishtrace.parts.charts import Chart
from dishtrace.parts.clearance import LEAST_SHARED_M2, Contact, mirror_contact, shared_area
from dishtrace.parts.meshes import MeshError, mesh_report
from dishtrace.parts.sheets import Shape
from dishtrace.parts.triangles import area_vectors, is_closed
from dishtrace.parts.turned import Turned
from dishtrace.scene.uncertain import nominal
from dishtrace.vec import normalise, rotation_to

if TYPE_CHECKING:
    from dishtrace.scene.model import Part, Scene

SHAPES: dict[str, Callable[[Part], Shape]] = {
    "disc": lambda part: sheets.disc(nominal(part.radius_m)),
    "rectangle": lambda part: sheets.rectangle(_numbers(part.size_m)),
    "box": lambda part: solids.box(_numbers(part.size_m)),
    "cylinder": lambda part: solids.cylinder(nominal(part.radius_m), nominal(part.height_m)),
    "tube": lambda part: sheets.tube(nominal(part.radius_m), nominal(part.height_m)),
    "sphere": lambda part: solids.sphere(nominal(part.radius_m)),
    "cone": lambda part: solids.cone(nominal(part.radius_m), nominal(part.height_m)),
    "cavity": lambda part: cavity(nominal(part.radius_m), nominal(part.depth_m), nominal(part.opening_radius_m)),
}
"""How each shape of the scene file becomes triangles; "mesh" has its own way."""


@dataclass(frozen=True, eq=False)
class PartMesh:
    """A part as the tracer and the pictures see it.

    Parameters
    ----------
    name, role : str
        As the user wrote them.
    triangles : (n, 3, 3) float64
        Corners in the dish frame, counter-clockwise seen from the front. [m]
    normals : (n, 3) float64
        Unit normals on the front side. [–]
    areas : (n,) float64
        Areas. [m2]
    is_closed : bool
        Whether the triangles enclose a volume without gaps.
    n_dropped : int
        Degenerate triangles of a mesh file that were left out. [–]
    charts : tuple of Chart
        Flat drawings that together show every triangle once; empty for mesh files.
    frame_rotation : (3, 3) float64
        Takes dish-frame vectors to the frame in which the user placed the part. [–]
    frame_origin : (3,) float64
        Origin of that frame, in the dish frame. [m]
    notes : tuple of str
        What the user should know about this part.
    turned : Turned or None
        The bands of rings between which the triangles lie, for a body turned about an axis.
    """

    name: str
    role: str
    triangles: np.ndarray
    normals: np.ndarray
    areas: np.ndarray
    is_closed: bool
    n_dropped: int
    charts: tuple[Chart, ...]
    frame_rotation: np.ndarray
    frame_origin: np.ndarray
    notes: tuple[str, ...]
    turned: Turned | None = None

    def to_user(self, points: np.ndarray) -> np.ndarray:
        """Points of the dish frame in the frame in which the user placed the part, (..., 3) [m]."""
        return (np.asarray(points) - self.frame_origin) @ self.frame_rotation.T


def part_meshes(
    scene: Scene,
    pose: Pose,
    outline: Outline,
    *,
    known: dict[str, PartMesh] | None = None,
    has_notes: bool = True,
) -> tuple[PartMesh, ...]:
    """All parts of the scene, in its order.

    Parameters
    ----------
    scene : Scene
        As read and checked.
    pose : Pose
        How the dish stands.
    outline : Outline
        Of the mirror at that moment, seen along its axis.
    known : dict, optional
        Parts made before, by what is written of them, for a dish that stands in the same way; those of this scene are
        added.
    has_notes : bool
        Whether to look for faces that parts share, which is only told.

    Returns
    -------
    tuple of PartMesh
        In the dish frame.

    Raises
    ------
    InputError
        With every fault found: mesh files that cannot be used, ground parts without a sun direction,
        receivers, covers and secondary mirrors that reach through the mirror or lie behind one without a
        hole.
    """
    faults: list[Fault] = []
    meshes: list[PartMesh] = []
    for index, part in enumerate(scene.parts):
        if part.frame == "ground" and not pose.has_direction:
            faults.append(_no_ground(scene, index))
            continue
        key = part.model_dump_json()
        if known is not None and key in known:
            meshes.append(known[key])
            continue
        try:
            mesh = part_mesh(scene, part, pose, dish_span=outline.span)
        except MeshError as error:
            faults.append(scene.fault(("part", index, error.key), allowed=str(error), remedy=error.remedy))
            continue
        contact = mirror_contact(mesh.triangles, outline, focal_length=pose.focal_length)
        if contact is not None and _is_refused(part.role, contact, outline):
            faults.append(_in_mirror(scene, index, mesh, contact))
            continue
        if contact is not None and (contact.crosses or part.role != "stand"):
            mesh = replace(mesh, notes=(*mesh.notes, f"the part {_contact_text(mesh, contact)}"))
        meshes.append(mesh)
        if known is not None:
            known[key] = mesh
    if faults:
        raise InputError(faults)
    return _with_shared_faces(meshes) if has_notes else tuple(meshes)


def _with_shared_faces(meshes: list[PartMesh]) -> tuple[PartMesh, ...]:
    """Meshes with a note on those whose faces lie on those of an earlier part."""
    noted = []
    for place, mesh in enumerate(meshes):
        notes = []
        for other in meshes[:place]:
            both = mesh.is_closed and other.is_closed
            area = shared_area(other.triangles, mesh.triangles, are_closed=both)
            if area > LEAST_SHARED_M2:
                notes.append(
                    f'{1e4 * area:.3g} cm2 of it lie on faces of "{other.name}", in the same place: light that arrives '
                    "there is counted for one of the two only; move one of them by 0.1 mm where it matters which"
                )
        noted.append(replace(mesh, notes=(*mesh.notes, *notes)) if notes else mesh)
    return tuple(noted)


def part_mesh(scene: Scene, part: Part, pose: Pose, *, dish_span: float) -> PartMesh:
    """One part in the dish frame, not yet checked against the mirror.

    Parameters
    ----------
    scene : Scene
        The scene that the part belongs to.
    part : Part
        The part.
    pose : Pose
        How the dish stands.
    dish_span : float
        Size of the dish, to tell wrong units of mesh files. [m]

    Raises
    ------
    MeshError
        If its mesh file cannot be used.
    """
    n_dropped, notes, rotation, bands = 0, (), np.eye(3), None
    if part.shape == "mesh":
        report = mesh_report(
            scene.path(part.file),
            unit=part.unit,
            scale=part.scale,
            turn_deg=_numbers(part.turn_deg),
            dish_span=dish_span,
        )
        local, charts, closed = report.triangles, (), report.is_closed
        n_dropped, notes = report.n_dropped, report.notes
    else:
        shape = SHAPES[part.shape](part)
        local, charts, closed, bands = shape.triangles, shape.charts, is_closed(shape.triangles), shape.bands
        rotation = rotation_to(normalise(np.array(_numbers(part.axis))))
    focal_length = pose.focal_length
    center = np.array(_numbers(part.center_m))

    def placed(points: np.ndarray) -> np.ndarray:
        return pose.points_to_dish(points @ rotation.T + center, part.frame, focal_length)

    triangles = np.ascontiguousarray(placed(local))
    origin, *tips = placed(np.concatenate([np.zeros((1, 3)), np.eye(3)]))
    vectors = area_vectors(triangles)
    areas = np.linalg.norm(vectors, axis=1)
    frame_rotation, frame_origin = pose.user_frame(part.frame, focal_length)
    return PartMesh(
        name=part.name,
        role=part.role,
        triangles=triangles,
        normals=vectors / areas[:, np.newaxis],
        areas=areas,
        is_closed=closed,
        n_dropped=n_dropped,
        charts=charts,
        frame_rotation=frame_rotation,
        frame_origin=frame_origin,
        notes=notes,
        turned=None if bands is None else Turned(bands, (np.array(tips) - origin).T, origin),
    )


def _numbers(values: tuple) -> tuple[float, ...]:
    return tuple(float(nominal(value)) for value in values)


def _is_refused(role: str, contact: Contact, outline: Outline) -> bool:
    """A stand may hold the mirror; any part may stand behind one with a hole; none may go through."""
    return role != "stand" and (contact.crosses or outline.hole_radius == 0.0)


def _contact_text(mesh: PartMesh, contact: Contact) -> str:
    """What to say of a part at the mirror, as the end of a sentence."""
    x, y, z = mesh.to_user(contact.place) + 0.0
    where = f"at [{x:.4g}, {y:.4g}, {z:.4g}] m in the part's frame"
    if contact.depth == 0.0:
        return f"cuts the mirror {where}"
    verb = "goes through the mirror, up to" if contact.crosses else "lies behind the mirror, up to"
    return f"{verb} {contact.depth:.3g} m behind it {where}"


def _in_mirror(scene: Scene, index: int, mesh: PartMesh, contact: Contact) -> Fault:
    remedy = "move it towards the sun, or make it smaller"
    return scene.fault(("part", index, "center_m"), allowed=_contact_text(mesh, contact), remedy=remedy)


def _no_ground(scene: Scene, index: int) -> Fault:
    return scene.fault(
        ("part", index, "frame"),
        allowed="needs a direction of the sun",
        remedy='give [sun] time with [site], or azimuth_deg and elevation_deg, or write frame = "dish"',
    )
