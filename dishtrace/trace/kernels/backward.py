"""Look back from a place over the mirror: what reaches it with one reflection, by the same optics as the rays.

A sample picks a cell of the mirror (cells that should matter more often), a point in it, and all but one of what
spreads the light: place on the sun, slope, beam spread, jitter. The one left out, the widest, is not sampled but scored
by its density, so that every sample counts; reflection and turning keep solid angles, so scores need no more factors.
"""

from __future__ import annotations

import math
from typing import NamedTuple

import numpy as np

from dishtrace.trace.compiling import device, kernel
from dishtrace.trace.kernels.mirror import facet_place, facet_shape, outline_point, reflectance_at
from dishtrace.trace.kernels.sampling import (
    cos_sin_turns,
    first_point,
    n_up_to,
    next_point,
    normal_quantile,
    picked,
    sun_tan2,
    tilted,
    unit,
)
from dishtrace.trace.kernels.surface import sheet_optics
from dishtrace.trace.kernels.triangles import FAR, closest_hit, next_facet
from dishtrace.trace.optics import IS_CLEAR, ROOT

SCORE_SUN, SCORE_SLOPE, SCORE_SPREAD, SCORE_JITTER = range(4)
# Covers in a row that light is followed through.
MOST_COVERS = 64
# How far the image of a sharp-edged sun is level, in Gaussian widths that hold as much: 1.3 of 1.67 to the edge.
LEVEL = 1.3
# A place lies on a surface: what is met nearer to it than this share of the way is that surface.
SHORT_OF = 1.0 - 1e-10


class Sight(NamedTuple):
    """What looking back needs beside the scene.

    places, normals (k, 3): where to look back from [m]; cell_facet (n,), cell_place (n, 4): facet of each cell, and its
    corner and size in the unit square that is mapped to the facet's outline; cell_cdf (n,): how often each is picked;
    cell_scale (n,): its area in the facet's plane over that [m2]; score (facets,): which spread is scored; chord
    (m + 1,), radiance (m, j): radiance of the sun [W/m2/sr] at equal steps of the chord 2 sin(theta / 2) between
    neighbouring chords; dni [W/m2]; has_receivers: receivers and covers stand in the way; is_cover_clear: covers let
    light through.
    """

    places: np.ndarray
    normals: np.ndarray
    cell_facet: np.ndarray
    cell_place: np.ndarray
    cell_cdf: np.ndarray
    cell_scale: np.ndarray
    score: np.ndarray
    chord: np.ndarray
    radiance: np.ndarray
    dni: float
    has_receivers: bool
    is_cover_clear: bool


@device
def radiance_at(sight, chord):
    """Radiance of the sun at a chord 2 sin(theta / 2) from its centre [W/m2/sr]."""
    edges = sight.chord
    last = edges.shape[0] - 1
    if chord > edges[last]:
        return 0.0
    i = min(max(n_up_to(edges, chord) - 1, 0), last - 1)
    n = sight.radiance.shape[1] - 1
    place = (chord - edges[i]) / (edges[i + 1] - edges[i]) * n
    j = min(int(place), n - 1)
    return sight.radiance[i, j] + (place - j) * (sight.radiance[i, j + 1] - sight.radiance[i, j])


@device
def turn_density(cosine, sigma):
    """Density over solid angle of a direction turned by two Gaussian tangents of sigma each [1/sr]."""
    if cosine <= 0.0:
        return 0.0
    c2 = cosine * cosine
    return math.exp(-0.5 * (1.0 - c2) / (c2 * sigma * sigma)) / (2.0 * math.pi * sigma * sigma * c2 * cosine)


@device
def mirrored(x, y, z, mx, my, mz):
    """The direction 2 (v.m) m - v, from which light comes that leaves along v."""
    k = 2.0 * (x * mx + y * my + z * mz)
    return k * mx - x, k * my - y, k * mz - z


@device
def share_reaching(world, x, y, z, dx, dy, dz, reach, facet, has_receivers, is_cover_clear):
    """Share of the light from or to a facet along d that meets nothing within `reach` [m], save covers if clear."""
    mirror, stack = world.mirror, world.stack
    _, before = next_facet(mirror, world.facets, x, y, z, dx, dy, dz, reach, facet, stack)
    if before >= 0:
        return 0.0
    share = 1.0
    for k in range(world.roots.shape[0]):
        root = world.roots[k, ROOT]
        if world.roots[k, IS_CLEAR] == 0 or has_receivers:
            share *= share_through(
                world.triangles, root, world.parts, mirror, x, y, z, dx, dy, dz, reach, is_cover_clear, stack
            )
        if share <= 0.0:
            return 0.0
    return share


@device
def share_through(triangles, root, parts, mirror, x, y, z, dx, dy, dz, reach, is_cover_clear, stack):
    """Share of the light along d that one tree lets through within `reach` [m]."""
    share, leaving = 1.0, -1
    for _ in range(MOST_COVERS):
        t, tri = closest_hit(triangles, root, False, mirror, x, y, z, dx, dy, dz, reach, leaving, stack)
        if tri < 0:
            return share
        part = parts.part[tri]
        if not is_cover_clear or parts.cover[part, 0] == 0.0:
            return 0.0
        cosine = abs(dx * parts.normal[tri, 0] + dy * parts.normal[tri, 1] + dz * parts.normal[tri, 2])
        _, transmitted = sheet_optics(parts.cover[part, 0], parts.cover[part, 1] * parts.cover[part, 2], cosine)
        share *= transmitted
        x, y, z, reach, leaving = x + t * dx, y + t * dy, z + t * dz, reach - t, tri
    return 0.0


@device
def sun_seen(mirror, sun, sight, facet, nx, ny, nz, dx, dy, dz, p):
    """One sample of the sunlight that a facet sends along d: (unit vector to the sun, radiance or its like).

    The mean of radiance over samples is the radiance of the facet along d, but for reflectance and shade [W/m2/sr].
    """
    slope, spread, score = mirror.slope[facet], mirror.spread, sight.score[facet]
    rx, ry, rz = dx, dy, dz
    if spread > 0.0 and score != SCORE_SPREAD:
        rx, ry, rz = tilted(dx, dy, dz, spread * normal_quantile(unit(p[6])), spread * normal_quantile(unit(p[7])))
    mx, my, mz = nx, ny, nz
    if slope > 0.0 and score != SCORE_SLOPE:
        mx, my, mz = tilted(nx, ny, nz, slope * normal_quantile(unit(p[4])), slope * normal_quantile(unit(p[5])))
    cx, cy, cz = sun.center[0], sun.center[1], sun.center[2]
    if mirror.jitter > 0.0 and score != SCORE_JITTER:
        a, b = mirror.jitter * normal_quantile(unit(p[8])), mirror.jitter * normal_quantile(unit(p[9]))
        cx, cy, cz = tilted(cx, cy, cz, a, b)
    if score == SCORE_SUN:
        sx, sy, sz = mirrored(rx, ry, rz, mx, my, mz)
        return sx, sy, sz, radiance_at(sight, math.sqrt((sx - cx) ** 2 + (sy - cy) ** 2 + (sz - cz) ** 2))
    tan2 = sun_tan2(sun.table, unit(p[2]))
    cos, sin = cos_sin_turns(unit(p[3]))
    a, b = math.sqrt(tan2) * cos, math.sqrt(tan2) * sin
    power = sight.dni * math.sqrt(1.0 + tan2)
    if score == SCORE_JITTER:
        # The sun's centre lies as far from the place seen as the place from the centre.
        sx, sy, sz = mirrored(rx, ry, rz, mx, my, mz)
        px, py, pz = tilted(sx, sy, sz, a, b)
        return sx, sy, sz, power * turn_density(px * cx + py * cy + pz * cz, mirror.jitter)
    sx, sy, sz = tilted(cx, cy, cz, a, b)
    if score == SCORE_SPREAD:
        rx, ry, rz = mirrored(sx, sy, sz, mx, my, mz)
        return sx, sy, sz, power * turn_density(rx * dx + ry * dy + rz * dz, spread)
    hx, hy, hz = sx + rx, sy + ry, sz + rz
    length = math.sqrt(hx * hx + hy * hy + hz * hz)
    if length <= 0.0:
        return sx, sy, sz, 0.0
    # Turning a normal by an angle turns the light by twice that: solid angles grow by 4 times the cosine.
    tilt = abs(hx * nx + hy * ny + hz * nz) / length
    return sx, sy, sz, power * turn_density(tilt, slope) / (2.0 * length)


@device
def flux_sample(world, sight, k, p):
    """One sample of the flux at place k: its mean is the flux [W/m2]."""
    cell, a = picked(sight.cell_cdf, unit(p[0]))
    facet = sight.cell_facet[cell]
    a = sight.cell_place[cell, 0] + a * sight.cell_place[cell, 2]
    b = sight.cell_place[cell, 1] + unit(p[1]) * sight.cell_place[cell, 3]
    u, v = outline_point(world.mirror, facet, a, b)
    x, y, z, nx, ny, nz = facet_place(facet_shape(world.mirror, facet), u, v)
    dx, dy, dz = sight.places[k, 0] - x, sight.places[k, 1] - y, sight.places[k, 2] - z
    reach2 = dx * dx + dy * dy + dz * dz
    if reach2 <= 0.0:
        return 0.0
    reach = math.sqrt(reach2)
    dx, dy, dz = dx / reach, dy / reach, dz / reach
    facing = -(dx * sight.normals[k, 0] + dy * sight.normals[k, 1] + dz * sight.normals[k, 2])
    stretch = math.sqrt(nx * nx + ny * ny + nz * nz)
    ex, ey, ez = nx / stretch, ny / stretch, nz / stretch
    if facing <= 0.0 or dx * nx + dy * ny + dz * nz <= 0.0:
        return 0.0
    sx, sy, sz, radiance = sun_seen(world.mirror, world.sun, sight, facet, ex, ey, ez, dx, dy, dz, p)
    cosine = sx * ex + sy * ey + sz * ez
    if radiance <= 0.0 or cosine <= 0.0:
        return 0.0
    score = radiance * reflectance_at(world.mirror, facet, cosine) * cosine * stretch * facing / reach2
    # The way out, then the way in: sunlight meets receivers always, and goes through covers.
    is_free, is_clear, length = sight.has_receivers, sight.is_cover_clear, reach * SHORT_OF
    for _ in range(2):
        score *= share_reaching(world, x, y, z, dx, dy, dz, length, facet, is_free, is_clear)
        if score <= 0.0:
            return 0.0
        dx, dy, dz, length, is_free, is_clear = sx, sy, sz, FAR, True, True
    return score * sight.cell_scale[cell]


@kernel
def look_back(world, sight, is_patch, scramble, count, state, sums):
    """Sum the samples of points 0 .. count - 1 of one scramble: into sums (k, 32), a row for each place.

    If is_patch, sample i of the scramble looks back from place 32 i + scramble alone, and row 0 has the sum.
    """
    n_places = 1 if is_patch else sight.places.shape[0]
    for k in range(n_places):
        first_point(world.points.columns, world.points.shifts, scramble, 0, state)
        total = 0.0
        for index in range(count):
            if index > 0:
                next_point(world.points.columns, scramble, index, state)
            total += flux_sample(world, sight, 32 * index + scramble if is_patch else k, state)
        sums[k, scramble] = total


@kernel
def weigh_cells(mirror, sun, sight, sun_width, blur, weights, sweeps):
    """How much each cell should matter near place 0: into weights (n,), by the middle and the corners of the cell.

    sun_width: Gaussian width per axis that stands for the sun and the jitter [rad]; blur: how far around the place [m].
    Into sweeps (n,): how far the sun's image sweeps across the cell, in widths of that image.
    """
    cx, cy, cz = sun.center[0], sun.center[1], sun.center[2]
    qx, qy, qz = sight.places[0, 0], sight.places[0, 1], sight.places[0, 2]
    for cell in range(weights.shape[0]):
        facet = sight.cell_facet[cell]
        width2 = sun_width * sun_width + mirror.spread**2 + 4.0 * mirror.slope[facet] ** 2
        blur2 = 0.0
        nearest, furthest, last, most = np.inf, 0.0, 0.0, 0.0
        for k in range(5):
            # The corners in order around the cell, then its middle.
            fa = 0.5 if k == 4 else (1.0 if k == 1 or k == 2 else 0.0)
            fb = 0.5 if k == 4 else (1.0 if k >= 2 else 0.0)
            u, v = outline_point(
                mirror,
                facet,
                sight.cell_place[cell, 0] + fa * sight.cell_place[cell, 2],
                sight.cell_place[cell, 1] + fb * sight.cell_place[cell, 3],
            )
            x, y, z, nx, ny, nz = facet_place(facet_shape(mirror, facet), u, v)
            dx, dy, dz = qx - x, qy - y, qz - z
            reach2 = dx * dx + dy * dy + dz * dz
            s = 1.0 / math.sqrt(reach2 * (nx * nx + ny * ny + nz * nz))
            t = 2.0 * (dx * nx + dy * ny + dz * nz) / (nx * nx + ny * ny + nz * nz)
            length = math.sqrt(reach2)
            sx, sy, sz = (t * nx - dx) / length, (t * ny - dy) / length, (t * nz - dz) / length
            chord = math.sqrt((sx - cx) ** 2 + (sy - cy) ** 2 + (sz - cz) ** 2)
            nearest, furthest = min(nearest, chord), max(furthest, chord)
            facing = -(dx * sight.normals[0, 0] + dy * sight.normals[0, 1] + dz * sight.normals[0, 2])
            if facing > 0.0 and t * s > 0.0:
                most = max(most, facing / (reach2 * length))
            if k == 4:
                last, blur2 = chord, blur * blur / reach2
        # A cell that the sun's image sweeps across is as wide as that, with at least the light of its nearest corner.
        # Where the sun is wider than what blurs it, its image is as good as level.
        swept = furthest - nearest
        wide2 = width2 + blur2
        sweeps[cell] = swept / math.sqrt(wide2)
        wide2 += swept * swept / 16.0
        level = 0.0
        if sight.score[facet] == SCORE_SUN:
            level = LEVEL * sun_width
            wide2 -= 0.75 * sun_width * sun_width
        at = max(0.0, min(nearest, last) - 0.25 * swept - level)
        weights[cell] = most * math.exp(-0.5 * at * at / wide2) / (wide2 + 0.5 * level * level)
