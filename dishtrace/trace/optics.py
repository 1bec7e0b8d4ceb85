"""The plain arrays that the kernels see, and the numbers of the tallies' columns. All in the dish frame, SI units."""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from dishtrace.trace.points import N_SCRAMBLES, Points
from dishtrace.trace.tree import Flock, Tree
from dishtrace.trace.turned import Bodies

# Columns of Tally.budget [W times rays]: first what closes to OUTLINE, then first hits, then the direct ledger,
# then what leaves the mirror at the first reflection, what other facets in front take, and what meets facets outside
# the outline.
OUTLINE, SHADED, MIRROR_ABSORBED, BLOCKED, RECEIVER_ABSORBED, STAND_ABSORBED, OTHER_ABSORBED = range(7)
ESCAPED, MISSED, LOST = range(7, 10)
FIRST_RECEIVER, FIRST_STAND, FIRST_OTHER, FIRST_NONE = range(10, 14)
DIRECT_INCIDENT, DIRECT_ABSORBED, DIRECT_MIRROR, DIRECT_ESCAPED, DIRECT_LOST = range(14, 19)
LEAVING, OVERLAP, OVERHANG = range(19, 22)
N_BUDGET = 22
# Last axis of Tally.parts.
FIRST, INCIDENT, ABSORBED, PART_DIRECT_INCIDENT, PART_DIRECT_ABSORBED = range(5)
N_PART_FIGURES = 5
ROLE_RECEIVER, ROLE_STAND, ROLE_OTHER = range(3)
# One direct ray to so many mirror rays: direct sun is one sun, so it needs far fewer.
MIRROR_RAYS_PER_DIRECT = 16
# Columns of World.roots: node at which a tree begins; whether it holds receivers and covers; its body, or -1.
ROOT, IS_CLEAR, BODY = range(3)

N_RADIAL_BINS = 2048
N_RINGS = 48
N_PIXELS = 97


class Mirror(NamedTuple):
    """Facets: origin (n, 3) [m]; axes (n, 9) u, v, w, w the normal there; quadric (n, 6) uu, vv, ww, uv, uw, vw [1/m].

    The surface is p M p = w in a facet's frame. kind (n,): outline in u, v: 0 circle, 1 rectangle, 2 polygon; params
    (n, 6): centre u, v, radius, hole radius, half widths [m]; vertices (k, 2), first_vertex (n + 1,); triangles
    (t, 3, 2) that fill polygons, cdf (t,), first_triangle (n + 1,). pick_cdf (n,): how often a ray picks each facet;
    power (n,): its power per cosine [W]; slope (n,): per-axis standard deviation [rad]; brightness (n,): share of the
    dish's reflectance; reflectance (k,) over equal steps of cos(incidence) from 0 to 1, or one value; spread, jitter:
    per-axis standard deviations [rad]; z_max: height of the highest point [m]; sketch_length: how far paths are drawn
    [m]; dish_kind, dish_params, dish_vertices: the dish's outline; has_no_overhang: no facet sticks out of it.
    """

    origin: np.ndarray
    axes: np.ndarray
    quadric: np.ndarray
    kind: np.ndarray
    params: np.ndarray
    vertices: np.ndarray
    first_vertex: np.ndarray
    triangles: np.ndarray
    cdf: np.ndarray
    first_triangle: np.ndarray
    pick_cdf: np.ndarray
    power: np.ndarray
    slope: np.ndarray
    brightness: np.ndarray
    reflectance: np.ndarray
    spread: float
    jitter: float
    z_max: float
    sketch_length: float
    dish_kind: int
    dish_params: np.ndarray
    dish_vertices: np.ndarray
    has_no_overhang: bool


class Sun(NamedTuple):
    """center (3,): unit vector to the sun's centre; table (33, cells + 1): inverse table of the sunshape (tan^2)."""

    center: np.ndarray
    table: np.ndarray


class Parts(NamedTuple):
    """Triangles in tree order: corners (n, 9) = first corner and two edges [m]; normal (n, 3); part (n,).

    surface (p, 2, 2): absorptance and specular share of front and back; cover (p, 3): refractive index (0 for no
    cover), extinction [1/m], thickness [m]; role (p,): 0 receiver, 1 stand, 2 other; direct_cdf (n,): how often a
    direct ray picks each triangle; direct_power (n,): its power per cosine [W].
    """

    corners: np.ndarray
    normal: np.ndarray
    part: np.ndarray
    surface: np.ndarray
    cover: np.ndarray
    role: np.ndarray
    direct_cdf: np.ndarray
    direct_power: np.ndarray


class Screens(NamedTuple):
    """origin, facing (s, 3); axes (s, 6) = the two map axes; half_width (s,) [m]; is_clear (s,): receivers let light
    through; spot_center (s, 2), spot_scale (s,) [m]: centre and scale of the radial histogram; radii (s, k) [m].
    """

    origin: np.ndarray
    facing: np.ndarray
    axes: np.ndarray
    half_width: np.ndarray
    is_clear: np.ndarray
    spot_center: np.ndarray
    spot_scale: np.ndarray
    radii: np.ndarray


class Tally(NamedTuple):
    """Sums of power times number of rays; the first axis is the scramble, or the row for triangles.

    budget (32, 22); parts (32, p, 2, 5); incident, absorbed (rows, n, 2); moments (32, s, 5): 1, x, y, x^2, y^2;
    radial (32, s, 2048) over r / (r + scale); inside (32, s, k); rings (32, s, 49) to the half width and beyond;
    map (32, s, y, x); legs (32, k, 9): origin, direction, power, end, end without receivers of the first k rays of
    each scramble; n_lost, first_lost (32,).
    """

    budget: np.ndarray
    parts: np.ndarray
    incident: np.ndarray
    absorbed: np.ndarray
    moments: np.ndarray
    radial: np.ndarray
    inside: np.ndarray
    rings: np.ndarray
    map: np.ndarray
    legs: np.ndarray
    n_lost: np.ndarray
    first_lost: np.ndarray


def triangle_rows(n_triangles: int, *, most_bytes: float = 96e6) -> int:
    """Rows kept for the triangles: 32, one a scramble, or a smaller power of two where they would not fit in memory.

    Each row is one replicate of the triangles' errors, so very large meshes have errors from fewer blocks.
    """
    rows = N_SCRAMBLES
    while rows > 2 and rows * n_triangles * 2 * 2 * 8 > most_bytes:
        rows //= 2
    return rows


def empty_tally(*, n_parts: int, n_triangles: int, n_screens: int, n_radii: int, n_legs: int) -> Tally:
    """A tally with nothing in it; n_legs first rays of each scramble are kept as legs."""
    rows = triangle_rows(n_triangles)
    # Both figures of a side share a line of memory, and sides that are never lit share none with those that are.
    on_triangles = np.zeros((rows, 2, n_triangles, 2)).transpose(0, 2, 1, 3)
    return Tally(
        budget=np.zeros((N_SCRAMBLES, N_BUDGET)),
        parts=np.zeros((N_SCRAMBLES, n_parts, 2, N_PART_FIGURES)),
        incident=on_triangles[..., 0],
        absorbed=on_triangles[..., 1],
        moments=np.zeros((N_SCRAMBLES, n_screens, 5)),
        radial=np.zeros((N_SCRAMBLES, n_screens, N_RADIAL_BINS)),
        inside=np.zeros((N_SCRAMBLES, n_screens, n_radii)),
        rings=np.zeros((N_SCRAMBLES, n_screens, N_RINGS + 1)),
        map=np.zeros((N_SCRAMBLES, n_screens, N_PIXELS, N_PIXELS)),
        legs=np.zeros((N_SCRAMBLES, n_legs, 9)),
        n_lost=np.zeros(N_SCRAMBLES, dtype=np.int64),
        first_lost=np.full(N_SCRAMBLES, -1, dtype=np.int64),
    )


def no_screens() -> Screens:
    """A set of no screens."""
    return Screens(
        origin=np.zeros((0, 3)),
        facing=np.zeros((0, 3)),
        axes=np.zeros((0, 6)),
        half_width=np.zeros(0),
        is_clear=np.zeros(0, dtype=np.bool_),
        spot_center=np.zeros((0, 2)),
        spot_scale=np.zeros(0),
        radii=np.zeros((0, 0)),
    )


class World(NamedTuple):
    """All that one thread needs to trace rays: what they meet, where they count, and scratch of its own.

    facets: tree over the facets; triangles: trees over the triangles of bodies, of other receivers and covers, and of
    other parts; roots (r, 3) int64: those that hold something, receivers and covers last; balls (r, 4): middle [m] and
    square of the radius [m2] of a ball around each; bodies: those that are met in
    closed form, where that is plain (kernels/turned.py); stack, flock: of the trees' traversal; batch (b, ..),
    words (b, d, ..), starts (b, ..): rays made (kernels/batch.py), in b slots; going, marks: light under way
    (kernels/going.py); path (k, 3), n_path (1,): places of a watched ray.
    """

    mirror: Mirror
    sun: Sun
    parts: Parts
    facets: Tree
    triangles: Tree
    roots: np.ndarray
    balls: np.ndarray
    bodies: Bodies
    screens: Screens
    tally: Tally
    points: Points
    stack: np.ndarray
    flock: Flock
    batch: np.ndarray
    words: np.ndarray
    starts: np.ndarray
    going: np.ndarray
    marks: np.ndarray
    path: np.ndarray
    n_path: np.ndarray
