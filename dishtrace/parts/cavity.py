"""Cavity receiver: a cylinder with a closed far end and a lid with a round opening.

The part is an open sheet whose FRONT IS THE INSIDE, where the light goes in: `surface` is the inner surface
and `surface_back` the outer one. Tessellation as in solids.py.
"""

from __future__ import annotations

import numpy as np

from dishtrace.parts import rings
from dishtrace.parts.charts import plan
from dishtrace.parts.sheets import Shape, disc, joined, wall, wall_rows


def cavity(radius: float, depth: float, opening_radius: float) -> Shape:
    """Cavity whose opening lies in z = 0 about the origin; its inside reaches from there to z = -depth.

    Parameters
    ----------
    radius : float
        Inner radius R, > 0. [m]
    depth : float
        Inner depth behind the plane of the opening, > 0. [m]
    opening_radius : float
        Radius of the opening, > 0 and at most R; equal to R there is no lid. [m]

    Returns
    -------
    Shape
        Fronts face the inside: the wall's towards the axis, the far end's towards +z, the lid's towards -z.
    """
    lid_area = np.pi * (radius**2 - opening_radius**2)
    area = 2.0 * np.pi * radius * depth + np.pi * radius**2 + lid_area
    side = rings.bin_side(area)
    n_around, n_rows = wall_rows(depth, radius, area=area)
    end = disc(radius, side=side, n_around=n_around).triangles - np.array([0.0, 0.0, depth])
    pieces = [
        wall(radius, -depth, 0.0, n_around=n_around, n_rows=n_rows, outward=False),
        Shape(end, (plan("far end, seen from the opening", end),)),
    ]
    if opening_radius < radius:
        lid = rings.bands(rings.disc_rings(radius, n_around, side, hole=opening_radius))[:, ::-1].copy()
        pieces.append(Shape(lid, (plan("lid, seen from inside", lid, mirrored=True),)))
    return joined(*pieces)
