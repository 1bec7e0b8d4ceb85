"""Functions that only kernels call, called from tests."""

import numba


def from_python(function):
    """A way in from Python to a function of kernels."""

    @numba.njit(error_model="numpy", _nrt=False)
    def called(*arguments):
        return function(*arguments)

    return called
