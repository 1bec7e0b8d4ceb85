"""What the kernels look up in tables is what NumPy finds.

Planted errors that this catches: strictly below for not above, one too many, an end left out.
"""

import numpy as np

from dishtrace.trace.kernels.sampling import n_up_to
from tests.support.called import from_python


def test_as_many_values_are_not_above_a_limit_as_numpy_counts(seed):
    counted = from_python(n_up_to)
    rng = np.random.default_rng(seed)
    for n in (1, 2, 3, 7, 64, 1000):
        values = np.sort(rng.integers(0, n, n)).astype(float)
        for limit in (*values[:20], *rng.uniform(-1.0, n + 1.0, 20), -np.inf, np.inf):
            assert counted(values, limit) == np.searchsorted(values, limit, side="right")
