"""Angles from the sun's centre as the kernels sample them."""

from __future__ import annotations

import numpy as np

from dishtrace.trace.kernels.sampling import sun_tan2
from tests.support.called import from_python

_sun_tan2 = from_python(sun_tan2)


def sampled_tan2(table: np.ndarray, u: np.ndarray) -> np.ndarray:
    """tan^2 of the angles at numbers u (n,), above 0 and below 1, through an inverse table, (n,). [–]"""
    return np.array([_sun_tan2(table, each) for each in u])
