"""The neighbourhood sums of maps against a general library.

Planted errors seen red: the weights not turned round (not symmetric ones), the wrong corner cut out, wrapped edges.
"""

import numpy as np
import pytest
from scipy.signal import convolve2d

from dishtrace.flux.smooth import smoothed


@pytest.mark.parametrize("size", [1, 3, 7])
@pytest.mark.parametrize("shape", [(9, 9), (12, 17)])
def test_sums_are_those_of_a_direct_convolution(size, shape):
    generator = np.random.default_rng(1)
    maps, weights = generator.random((3, *shape)), generator.random((size, size))
    found = smoothed(maps, weights)
    for one, smooth in zip(maps, found, strict=True):
        assert np.allclose(smooth, convolve2d(one, weights, mode="same"), rtol=0.0, atol=1e-12)
