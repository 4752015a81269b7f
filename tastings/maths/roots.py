"""Where a function of one number is zero, by Brent's method, to the last bit as SciPy's ``brentq`` finds it.

SciPy has it in ``scipy.optimize``, whose import takes as long as that of NumPy and ``scipy.special`` together: half a
second and 19 MB in each process that computes a cup.

Source: R. P. Brent, Algorithms for Minimization Without Derivatives, 1973, chapter 4, in the form of SciPy.
"""

from collections.abc import Callable
from math import copysign

_RELATIVE = 8.881784197001252e-16
"""Four times the distance from 1 to the next larger double."""
_MOST_STEPS = 100


def root_between(function: Callable[[float], float], low: float, high: float, *, tolerance: float = 2e-12) -> float:
    """Return where a continuous function is zero, between two numbers at which its signs differ.

    Parameters
    ----------
    function : Callable[[float], float]
        Gives no NaN between the two.
    low, high : float
        The bounds, in either order.
    tolerance : float
        How far the result may be from the zero.

    Raises
    ------
    ValueError
        The function has one sign at both bounds, or is NaN at one of them.
    RuntimeError
        It is not found within a hundred steps, as of a function that jumps about.

    Examples
    --------
    >>> root_between(lambda x: x * x - 2, 0.0, 2.0)
    1.4142135623731364
    """
    before, here = float(low), float(high)
    at_before, at_here = float(function(before)), float(function(here))
    if at_before == 0:
        return before
    if at_here == 0:
        return here
    if not (at_before < 0 < at_here or at_here < 0 < at_before):
        raise ValueError("the function has one sign at both bounds, or none")
    across, at_across, step_before, step = before, at_before, here - before, here - before
    for _ in range(_MOST_STEPS):
        if at_here != 0 and (at_before < 0) != (at_here < 0):
            across, at_across = before, at_before
            step_before = step = here - before
        if abs(at_across) < abs(at_here):
            before, here, across = here, across, here
            at_before, at_here, at_across = at_here, at_across, at_here
        delta = (tolerance + _RELATIVE * abs(here)) / 2
        half = (across - here) / 2
        if at_here == 0 or abs(half) < delta:
            return here
        tried = None
        if abs(step_before) > delta and abs(at_here) < abs(at_before):
            tried = _interpolated((before, at_before), (here, at_here), (across, at_across))
        if tried is not None and 2 * abs(tried) < min(abs(step_before), 3 * abs(half) - delta):
            step_before, step = step, tried
        else:
            step_before = step = half
        before, at_before = here, at_here
        here += step if abs(step) > delta else copysign(delta, half)
        at_here = float(function(here))
    raise RuntimeError(f"no zero within {_MOST_STEPS} steps")


def _interpolated(before: tuple[float, float], here: tuple[float, float], across: tuple[float, float]) -> float:
    """Return the step to the zero of the line through two points, or of the inverse parabola through three."""
    (x0, y0), (x, y), (x1, y1) = before, here, across
    if x0 == x1:
        return -y * (x - x0) / (y - y0)
    slope_before, slope_across = (y0 - y) / (x0 - x), (y1 - y) / (x1 - x)
    return -y * (y1 * slope_across - y0 * slope_before) / (slope_across * slope_before * (y1 - y0))
