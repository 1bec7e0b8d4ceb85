"""Vectors and rotations on plain NumPy arrays."""

from __future__ import annotations

import numpy as np


def normalise(vectors: np.ndarray) -> np.ndarray:
    """Unit vectors along the last axis.

    Parameters
    ----------
    vectors : (..., 3) float64
        Of any length but zero. [any]

    Returns
    -------
    (..., 3) float64
        Of length one. [–]
    """
    vectors = np.asarray(vectors, dtype=float)
    return vectors / np.linalg.norm(vectors, axis=-1, keepdims=True)


def perpendicular_axes(axis: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Two unit vectors e1, e2 with e1 x e2 = axis.

    For axis = (0, 0, 1) they are x and y. The formula has no singular direction.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector. [–]

    Returns
    -------
    e1, e2 : (3,) float64
        Unit vectors. [–]

    References
    ----------
    .. [1] T. Duff et al., "Building an Orthonormal Basis, Revisited", J. Computer Graphics Techniques 6(1), 2017, 1-8.
    """
    x, y, z = (float(c) for c in axis)
    sign = np.copysign(1.0, z)
    a = -1.0 / (sign + z)
    b = x * y * a
    return np.array([1.0 + sign * x * x * a, sign * b, -sign * x]), np.array([b, sign + y * y * a, -y])


def rotation_to(axis: np.ndarray) -> np.ndarray:
    """Smallest rotation that takes +z to the given unit vector.

    Parameters
    ----------
    axis : (3,) float64
        Unit vector. [–]

    Returns
    -------
    (3, 3) float64
        Rotation matrix for column vectors; for -z a half turn about x. [–]
    """
    x, y, z = (float(c) for c in axis)
    across = x * x + y * y
    if across == 0.0:
        return np.diag([1.0, np.copysign(1.0, z), np.copysign(1.0, z)])
    # 1 / (1 + z), without its cancellation near -z.
    c = 1.0 / (1.0 + z) if z > 0.0 else (1.0 - z) / across
    return np.array([[1.0 - c * x * x, -c * x * y, x], [-c * x * y, 1.0 - c * y * y, y], [-x, -y, z]])
