"""Radiant exchange between parts: what each triangle sees of other parts, sky and ground, by the tracer's ray queries.

Parts count as black for what they receive from each other: radiation that a part reflects on is neglected, which is
small for emittances of 0.8 and above. The mirror of the dish counts as ground.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np

from dishtrace.chance import philox

if TYPE_CHECKING:
    from dishtrace.flux.result import Result
    from dishtrace.heat.air import Ambient
    from dishtrace.heat.faces import Face
    from dishtrace.heat.setting import Setting

RAYS_PER_TRIANGLE = 32
_STEPS = (0.8566748838545029, 0.733891856627126, 0.6287067210378087, 0.5385972572236101)
"""Powers of the inverse of the root of x^5 = x + 1: an even sequence in four dimensions (from memory)."""


@dataclass(frozen=True, eq=False)
class Sight:
    """What the triangles of a part see.

    Parameters
    ----------
    parts : tuple of str
        Names of all parts.
    shares : dict of (m, p + 2) float64
        By side: shares of each triangle's view that are each part, the sky and the ground; rows sum to 1. [–]
    warmth : dict
        Temperature of parts by name; one that is missing is as warm as the air. [K]
    """

    parts: tuple[str, ...]
    shares: dict[str, np.ndarray]
    warmth: dict[str, float]

    def at(self, warmth: dict[str, float]) -> Sight:
        """The same view of parts of other temperatures [K]."""
        return replace(self, warmth=dict(warmth))

    def background(self, face: Face, ambient: Ambient) -> np.ndarray:
        """Mean of T^4 over the view of each triangle of a face, (k,). [K4]"""
        warm = [self.warmth.get(name, ambient.temperature) for name in self.parts]
        return self.shares[face.side][face.index] @ np.array([*warm, ambient.sky, ambient.temperature]) ** 4


def sights(result: Result, settings: dict[str, Setting], wanted: dict[str, Setting]) -> dict[str, Sight]:
    """What the wanted parts of a traced scene see, on the sides that give off heat freely.

    Parameters
    ----------
    result : Result
    settings, wanted : dict of Setting
        All parts by name, in scene order, and those whose view is asked for.
    """
    from dishtrace.trace.assembly import corners_of, mirror_arrays
    from dishtrace.trace.tree import build_tree

    names = tuple(settings)
    meshes = [result.parts[name].mesh for name in names]
    triangles = np.concatenate([mesh.triangles for mesh in meshes])
    owner = np.repeat(np.arange(len(meshes)), [len(mesh.areas) for mesh in meshes])
    low, high = triangles.min(axis=1), triangles.max(axis=1)
    reach = float(np.abs(triangles).max())
    tree, order = build_tree(low, high, first=0, reach=reach, corners=corners_of(triangles))
    position = np.empty(len(order), dtype=np.int64)
    position[order] = np.arange(len(order))
    mirror = mirror_arrays(result.scene, result.sun, result.mirror, result.facets, z_max=0.0)
    starts = np.concatenate([[0], np.cumsum([len(mesh.areas) for mesh in meshes])])
    found = {}
    for name, setting in wanted.items():
        number = names.index(name)
        mesh, shares = meshes[number], {}
        for side in {face.side for face in setting.losses.faces if face.opening_area is None}:
            normals = mesh.normals if side == "front" else -mesh.normals
            ids = position[starts[number] : starts[number + 1]]
            hits, rises = _seen(tree, mirror, mesh.triangles, normals, ids, setting.up)
            met = np.where(hits >= 0, owner[order[hits]], np.where(rises > 0.0, len(names), len(names) + 1))
            rows = np.repeat(np.arange(len(ids)), RAYS_PER_TRIANGLE)
            counts = np.zeros((len(ids), len(names) + 2))
            np.add.at(counts, (rows, met.ravel()), 1.0)
            shares[side] = counts / RAYS_PER_TRIANGLE
        found[name] = Sight(names, shares, {})
    return found


def _seen(
    tree: object,
    mirror: object,
    triangles: np.ndarray,
    normals: np.ndarray,
    ids: np.ndarray,
    up: np.ndarray,
) -> tuple[np.ndarray, np.ndarray]:
    """Triangle of the tree that each ray meets, -1 for none, and how steeply the ray rises, (m, 32) each."""
    from dishtrace.heat.sighting import first_meetings
    from dishtrace.trace.tree import new_stack

    origins, directions = view_rays(triangles, normals)
    leaving = np.repeat(ids, RAYS_PER_TRIANGLE)
    hits = np.empty(len(leaving), dtype=np.int64)
    stack = new_stack()
    first_meetings(tree, mirror, origins, directions, leaving, hits, stack)
    shape = (len(triangles), RAYS_PER_TRIANGLE)
    return hits.reshape(shape), (directions @ up).reshape(shape)


def view_rays(triangles: np.ndarray, normals: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Rays that leave triangles (m, 3, 3) evenly by place and by the cosine law, (32 m, 3) origins and directions."""
    n = len(triangles)
    counters = np.zeros((n, 4), dtype=np.uint64)
    counters[:, 0] = np.arange(n)
    shifts = philox(counters, seed=1) / 2.0**32
    steps = np.arange(RAYS_PER_TRIANGLE)[:, np.newaxis] * np.array(_STEPS)
    u = (shifts[:, np.newaxis, :] + steps) % 1.0
    root = np.sqrt(u[..., 0])
    a, b, c = (triangles[:, np.newaxis, k] for k in range(3))
    weights = (1.0 - root, root * (1.0 - u[..., 1]), root * u[..., 1])
    origins = sum(weight[..., np.newaxis] * corner for weight, corner in zip(weights, (a, b, c), strict=True))
    across = np.cross(normals, np.eye(3)[np.argmin(np.abs(normals), axis=1)])
    across /= np.linalg.norm(across, axis=1, keepdims=True)
    other = np.cross(normals, across)
    sine, angle = np.sqrt(u[..., 2]), 2.0 * np.pi * u[..., 3]
    parts = (sine * np.cos(angle), sine * np.sin(angle), np.sqrt(1.0 - u[..., 2]))
    frame = (across, other, normals)
    directions = sum(share[..., np.newaxis] * axis[:, np.newaxis] for share, axis in zip(parts, frame, strict=True))
    return np.ascontiguousarray(origins.reshape(-1, 3)), np.ascontiguousarray(directions.reshape(-1, 3))
