from dataclasses import replace

import numpy as np
import pytest
from scipy.stats import norm

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.even_brew import even_brew
from tastings.maths.brewing.extraction import cup_strength, make_grid
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.censoring import impute_censored
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD
from tastings.maths.curve.posterior import CurveDraws, Posterior, fit, fit_all, posterior_from
from tastings.maths.curve.scale_effects import TeamStatistics
from tastings.maths.curve.sufficient_statistics import SIGMA, SessionRatings

GRID = make_grid(n_k=16, n_tau=12, n_n=3)
EVEN = even_brew()
STEEPING = steeping_of(EVEN, EVEN.pours)
CUPS = cup_strength(STEEPING, grid=GRID)[:, 1:]


def tasted_of(ratings, *, taster="ann", scale=None):
    values = np.array(ratings, dtype=np.float64)
    ends = np.where(values <= 0, -1.0, np.where(values >= 10, 1.0, 0.0))
    scale = scale or TasterScale()
    index = np.arange(1, values.size + 1)
    return SessionRatings(
        taster=taster,
        scale=scale,
        steeping=STEEPING,
        index=index,
        ratings=values,
        censored=ends,
        order=index - 1.0,
    )


def settled_of(ratings):
    one = tasted_of(ratings)
    return impute_censored(one.ratings, censored=one.censored, cups=CUPS[:, : one.ratings.size], grid=GRID)


def even_mean(posterior):
    return posterior.node_level @ CUPS


def test_no_ratings_give_the_prior():
    found = fit([], grid=GRID)
    assert found.node_weights == pytest.approx(np.exp(GRID.log_prior), abs=1e-12)
    assert found.mean == pytest.approx(LEVEL_MEAN)
    assert found.sd == pytest.approx(LEVEL_SD)


def test_weights_sum_to_one():
    assert fit([tasted_of([5, 6, 6, 5, 4])], grid=GRID).weights.sum() == pytest.approx(1.0)


def test_curve_follows_many_agreeing_tasters():
    ratings = np.array([4.0, 6.0, 6.5, 6.0, 5.5, 5.0, 4.5, 4.0])
    found = fit([tasted_of(ratings, taster=str(i)) for i in range(20)], grid=GRID)
    assert even_mean(found)[: ratings.size] == pytest.approx(ratings, abs=0.6)


def test_another_taster_narrows_the_curve():
    ratings = [5, 6, 6, 5, 4]
    one = fit([tasted_of(ratings)], grid=GRID).draws().cups(CUPS).std(axis=0)
    two = fit([tasted_of(ratings), tasted_of(ratings, taster="ben")], grid=GRID).draws().cups(CUPS).std(axis=0)
    assert np.all(two[:5] < one[:5])


def test_draws_repeat_themselves_and_match_the_posterior():
    found = fit([tasted_of([5, 6, 6, 5, 4])], grid=GRID)
    first, again = found.draws(), found.draws()
    assert np.array_equal(first.node, again.node)
    assert np.array_equal(first.level, again.level)
    assert first.cups(CUPS).mean(axis=0)[:5] == pytest.approx(even_mean(found)[:5], abs=0.05)


def test_calibrated_taster_counts_for_more():
    ratings = [5, 6, 6, 5, 4]
    known = TasterScale(gain_sd=0.03, offset_sd=0.1)
    loose = fit([tasted_of(ratings)], grid=GRID).draws().cups(CUPS).std(axis=0)
    tight = fit([tasted_of(ratings, scale=known)], grid=GRID).draws().cups(CUPS).std(axis=0)
    assert np.all(tight[:5] < loose[:5])


def test_zeros_count_as_at_most_zero():
    settled = settled_of([6, 5, 3, 1, 0, 0, 0, 0])
    assert np.array_equal(settled[:4], [6, 5, 3, 1])
    assert np.all(settled[4:] < 0)


def test_tens_count_as_at_least_ten():
    settled = settled_of([9, 10, 10, 8])
    assert np.all(settled[1:3] > 10)
    assert np.array_equal(settled[[0, 3]], [9, 8])


def test_uncensored_ratings_are_unchanged():
    assert np.array_equal(settled_of([0.1, 5, 9.9]), [0.1, 5, 9.9])


def test_attributes_are_fitted_each_by_itself():
    strength, sweetness = [tasted_of([5, 6, 6, 5, 4])], [tasted_of([2, 2.5, 3, 3, 3])]
    both = fit_all({"strength": strength, "sweetness": sweetness}, grid=GRID)
    assert np.array_equal(both["strength"].weights, fit(strength, grid=GRID).weights)
    assert np.array_equal(both["sweetness"].mean, fit(sweetness, grid=GRID).mean)


def test_subset_of_the_grid_with_all_weight_gives_the_same_curve():
    found = fit([tasted_of([5, 6, 6, 5, 4], taster=str(i)) for i in range(30)], grid=GRID)
    part, index = GRID.around(found.node_weights > 1e-7)
    assert part.n_nodes < GRID.n_nodes
    assert found.on(index).node_level @ cup_strength(STEEPING, grid=part)[:, 1:] == pytest.approx(
        even_mean(found), abs=1e-4
    )


def test_censored_zeros_bring_the_tail_nearer_the_truth():
    # A fading lot of the model's own whose tail lies near zero: half of the noise is cut off at the end of the scale.
    fast = np.abs(np.log(GRID.k_per_min / 1.3)).argmin() * GRID.tau_s.size * GRID.n.size + GRID.n.size // 2
    truth = 7.0 * CUPS[fast] / CUPS[fast].max()
    naive_error, error = [], []
    for number in range(20):
        chance = np.random.default_rng(number)
        ratings = [np.clip(truth + chance.normal(0, 0.75, 12), 0, 10) for _ in range(4)]
        sessions = [tasted_of(one, taster=str(i)) for i, one in enumerate(ratings)]
        plain = [replace(one, censored=np.zeros(12)) for one in sessions]
        error.append(even_mean(fit(sessions, grid=GRID))[7:] - truth[7:])
        naive_error.append(even_mean(fit(plain, grid=GRID))[7:] - truth[7:])
    assert abs(np.mean(error)) < abs(np.mean(naive_error))


def test_weights_means_and_sds_are_those_of_numerical_integration():
    """Likelihoods exp(-(p a^2 - 2 c a + k) / 2) times the priors, summed over a fine grid of levels a."""
    grid, rng = make_grid(n_k=3, n_tau=2, n_n=2), np.random.default_rng(8)
    size = SIGMA.size, grid.n_nodes
    precision, cross = rng.uniform(0.05, 3.0, size), rng.uniform(0.1, 8.0, size)
    constant = cross**2 / precision + rng.uniform(0.0, 4.0, size) + 4000  # so unlikely that exp alone gives 0
    zero, one = np.zeros(size), np.ones(size)
    sums = TeamStatistics(
        precision=precision, cross=cross, constant=constant, shift_first=zero, shift_second=zero, gain_first=zero,
        gain_second=zero, shift_shift=one, shift_gain=zero, gain_gain=one, order_level=zero, order_cross=zero,
        order_order=one, shift_third=zero, gain_third=zero,
    )  # fmt: skip
    found = posterior_from(sums, n_absent=0.0, grid=grid)

    a = np.linspace(-80, 120, 40_001)
    exponent = precision[..., None] * a**2 - 2 * cross[..., None] * a + (constant - 4000)[..., None]
    density = np.exp(-0.5 * exponent) * norm.pdf(a, 6, 4)
    total = density.sum(axis=-1)
    sigma_prior = norm.pdf(np.log(SIGMA), np.log(0.75), 0.6)
    weights = total * np.exp(grid.log_prior) * sigma_prior[:, None]
    mean = (density * a).sum(axis=-1) / total
    assert found.weights == pytest.approx(weights / weights.sum(), rel=1e-6)
    assert found.mean == pytest.approx(mean, rel=1e-6)
    assert found.sd == pytest.approx(np.sqrt((density * (a - mean[..., None]) ** 2).sum(axis=-1) / total), rel=1e-6)


def test_draws_step_through_the_weights_and_move_on_by_the_golden_ratio():
    posterior = Posterior(
        weights=np.array([[0.5, 1.5]]), mean=np.array([[5.0, 0.2]]), sd=np.array([[1.0, 2.0]])
    )  # weights of any sum
    found = posterior.draws(n_draws=4)
    quantiles = [(0.5 + i * (np.sqrt(5) - 1) / 2) % 1 for i in range(4)]
    levels = [5.0 + norm.ppf(quantiles[0]), *(0.2 + 2 * norm.ppf(q) for q in quantiles[1:])]

    assert found.node.tolist() == [0, 1, 1, 1]
    assert found.level == pytest.approx([max(level, 0.0) for level in levels], abs=1e-9)
    assert min(levels) < 0


def test_drawn_cups_end_where_the_scale_does():
    cups = CurveDraws(node=np.array([0, 1, 1]), level=np.array([12.0, 4.0, -1.0])).cups(
        np.array([[1.0, 0.5], [2.0, 1.0]])
    )
    assert cups.tolist() == [[10, 6], [8, 4], [0, 0]]


def test_posterior_on_some_nodes_forgets_the_others():
    whole = Posterior(weights=np.array([[0.1, 0.2, 0.3, 0.4]]), mean=np.arange(4.0)[None], sd=np.arange(1.0, 5.0)[None])
    found = whole.on(np.array([1, 3]))
    assert found.weights == pytest.approx(np.array([[1 / 3, 2 / 3]]))
    assert (found.mean.tolist(), found.sd.tolist()) == ([[1, 3]], [[2, 4]])


def test_scale_held_to_the_team_is_another_posterior_than_a_free_one():
    sessions = [tasted_of([5, 6, 6, 5, 4], taster=name) for name in ("ann", "ben")]
    free, centred = fit(sessions, grid=GRID, centre_on_team=False), fit(sessions, grid=GRID)
    assert free.draws().cups(CUPS).std(axis=0)[2] > centred.draws().cups(CUPS).std(axis=0)[2]
    assert fit_all({"": sessions}, grid=GRID, centre_on_team=False)[""].weights == pytest.approx(free.weights)
