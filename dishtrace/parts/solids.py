"""Closed solids: box, cylinder, sphere and cone, middle at the origin, axis along +z, fronts outward.

How fine, and why: circles are polygons of at least 128 sides with the area of the circle (volume and flat
ends are exact, walls too large by 1.0e-4); spheres are scaled to the exact surface, and with it, as they are
convex, to the exact mean silhouette, which is a quarter of the surface (Cauchy). Both stay below the Monte
Carlo error of a run of 1e6 rays, about 3e-4. A part has about 10 000 triangles, which are the flux bins too,
see `rings.bin_side`.
"""

from __future__ import annotations

import numpy as np

from dishtrace.parts import rings
from dishtrace.parts.charts import equal_area_half, plan, unrolled_cone
from dishtrace.parts.sheets import Shape, bin_count, disc, grid, joined, wall, wall_rows
from dishtrace.parts.triangles import areas_of
from dishtrace.parts.turned import band_table, raised_bands, scaled_bands

SPHERE_AROUND = 128
"""Steps around the equator of a sphere; 64 bands from pole to pole [–]."""


def box(size: tuple[float, float, float]) -> Shape:
    """Box about the origin with sides along x, y, z; exact.

    Parameters
    ----------
    size : tuple of 3 float
        Full widths, > 0. [m]
    """
    widths = np.array(size, dtype=float)
    area = 2.0 * (widths[0] * widths[1] + widths[1] * widths[2] + widths[2] * widths[0])
    side = rings.bin_side(float(area))
    counts = [bin_count(float(width), side) for width in widths]
    pieces = []
    for axis in range(3):
        across, up = (axis + 1) % 3, (axis + 2) % 3
        first, second = np.eye(3)[across] * widths[across], np.eye(3)[up] * widths[up]
        for sign in (1.0, -1.0):
            corner = -0.5 * (first + second) + sign * 0.5 * widths[axis] * np.eye(3)[axis]
            triangles = grid(corner, first, second, counts=(counts[across], counts[up]))
            triangles = triangles if sign > 0 else triangles[:, ::-1].copy()
            name = f"face {'+' if sign > 0 else '−'}{'xyz'[axis]}"
            pieces.append(Shape(triangles, (plan(name, triangles, across=across, up=up, mirrored=sign < 0),)))
    return joined(*pieces)


def cylinder(radius: float, height: float) -> Shape:
    """Closed cylinder about z.

    Parameters
    ----------
    radius, height : float
        Radius and full height, > 0. [m]
    """
    area = 2.0 * np.pi * radius * (radius + height)
    n_around, n_rows = wall_rows(height, radius, area=area)
    side = rings.bin_side(area)
    half = 0.5 * height
    top = _end(radius, n_around, side, z=half, up=True, name="end +z")
    bottom = _end(radius, n_around, side, z=-half, up=False, name="end −z")
    return joined(wall(radius, -half, half, n_around=n_around, n_rows=n_rows), top, bottom)


def sphere(radius: float) -> Shape:
    """Sphere about the origin.

    Parameters
    ----------
    radius : float
        Radius, > 0; the facets' surface is exactly 4 pi R^2. [m]
    """
    n_bands = SPHERE_AROUND // 2
    colatitude = np.pi * np.arange(n_bands + 1) / n_bands
    side = 2.0 * np.pi / SPHERE_AROUND
    half = rings.sectors_inward(SPHERE_AROUND, np.sin(colatitude[1 : n_bands // 2 + 1][::-1]), side)
    counts = half[::-1] + half[1:]
    stack = [np.array([[0.0, 0.0, 1.0]])]
    for angle, n_around in zip(colatitude[1:-1], counts, strict=True):
        turn = 2.0 * np.pi * np.arange(n_around) / n_around
        stack.append(rings.raised(np.sin(angle) * np.stack([np.cos(turn), np.sin(turn)], axis=1), np.cos(angle)))
    stack.append(np.array([[0.0, 0.0, -1.0]]))
    unit = rings.bands(stack[::-1])
    factor = float(np.sqrt(4.0 * np.pi / areas_of(unit).sum()))
    triangles = unit * radius * factor
    is_top = triangles[..., 2].mean(axis=1) > 0.0
    charts = tuple(
        equal_area_half(name, triangles[chosen], index=np.flatnonzero(chosen), radius=radius, top=top)
        for name, chosen, top in (("half +z", is_top, True), ("half −z", ~is_top, False))
    )
    return Shape(triangles, charts, scaled_bands(band_table(stack[::-1]), radius * factor))


def cone(radius: float, height: float) -> Shape:
    """Closed cone about z, its apex at +h/2, its base at -h/2: the origin is its middle at half the height.

    Parameters
    ----------
    radius, height : float
        Radius of the base and full height, > 0. [m]

    Notes
    -----
    A regular pyramid over a base of exact area, so the volume is exact; its wall is too large by 1.0e-4 or
    less.
    """
    slant = float(np.hypot(radius, height))
    side = rings.bin_side(np.pi * radius * (radius + slant))
    n_around = rings.steps_around(radius, side)
    n_rows = min(bin_count(slant, side), max(3, rings.MOST_BINS // n_around))
    rim = rings.circle_points(n_around)
    share = np.linspace(1.0, 0.0, n_rows + 1)[:-1]
    stack = [rings.raised(radius * s * rim, height * (0.5 - s)) for s in share]
    stack.append(np.array([[0.0, 0.0, 0.5 * height]]))
    triangles = rings.bands(stack)
    chart = unrolled_cone("wall unrolled", triangles, apex_z=0.5 * height, n_around=n_around)
    base = _end(radius, n_around, side, z=-0.5 * height, up=False, name="base")
    return joined(Shape(triangles, (chart,), band_table(stack)), base)


def _end(radius: float, n_around: int, side: float, *, z: float, up: bool, name: str) -> Shape:
    """Flat end of a solid at a height, front up or down, its rim shared with a wall of `n_around` steps."""
    flat = disc(radius, side=side, n_around=n_around, name=name)
    triangles = (flat.triangles if up else flat.triangles[:, ::-1]) + np.array([0.0, 0.0, z])
    return Shape(triangles, (plan(name, triangles, mirrored=not up),), raised_bands(flat.bands, z))
