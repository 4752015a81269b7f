"""The closed forms against the same model with its covariances written out (scipy's multivariate normal)."""

from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import multivariate_normal

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.level import level_estimate, level_precision_and_cross
from tastings.maths.curve.scale_effects import expected_absent_tasters, sum_tasters
from tastings.maths.curve.sufficient_statistics import (
    SESSION_GAIN_SD,
    SIGMA,
    SessionRatings,
    TasterStatistics,
    level_at_nodes,
    session_shift_sd,
    sum_sessions,
)

GRID = Grid(
    k_per_min=np.array([0.2, 0.7]),
    tau_s=np.array([20.0]),
    n=np.array([0.6]),
    log_prior=np.log([0.5, 0.5]),
    any_form=np.log([0.5, 0.5]),
)
UNKNOWN, KNOWN = TasterScale(), TasterScale(gain_sd=0.04, offset_sd=0.1)


def sessions(tasters, *, scale=UNKNOWN):
    chance = np.random.default_rng(3)
    found = []
    for number, taster in enumerate(tasters):
        even = even_brew(infusions=6)
        pours = tuple(replace(pour, steep_s=float(chance.uniform(8, 40))) for pour in even.pours)
        index = np.arange(1, 5 + number % 3)
        found.append(
            SessionRatings(
                taster=taster,
                scale=scale,
                steeping=steeping_of(even, pours),
                index=index,
                ratings=chance.uniform(2, 8, index.size),
                censored=np.zeros(index.size),
                order=index - 1.0 + number % 2,
            )
        )
    return found


def cups_of(one, *, node):
    return one.cups(cup_strength(one.steeping, grid=GRID))[node]


def own_level(one, *, node):
    cups = one.cups(cup_strength(one.steeping, grid=GRID))
    return level_estimate(*level_precision_and_cross(cups, one.ratings))[node]


def written_out(tasted, *, level, slope, first_level, n_absent, node, sigma):
    """Return the log likelihood of level and slope, every rating of the lot in one covariance matrix."""
    y = np.concatenate([one.ratings for one in tasted])
    cups = np.concatenate([cups_of(one, node=node) for one in tasted])
    order = np.concatenate([one.order for one in tasted])
    session = np.repeat(np.arange(len(tasted)), [one.ratings.size for one in tasted])
    names = [one.taster for one in tasted]
    taster = np.array([names.index(names[i]) for i in session])
    own = np.array([own_level(tasted[i], node=node) for i in session])
    same_session, same_taster = session[:, None] == session, taster[:, None] == taster
    scale, effect = tasted[0].scale, tasted[0].has_session_effect
    # Shifts, and gains, of a team of which some are absent add up to 0: that correlates different tasters a little.
    shared = 1 / (len(set(names)) + n_absent) if scale == UNKNOWN else 0.0
    # Shifts grow with the noise, those of tasters until they are calibrated; 0.5 up to the usual 0.75.
    shift_sd = 0.5 + 0.86 * max(sigma - 0.75, 0.0) if scale == UNKNOWN else scale.offset_sd
    covariance = (
        sigma**2 * np.eye(y.size)
        + (session_shift_sd(sigma) ** 2 + SESSION_GAIN_SD**2 * np.outer(own * cups, own * cups)) * same_session * effect
        + (shift_sd**2 + (scale.gain_sd * first_level) ** 2 * np.outer(cups, cups)) * (same_taster - shared)
    )
    return multivariate_normal(level * cups + slope * order, covariance).logpdf(y)


def by_taster(tasted):
    names = list(dict.fromkeys(one.taster for one in tasted))
    return {name: [one for one in tasted if one.taster == name] for name in names}


@pytest.mark.parametrize("tasters", [["ann"], ["ann", "ben"], ["ann", "ben", "ann", "ann", "cho"]])
@pytest.mark.parametrize("scale", [UNKNOWN, KNOWN])
@pytest.mark.parametrize("has_session_effect", [True, False])
def test_sums_give_the_likelihood_of_the_model_written_out(tasters, scale, has_session_effect):
    tasted = [replace(one, has_session_effect=has_session_effect) for one in sessions(tasters, scale=scale)]
    n, own = sum(one.ratings.size for one in tasted), by_taster(tasted)
    totals = {name: sum_sessions(some, grid=GRID) for name, some in own.items()}
    first_level = level_at_nodes(totals.values(), grid=GRID)
    n_absent = expected_absent_tasters([len(some) for some in own.values()])
    sums = sum_tasters(((TasterStatistics.of(total), scale) for total in totals.values()), level=first_level)
    found = sums.centred_on_team(n_absent=n_absent)
    members = len(own) * (scale == UNKNOWN) + n_absent
    for node in range(GRID.n_nodes):
        for s, sigma in enumerate(SIGMA):
            before = np.log(members * (0.5 + 0.86 * max(sigma - 0.75, 0.0)) ** 2 * members * UNKNOWN.gain_sd**2)
            for level, slope in ((2.0, 0.0), (5.0, -0.15), (9.0, 0.3)):
                closed = -0.5 * (
                    found.constant[s, node]
                    - before
                    - 2 * level * found.cross[s, node]
                    + level**2 * found.precision[s, node]
                    - 2 * slope * found.order_cross[s, node]
                    + 2 * slope * level * found.order_level[s, node]
                    + slope**2 * found.order_order[s, node]
                    + n * np.log(2 * np.pi)
                )
                expected = written_out(
                    tasted,
                    level=level,
                    slope=slope,
                    first_level=first_level[node],
                    n_absent=n_absent,
                    node=node,
                    sigma=sigma,
                )
                assert closed == pytest.approx(expected, abs=1e-6)


def test_sums_of_a_taster_add_session_by_session_exactly():
    tasted = sessions(["ann"] * 4)
    apart = [sum_sessions([one], grid=GRID) for one in tasted]
    assert np.array_equal(sum(apart), sum_sessions(tasted, grid=GRID))
    assert np.array_equal(sum_sessions(tasted, grid=GRID) - apart[2], sum_sessions([*tasted[:2], tasted[3]], grid=GRID))


def test_order_of_sessions_changes_no_bit():
    tasted = sessions(["ann"] * 5)
    assert np.array_equal(sum_sessions(tasted, grid=GRID), sum_sessions(tasted[::-1], grid=GRID))


def test_taking_back_a_gain_and_an_offset_leaves_the_sums():
    one = sessions(["ann"])[0]
    scaled = replace(one, scale=replace(UNKNOWN, gain=2.0))
    assert scaled.cups(np.ones((1, 7))) == pytest.approx(2.0)
    assert scaled.key != one.key != replace(one, has_session_effect=False).key


def test_how_well_a_scale_is_known_does_not_change_a_sessions_sums():
    one = sessions(["ann"])[0]
    other = replace(one, scale=KNOWN)
    assert other.key == one.key
    assert np.array_equal(sum_sessions([other], grid=GRID), sum_sessions([one], grid=GRID))


def test_sessions_of_many_tasters_are_more_precise_than_those_of_one():
    def precision(tasters):
        own = by_taster(sessions(tasters))
        totals = [sum_sessions(some, grid=GRID) for some in own.values()]
        level = level_at_nodes(totals, grid=GRID)
        sums = sum_tasters(((TasterStatistics.of(total), UNKNOWN) for total in totals), level=level)
        return sums.centred_on_team(n_absent=expected_absent_tasters([len(some) for some in own.values()])).precision

    assert np.all(precision(["ann"] * 8) < 0.7 * precision(list("abcdefgh")))


def test_scale_known_exactly_needs_no_team():
    # Two tasters whose scales are known exactly are one taster with all their sessions.
    exact = TasterScale(gain_sd=0.0, offset_sd=0.0)
    tasted = sessions(["ann", "ben", "ben"], scale=exact)
    level = np.full(GRID.n_nodes, 6.0)
    apart = sum_tasters(
        ((TasterStatistics.of(sum_sessions(some, grid=GRID)), exact) for some in by_taster(tasted).values()),
        level=level,
    )
    together = sum_tasters([(TasterStatistics.of(sum_sessions(tasted, grid=GRID)), exact)], level=level)
    for name in ("precision", "cross", "constant"):
        assert getattr(apart, name) == pytest.approx(getattr(together, name), rel=1e-12)
