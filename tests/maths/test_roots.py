"""The zero that is found is SciPy's, to the last bit."""

from math import copysign, exp, inf, log1p, nan, sin
from random import Random

import pytest
from scipy.optimize import brentq

from tastings.maths.roots import root_between

FUNCTIONS = (
    lambda x: 1.7 * x,
    lambda x: x**3 + 0.1 * x,
    lambda x: exp(x) - 1,
    lambda x: x if x > 0 else x / 1000,
    lambda x: copysign(abs(x) ** 0.3, x),
    lambda x: copysign(1.0, x),
    lambda x: x**9,
    lambda x: x + sin(10_000 * x) / 1000,
)
"""Each with a zero at 0: straight, flat, steep, bent, vertical; one that jumps, one very flat, one that trembles."""


def zero_or_none(find, function, bounds, **options):
    """Return the zero, or None if it is given up."""
    try:
        return find(function, *bounds, **options)
    except RuntimeError:
        return None


def test_zero_is_that_of_scipy():
    rng, found = Random(5), []
    for _ in range(3000):
        function, zero, tolerance = rng.choice(FUNCTIONS), rng.uniform(-5, 5), rng.choice([2e-12, 1e-8, 1e-3, 0.01])
        bounds = [zero - rng.expovariate(0.3) - 1e-6, zero + rng.expovariate(0.3) + 1e-6]
        rng.shuffle(bounds)

        def shifted(x, function=function, zero=zero):
            return function(x - zero)

        found.append(zero_or_none(root_between, shifted, bounds, tolerance=tolerance))
        assert found[-1] == zero_or_none(brentq, shifted, bounds, xtol=tolerance)
    assert 0 < found.count(None) < 300


def test_step_as_long_as_what_is_left_is_not_taken():
    def trembling(x):
        return x + sin(10_000 * x) / 1000

    assert root_between(trembling, -9.436, 1.779, tolerance=0.001) == brentq(trembling, -9.436, 1.779, xtol=0.001)


@pytest.mark.parametrize("exponent", [0.02, 0.25, 0.5, 0.77, 0.999])
def test_zero_far_from_both_bounds_is_that_of_scipy(exponent):
    def excess(log_b):
        return exp(log_b) / (1 + exp(log_b)) / log1p(exp(log_b)) - exponent

    assert root_between(excess, -14.0, 600.0) == brentq(excess, -14.0, 600.0)


@pytest.mark.parametrize("bound", [0.0, 3.0])
def test_bound_at_which_the_function_is_zero_is_the_zero(bound):
    assert root_between(lambda x: x - bound, 0.0, 3.0) == bound


@pytest.mark.parametrize("value", [1.0, 1e-200, -inf, nan])
def test_function_of_one_sign_has_no_zero(value):
    with pytest.raises(ValueError, match="one sign"):
        root_between(lambda _: value, 0.0, 1.0)


def test_zero_that_takes_too_long_is_given_up():
    with pytest.raises(RuntimeError, match="within 100 steps"):
        root_between(lambda x: 1.0 if x > 0 else -1.0, -1e300, 1.1e300, tolerance=1e-300)
