"""Thousands of facets of every form, and compiled loops that try many rays against all of them."""

import numpy as np

from dishtrace.dish.facets import Facets, sphere_quadric
from dishtrace.dish.outline import circle, ellipse, polygon, rectangle
from dishtrace.trace.compiling import kernel
from dishtrace.trace.kernels.mirror import facet_hit
from dishtrace.trace.kernels.triangles import FAR, next_facet
from tests.support.surfaces import bent_quadric

KITE = np.array([[-0.05, 0.0], [0.0, -0.03], [0.06, 0.0], [0.0, 0.04]])
OUTLINES = (
    circle(0.04),
    circle(0.05, hole_radius=0.02),
    rectangle((0.09, 0.03)),
    polygon(KITE),
    ellipse((0.05, 0.02), center=(0.01, 0.0)),
)
FORMS = (
    np.zeros(6),
    sphere_quadric(0.08),
    sphere_quadric(1.5),
    bent_quadric(0.1, 0.7),
    np.array([2.0, 1.0, 0.5, 0.3, 1.0, -0.8]),
    np.array([2.0, -1.5, 0.0, 0.4, 0.0, 0.0]),
)
"""Flat, deep and shallow hollow sphere, bent, tilted paraboloid-like, saddle."""


def scattered_facets(n, *, seed):
    """Facets anywhere in a cube of 2 m, any way round, in every combination of outline and form."""
    generator = np.random.default_rng(seed)
    turns = np.linalg.qr(generator.normal(size=(n, 3, 3)))[0]
    turns *= np.sign(np.linalg.det(turns))[:, np.newaxis, np.newaxis]
    which = np.arange(n)
    return Facets(
        number=which + 1,
        origin=generator.uniform(-1.0, 1.0, (n, 3)),
        axes=turns,
        quadric=np.array(FORMS)[which % len(FORMS)],
        outlines=tuple(OUTLINES[k % len(OUTLINES)] for k in which),
        slope=np.zeros(n),
        brightness=np.ones(n),
    )


@kernel
def facets_by_tree(mirror, tree, origin, direction, leaving, stack, t, number):
    """Nearest facet of each ray through the tree."""
    for k in range(origin.shape[0]):
        o, d = origin[k], direction[k]
        t[k], number[k] = next_facet(mirror, tree, o[0], o[1], o[2], d[0], d[1], d[2], FAR, leaving[k], stack)


@kernel
def facets_by_search(mirror, origin, direction, leaving, t, number):
    """Nearest facet of each ray among all, the first of equals."""
    for k in range(origin.shape[0]):
        o, d = origin[k], direction[k]
        t[k], number[k] = FAR, -1
        for i in range(mirror.kind.shape[0]):
            found = facet_hit(mirror, i, o[0], o[1], o[2], d[0], d[1], d[2], i == leaving[k])
            if found < t[k]:
                t[k], number[k] = found, i
