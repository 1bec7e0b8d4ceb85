"""A root of a function of one variable, without the optimisation library, which takes longer to load than to use."""

from __future__ import annotations

from collections.abc import Callable

MOST_STEPS = 100


def root_between(
    function: Callable[[float], float], start: float, end: float, *, x_tolerance: float, relative: float
) -> float:
    """Place between two others where a function is zero, by Brent's method.

    Secants, or parabolas of the inverse through three points, as long as they shrink the bracket fast enough; halves of
    it where not.

    Parameters
    ----------
    function : callable
        Continuous, of unlike sign at both ends.
    start, end : float
        The bracket. [any]
    x_tolerance, relative : float
        The place is found to `x_tolerance` + `relative` times itself. [any], [–]

    Returns
    -------
    float

    Raises
    ------
    ValueError
        If the signs at the ends are alike.
    RuntimeError
        If `MOST_STEPS` steps do not find it.

    References
    ----------
    .. [1] R. P. Brent, *Algorithms for Minimization Without Derivatives*, Prentice-Hall, 1973, chapter 4 (from memory;
       checked against scipy.optimize.brentq, which gives the same to the last bit).
    """
    before, here, other = start, end, start
    f_before, f_here = function(before), function(here)
    f_other = f_before
    if f_before == 0.0 or f_here == 0.0:
        return before if f_before == 0.0 else here
    if (f_before < 0.0) == (f_here < 0.0):
        raise ValueError(f"the function has the same sign at {start:g} and {end:g}")
    step = last_step = 0.0
    for _ in range(MOST_STEPS):
        if f_before != 0.0 and f_here != 0.0 and (f_before < 0.0) != (f_here < 0.0):
            other, f_other = before, f_before
            step = last_step = here - before
        if abs(f_other) < abs(f_here):
            before, here, other = here, other, here
            f_before, f_here, f_other = f_here, f_other, f_here
        least = (x_tolerance + relative * abs(here)) / 2.0
        half = (other - here) / 2.0
        if f_here == 0.0 or abs(half) < least:
            return here
        last_step, step = _next_step(
            (before, here, other), (f_before, f_here, f_other), last_step, step, half=half, least=least
        )
        before, f_before = here, f_here
        here += step if abs(step) > least else least if half > 0.0 else -least
        f_here = function(here)
    raise RuntimeError(f"no root found in {MOST_STEPS} steps between {start:g} and {end:g}")


def _next_step(
    places: tuple[float, float, float],
    values: tuple[float, float, float],
    last_step: float,
    step: float,
    *,
    half: float,
    least: float,
) -> tuple[float, float]:
    """The step before the next one, and the next one: by interpolation if that is short enough, else half."""
    (before, here, other), (f_before, f_here, f_other) = places, values
    if not (abs(last_step) > least and abs(f_here) < abs(f_before)):
        return half, half
    if before == other:
        tried = -f_here * (here - before) / (f_here - f_before)
    else:
        slope_before = (f_before - f_here) / (before - here)
        slope_other = (f_other - f_here) / (other - here)
        tried = -f_here * (f_other * slope_other - f_before * slope_before)
        tried /= slope_other * slope_before * (f_other - f_before)
    if 2.0 * abs(tried) < min(abs(last_step), 3.0 * abs(half) - least):
        return step, tried
    return half, half
