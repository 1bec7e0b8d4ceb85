"""From the scene, the sun and the geometry to the plain arrays that the kernels see."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.dish.facets import Facets, flat_arrays
from dishtrace.scene.materials import reflectance_table, surface_of
from dishtrace.scene.uncertain import nominal
from dishtrace.trace.cpu import Optics
from dishtrace.trace.optics import (
    MIRROR_RAYS_PER_DIRECT,
    ROLE_OTHER,
    ROLE_RECEIVER,
    ROLE_STAND,
    Mirror,
    Parts,
    Sun,
)
from dishtrace.trace.points import direct_points, mirror_points
from dishtrace.trace.tree import Tree, build_tree, joined
from dishtrace.trace.turned import SPARE, Bodies, gathered, is_flat, wall_of

if TYPE_CHECKING:
    from dishtrace.dish.mount import PlacedMirror
    from dishtrace.parts.triangles import PartMesh
    from dishtrace.scene.model import Scene
    from dishtrace.sun.state import SunState

ROLE_NUMBERS = {"receiver": ROLE_RECEIVER, "stand": ROLE_STAND, "mirror": ROLE_OTHER, "cover": ROLE_OTHER}
# Receivers and covers are transparent to the screens that look through them, so they have a tree of their own.
CLEAR_ROLES = ("receiver", "cover")
# Equal steps of the cosine at which a reflectance given over incidence is tabulated; linear between.
N_REFLECTANCE_STEPS = 512
# Most parts that rays meet in closed form.
MOST_BODIES = 4
# Triangles looked at in one go, so that large meshes need no more memory.
PIECE = 1 << 16


@dataclass(frozen=True, eq=False)
class Assembly:
    """The kernels' arrays, and how their triangles belong to the parts.

    Parameters
    ----------
    optics : Optics
        What the kernels see.
    order : (n,) int64
        Position i of the kernels' list holds triangle order[i] of all parts' triangles in scene order.
    """

    optics: Optics
    order: np.ndarray


def mirror_arrays(scene: Scene, sun_state: SunState, placed: PlacedMirror, facets: Facets, *, z_max: float) -> Mirror:
    """The mirror as the kernels see it; facets in tree order, z_max the height of the highest point. [m]"""
    areas = facets.plan_areas()
    seen = areas * np.maximum(facets.axes[:, 2, 2], 0.0)
    share = seen / seen.sum()
    return Mirror(
        origin=np.ascontiguousarray(facets.origin),
        axes=np.ascontiguousarray(facets.axes.reshape(-1, 9)),
        quadric=np.ascontiguousarray(facets.quadric),
        **flat_arrays(facets.outlines),
        pick_cdf=np.cumsum(share) / share.sum(),
        power=sun_state.dni_w_m2 * areas / share,
        slope=facets.slope,
        brightness=facets.brightness,
        reflectance=_reflectance_over_cosine(scene),
        spread=nominal(scene.dish.beam_spread_mrad) * 1e-3,
        jitter=nominal(scene.mount.pointing_jitter_mrad) * 1e-3,
        z_max=z_max,
        sketch_length=2.5 * placed.focal_length,
        dish_kind=placed.outline.kind,
        dish_params=placed.outline.params,
        dish_vertices=placed.outline.vertices,
        has_no_overhang=scene.dish.facets is None,
    )


def _reflectance_over_cosine(scene: Scene) -> np.ndarray:
    incidence_deg, reflectance = reflectance_table(scene)
    clean = np.asarray(reflectance, dtype=float) * nominal(scene.dish.cleanliness)
    if np.all(clean == clean[0]):
        return clean[:1].copy()
    cosine = np.linspace(0.0, 1.0, N_REFLECTANCE_STEPS + 1)
    return np.interp(np.degrees(np.arccos(cosine)), incidence_deg, clean)


def _surfaces(scene: Scene) -> tuple[np.ndarray, np.ndarray]:
    surface = np.zeros((len(scene.parts), 2, 2))
    cover = np.zeros((len(scene.parts), 3))
    for i, part in enumerate(scene.parts):
        if part.role == "cover":
            glass = part.cover
            cover[i] = (
                nominal(glass.refractive_index),
                nominal(glass.extinction_per_m),
                nominal(glass.thickness_m),
            )
            continue
        for side, name in enumerate(("front", "back")):
            found = surface_of(scene, i, name)
            surface[i, side] = found.absorptance, found.specular_share
    return surface, cover


def _direct_sampling(
    corners: np.ndarray, normal: np.ndarray, is_closed: np.ndarray, sun_state: SunState, sun: np.ndarray
) -> tuple[np.ndarray, np.ndarray]:
    """How often a direct ray picks each triangle, and its power per cosine.

    A triangle is picked in proportion to its area seen from the sun's centre, widened by the sunshape so that faces
    in grazing light are not left out; faces of closed bodies that look away from the sun by more are never lit.
    """
    if len(corners) == 0:
        return np.zeros(0), np.zeros(0)
    areas = 0.5 * np.linalg.norm(np.cross(corners[:, 3:6], corners[:, 6:9]), axis=1)
    cosine = normal @ sun
    width = np.sin(sun_state.shape.edge_rad)
    seen = np.where(is_closed & (cosine < -width), 0.0, areas * (np.abs(cosine) + width))
    share = seen / seen.sum()
    scale = sun_state.dni_w_m2 * MIRROR_RAYS_PER_DIRECT
    power = np.divide(scale * areas, share, out=np.zeros_like(areas), where=share > 0.0)
    return np.cumsum(share) / share.sum(), power


def direct_ray_power(optics: Optics) -> float:
    """Most that a ray straight from the sun adds to a tally; 0 without parts. [W times rays]"""
    parts = optics.parts
    return float(np.max(parts.direct_power * np.abs(parts.normal @ optics.sun.center), initial=0.0))


def corners_of(triangles: np.ndarray) -> np.ndarray:
    """First corner and two edges (n, 9) of triangles (n, 3, 3). [m]"""
    edges = triangles[:, 1:] - triangles[:, :1]
    return np.ascontiguousarray(np.concatenate([triangles[:, :1], edges], axis=1).reshape(-1, 9))


def _part_arrays(
    scene: Scene,
    triangles: np.ndarray,
    part: np.ndarray,
    meshes: tuple[PartMesh, ...],
    *,
    sun_state: SunState,
    sun: np.ndarray,
) -> Parts:
    """The parts as the kernels see them, from triangles (n, 3, 3) in tree order and the part of each (n,)."""
    corners = corners_of(triangles)
    normal = np.cross(corners[:, 3:6], corners[:, 6:9])
    normal = np.ascontiguousarray(normal / np.linalg.norm(normal, axis=1, keepdims=True))
    surface, cover = _surfaces(scene)
    is_closed = np.array([mesh.is_closed for mesh in meshes], dtype=bool)
    closed = is_closed[part] if len(part) else np.zeros(0, dtype=bool)
    direct_cdf, direct_power = _direct_sampling(corners, normal, closed, sun_state, sun)
    return Parts(
        corners=corners,
        normal=normal,
        part=part,
        surface=surface,
        cover=cover,
        role=np.array([ROLE_NUMBERS[mesh.role] for mesh in meshes], dtype=np.int64),
        direct_cdf=direct_cdf,
        direct_power=direct_power,
    )


def bodies_among(meshes: tuple[PartMesh, ...]) -> list[int]:
    """Numbers of the parts that rays meet in closed form: receivers and covers turned about an axis, the largest ones.

    Each costs every ray a look at its hull, so stands, which meet little light, stay in the tree of all.
    """
    found = [
        k
        for k, mesh in enumerate(meshes)
        if mesh.turned is not None
        and mesh.role in CLEAR_ROLES
        and (mesh.is_closed or is_flat(mesh.turned))
        and wall_of(mesh.turned) is not None
    ]
    return sorted(sorted(found, key=lambda k: -meshes[k].areas.sum())[:MOST_BODIES])


def ball_around(triangles: np.ndarray, *, reach: float) -> np.ndarray:
    """Middle [m] and square of the radius [m2] of a ball that holds triangles (n, 3, 3), (4,).

    It is larger by far more than rounding can move a ray that starts within `reach` [m].
    """
    middle = 0.5 * (triangles.min(axis=(0, 1)) + triangles.max(axis=(0, 1)))
    pieces = (triangles[start : start + PIECE] for start in range(0, len(triangles), PIECE))
    radius = np.sqrt(max(float(np.max(np.sum((piece - middle) ** 2, axis=2))) for piece in pieces))
    return np.append(middle, ((1.0 + SPARE) * radius + SPARE * reach) ** 2)


def part_trees(
    triangles: np.ndarray, part: np.ndarray, meshes: tuple[PartMesh, ...], *, reach: float
) -> tuple[Tree, np.ndarray, np.ndarray, Bodies, np.ndarray]:
    """Trees over triangles (n, 3, 3) of parts (n,): (all trees, World.roots, World.balls, bodies, order (n,))."""
    corners = corners_of(triangles)
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    chosen = bodies_among(meshes)
    body_of = np.array([chosen.index(k) if k in chosen else -1 for k in range(len(meshes))], dtype=np.int64)
    is_clear = np.array([mesh.role in CLEAR_ROLES for mesh in meshes], dtype=bool)
    rest = [np.flatnonzero((body_of[part] < 0) & (is_clear[part] == clear)) for clear in (False, True)]
    groups = [(rest[0], 0, -1), (rest[1], 1, -1)]
    groups += [(np.flatnonzero(part == k), 1, body) for body, k in enumerate(chosen)]
    trees, order, first = [], [], 0
    for members, *_ in groups:
        tree, placed = build_tree(low[members], high[members], first=first, reach=reach, corners=corners[members])
        trees.append(tree)
        order.append(members[placed])
        first += len(members)
    tree, nodes = joined(*trees)
    rows = [(node, clear, body) for node, (members, clear, body) in zip(nodes, groups, strict=True) if len(members)]
    balls = [ball_around(triangles[members], reach=reach) for members, *_ in groups if len(members)]
    whole = np.concatenate(order)
    place = np.empty(len(whole), dtype=np.int64)
    place[whole] = np.arange(len(whole))
    bodies = gathered([meshes[k].turned for k in chosen], chosen, [place[members] for members, *_ in groups[2:]])
    roots = np.array(rows, dtype=np.int64).reshape(-1, 3)
    return tree, roots, np.array(balls, dtype=float).reshape(-1, 4), bodies, whole


def assemble(
    scene: Scene,
    *,
    sun_state: SunState,
    mirror: PlacedMirror,
    facets: Facets,
    meshes: tuple[PartMesh, ...],
    seed: int,
) -> Assembly:
    """Plain arrays for the kernels.

    Parameters
    ----------
    scene, sun_state, mirror, facets, meshes
        The described, placed and tessellated scene.
    seed : int
        Seed of the rays.

    Returns
    -------
    Assembly
    """
    triangles = np.concatenate([np.zeros((0, 3, 3)), *(mesh.triangles for mesh in meshes)])
    part = np.repeat(np.arange(len(meshes)), [len(mesh.triangles) for mesh in meshes]).astype(np.int64)
    facet_low, facet_high = facets.boxes()
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    reach = max(float(np.abs(corner).max()) for corner in (low, high, facet_low, facet_high) if corner.size)
    tree, roots, balls, bodies, order = part_trees(triangles, part, meshes, reach=reach)
    tree_facets, order_facets = build_tree(facet_low, facet_high, first=0, reach=reach)
    parts = _part_arrays(scene, triangles[order], part[order], meshes, sun_state=sun_state, sun=mirror.pose.sun)
    optics = Optics(
        mirror=mirror_arrays(scene, sun_state, mirror, facets.taken(order_facets), z_max=float(facet_high[:, 2].max())),
        sun=Sun(center=np.ascontiguousarray(mirror.pose.sun), table=sun_state.shape.table),
        parts=parts,
        facets=tree_facets,
        triangles=tree,
        roots=roots,
        balls=balls,
        bodies=bodies,
        mirror_points=mirror_points(seed=seed, has_facets=len(facets) > 1),
        direct_points=direct_points(seed=seed),
    )
    return Assembly(optics=optics, order=order)
