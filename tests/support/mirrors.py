"""Mirrors as the kernels see them, made straight from facets without a scene."""

import numpy as np

from dishtrace.dish.facets import Facets, flat_arrays
from dishtrace.trace.optics import Mirror


def mirror_of(facets: Facets, **values) -> Mirror:
    """The kernels' arrays of facets; values replace what else a mirror has."""
    areas = facets.plan_areas()
    _, highest = facets.boxes()
    given = {
        "reflectance": np.array([0.9]),
        "spread": 0.0,
        "jitter": 0.0,
        "z_max": float(highest[:, 2].max()),
        "sketch_length": 2.0,
        "dish_kind": 0,
        "dish_params": np.zeros(8),
        "dish_vertices": np.zeros((0, 2)),
        "has_no_overhang": True,
        **values,
    }
    return Mirror(
        origin=facets.origin,
        axes=np.ascontiguousarray(facets.axes.reshape(-1, 9)),
        quadric=facets.quadric,
        **flat_arrays(facets.outlines),
        pick_cdf=np.cumsum(areas) / areas.sum(),
        power=1000.0 * areas,
        slope=facets.slope,
        brightness=facets.brightness,
        **given,
    )
