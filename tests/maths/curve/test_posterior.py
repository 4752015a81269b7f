from dataclasses import fields, replace

import numpy as np
import pytest
from scipy.stats import norm

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.even_brew import EvenBrew, even_brew
from tastings.maths.brewing.extraction import cup_strength, make_grid
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.censoring import impute_censored
from tastings.maths.curve.heat_error import RateError
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD
from tastings.maths.curve.order_slope import OrderSlope, SlopeEvidence
from tastings.maths.curve.posterior import CurveDraws, Posterior, fit, fit_all, posterior_from
from tastings.maths.curve.scale_effects import TeamStatistics
from tastings.maths.curve.sufficient_statistics import SIGMA, SessionRatings

GRID = make_grid(n_k=16, n_tau=12, n_n=3)
EVEN = even_brew()
STEEPING = steeping_of(EVEN, EVEN.pours)
CUPS = cup_strength(STEEPING, grid=GRID)[:, 1:]
NOISE_PRIOR = np.exp(-0.5 * (np.log(SIGMA / 0.75) / np.where(SIGMA > 0.75, 0.9, 0.6)) ** 2)


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


def test_six_ratings_tell_the_noise_of_published_panels_from_the_usual():
    def noise_found(noise):
        ratings = [5 + np.random.default_rng(i).normal(0, noise, 6) for i in range(24)]
        return np.mean([fit([tasted_of(np.clip(one, 0.1, 9.9))], grid=GRID).sigma for one in ratings])

    # 1.44 with a prior that has the same spread, 0.6, above the usual noise as below.
    assert noise_found(1.74) > 1.5
    assert noise_found(0.75) < 0.95


def test_censored_zeros_bring_the_tail_nearer_the_truth():
    # A fading lot of the model's own whose tail lies near zero: half of the noise is cut off at the end of the scale.
    fast = np.abs(np.log(GRID.k_per_min / 1.8)).argmin() * GRID.tau_s.size * GRID.n.size + GRID.n.size // 2
    truth = 7.0 * CUPS[fast] / CUPS[fast].max()
    naive_error, error = [], []
    for number in range(10):
        chance = np.random.default_rng(number)
        ratings = [np.clip(truth + chance.normal(0, 0.75, 12), 0, 10) for _ in range(4)]
        sessions = [tasted_of(one, taster=str(i)) for i, one in enumerate(ratings)]
        plain = [replace(one, censored=np.zeros(12)) for one in sessions]
        error.append(even_mean(fit(sessions, grid=GRID))[7:] - truth[7:])
        naive_error.append(even_mean(fit(plain, grid=GRID))[7:] - truth[7:])
    assert abs(np.mean(error)) < abs(np.mean(naive_error))


def sums_of(**given):
    """Return the sums of tasters whose scales are known, with these matrices; 0 elsewhere."""
    zero = np.zeros(next(iter(given.values())).shape)
    names = [field.name for field in fields(TeamStatistics)]
    own = dict.fromkeys(names, zero) | dict.fromkeys(("shift_shift", "gain_gain", "order_order"), zero + 1)
    return TeamStatistics(**own | given)


def test_weights_means_and_sds_are_those_of_numerical_integration():
    """Likelihoods exp(-(p a^2 - 2 c a + k) / 2) times the priors, summed over a fine grid of levels a."""
    grid, rng = make_grid(n_k=3, n_tau=2, n_n=2), np.random.default_rng(8)
    size = SIGMA.size, grid.n_nodes
    precision, cross = rng.uniform(0.05, 3.0, size), rng.uniform(0.1, 8.0, size)
    constant = cross**2 / precision + rng.uniform(0.0, 4.0, size) + 4000  # so unlikely that exp alone gives 0
    sums = sums_of(precision=precision, cross=cross, constant=constant)
    found = posterior_from(sums, n_absent=0.0, grid=grid)

    a = np.linspace(-80, 120, 4_001)
    exponent = precision[..., None] * a**2 - 2 * cross[..., None] * a + (constant - 4000)[..., None]
    density = np.exp(-0.5 * exponent) * norm.pdf(a, 6, 4)
    total = density.sum(axis=-1)
    weights = total * np.exp(grid.log_prior) * NOISE_PRIOR[:, None]
    mean = (density * a).sum(axis=-1) / total
    assert found.weights == pytest.approx(weights / weights.sum(), rel=1e-6)
    assert found.mean == pytest.approx(mean, rel=1e-6)
    assert found.sd == pytest.approx(np.sqrt((density * (a - mean[..., None]) ** 2).sum(axis=-1) / total), rel=1e-6)


def sums_with_slope(rng, size):
    precision, cross = rng.uniform(0.5, 3.0, size), rng.uniform(1.0, 8.0, size)
    return sums_of(
        precision=precision,
        cross=cross,
        constant=cross**2 / precision + rng.uniform(0.0, 4.0, size),
        order_level=rng.uniform(-0.5, 1.5, size),
        order_cross=rng.uniform(-1.0, 3.0, size),
        order_order=rng.uniform(4.0, 20.0, size),
    )


def integrated(sums, slope):
    """Return sums over a fine grid of levels and slopes: weight, mean and sd of the level, mean slope and square."""
    a, s = np.linspace(-10, 25, 281)[:, None], np.linspace(-2.5, 2.5, 251)
    prior = norm.pdf(a, 6, 4) * norm.pdf(s, slope.mean, slope.sd) * (a[1] - a[0]) * (s[1] - s[0])
    moments = []
    for p, c, k, al, oc, oo in zip(
        *(
            getattr(sums, name).ravel()
            for name in ("precision", "cross", "constant", "order_level", "order_cross", "order_order")
        ),
        strict=True,
    ):
        density = prior * np.exp(-0.5 * (k - 2 * c * a + p * a**2 - 2 * oc * s + 2 * al * a * s + oo * s**2))
        total = density.sum()
        mean = (density * a).sum() / total
        sd = np.sqrt((density * (a - mean) ** 2).sum() / total)
        moments.append((total, mean, sd, (density * s).sum() / total, (density * s**2).sum() / total))
    return [np.array(moment).reshape(sums.precision.shape) for moment in zip(*moments, strict=True)]


def test_slope_of_the_order_is_that_of_numerical_integration():
    """Half the mixture has none, the other half one with a normal prior; both as in the test of the level."""
    grid = make_grid(n_k=2, n_tau=2, n_n=1)
    sums = sums_with_slope(np.random.default_rng(5), (SIGMA.size, grid.n_nodes))
    slope = OrderSlope(probability=0.3, mean=-0.2, sd=0.25)
    unlikely = replace(sums, constant=sums.constant + 4000)  # so that exp alone gives 0
    found = posterior_from(unlikely, n_absent=0.0, grid=grid, slope=slope)
    without = posterior_from(unlikely, n_absent=0.0, grid=grid)

    total, mean, sd, mean_slope, _ = integrated(sums, slope)
    prior = np.exp(grid.log_prior) * NOISE_PRIOR[:, None]
    weights = total * prior / (total * prior).sum()
    level_alone = norm.pdf(0, 6, 4) * np.sqrt(2 * np.pi) * without.sd  # at each node, integrated over the level
    exponent = (without.mean / without.sd) ** 2 - (6 / 4) ** 2 - sums.constant + (6 / 4) ** 2
    alone = level_alone * np.exp(0.5 * exponent)
    odds = 0.3 * (total * prior).sum() / (0.7 * (alone * prior).sum())
    assert found.slope_probability == pytest.approx(odds / (1 + odds), rel=1e-6)
    half = SIGMA.size
    assert found.weights[half:] / found.slope_probability == pytest.approx(weights, rel=1e-6)
    assert found.weights[:half] / (1 - found.slope_probability) == pytest.approx(without.weights, rel=1e-9)
    assert (found.mean[half:], found.sd[half:]) == (pytest.approx(mean, rel=1e-6), pytest.approx(sd, rel=1e-6))
    assert (found.mean[:half].tolist(), found.sd[:half].tolist()) == (without.mean.tolist(), without.sd.tolist())
    assert found.slope == pytest.approx((weights * mean_slope).sum(), rel=1e-6)
    assert (without.slope, without.slope_probability, without.slope_evidence) == (0.0, 0.0, None)


def test_what_ratings_say_of_the_slope_is_without_what_was_believed():
    """The broad normal under which it is worked out, of mean 0 and sd 0.3, is divided out again."""
    grid = make_grid(n_k=2, n_tau=2, n_n=1)
    sums = sums_with_slope(np.random.default_rng(6), (SIGMA.size, grid.n_nodes))
    sums = replace(sums, order_order=sums.order_order + 30, order_cross=sums.order_cross - 2)
    evidence = [
        posterior_from(sums, n_absent=0.0, grid=grid, slope=OrderSlope(probability=p, mean=m)).slope_evidence
        for p, m in ((0.1, -0.2), (0.9, 0.4))
    ]
    total, _, _, mean_slope, square = integrated(sums, OrderSlope(mean=0.0, sd=0.3))
    weights = total * np.exp(grid.log_prior) * NOISE_PRIOR[:, None]
    weights /= weights.sum()
    mean, second = (weights * mean_slope).sum(), (weights * square).sum()
    precision = 1 / (second - mean**2) - 0.3**-2
    assert evidence[0] == evidence[1]
    assert (evidence[0].mean, evidence[0].sd) == pytest.approx((mean / (second - mean**2) / precision, precision**-0.5))


@pytest.mark.parametrize(("order_order", "has_evidence"), [(0.112, True), (0.110, False), (0.0, False)])
def test_ratings_say_nothing_of_a_slope_below_a_hundredth_of_the_broad_normals_precision(order_order, has_evidence):
    grid = make_grid(n_k=2, n_tau=1, n_n=1)
    one = np.ones((SIGMA.size, grid.n_nodes))
    sums = sums_of(precision=one, order_order=one * order_order)
    evidence = posterior_from(sums, n_absent=0.0, grid=grid, slope=OrderSlope(probability=0.25)).slope_evidence
    assert evidence == (SlopeEvidence(0.0, pytest.approx(order_order**-0.5)) if has_evidence else None)


def test_mean_curve_leaves_a_slope_out_until_it_is_probable_enough():
    def with_slope(probability):
        half = np.full((SIGMA.size, 2), 0.5) / SIGMA.size
        return Posterior(
            weights=np.concatenate([(1 - probability) * half, probability * half]),
            mean=np.concatenate([np.full_like(half, 4.0), np.full_like(half, 6.0)]),
            sd=np.ones((2 * SIGMA.size, 2)),
            slope=-0.2,
        )

    doubtful, clear = with_slope(0.9), with_slope(0.99)
    assert (doubtful.slope_shown, clear.slope_shown) == (0.0, -0.2)
    assert doubtful.node_level == pytest.approx([2.0, 2.0])
    assert clear.node_level == pytest.approx([(0.01 * 4 + 0.99 * 6) / 2] * 2)
    assert doubtful.sigma == pytest.approx(SIGMA.mean())
    assert doubtful.node_weights == pytest.approx([0.5, 0.5])
    drawn = doubtful.draws(n_draws=100)
    assert (drawn.in_mean.sum(), clear.draws(n_draws=100).in_mean.all()) == (10, True)
    assert set(drawn.node) == {0, 1}


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


def test_cups_of_the_even_brew_are_those_of_each_draws_leaf():
    even = EvenBrew(leaf_g=5, kettle_c=95, contact_s=20, rinse_s=5)
    draws = CurveDraws(node=np.array([0, 7, GRID.n_nodes - 1, 200]), level=np.ones(4))
    brew = even.brew(infusions=4)
    steeping = steeping_of(brew, brew.pours)
    exact = draws.even_cups(even, infusions=4, rate=RateError(), grid=GRID)
    assert exact == pytest.approx(cup_strength(steeping, grid=GRID)[draws.node, -4:])

    # each draw has its own error of k, along a lattice with the step sqrt(2) - 1
    errors = [0.1 + 0.3 * norm.ppf((0.5 + i * (np.sqrt(2) - 1)) % 1) for i in range(4)]
    found = draws.even_cups(even, infusions=4, rate=RateError(mean=0.1, sd=0.3), grid=GRID)
    for cups, node, error in zip(found, draws.node, errors, strict=True):
        scaled = replace(GRID, k_per_min=GRID.k_per_min * np.exp(error))
        assert cups == pytest.approx(cup_strength(steeping, grid=scaled)[node, -4:])


def test_posterior_on_some_nodes_forgets_the_others():
    whole = Posterior(weights=np.array([[0.1, 0.2, 0.3, 0.4]]), mean=np.arange(4.0)[None], sd=np.arange(1.0, 5.0)[None])
    found = whole.on(np.array([1, 3]))
    assert found.weights == pytest.approx(np.array([[1 / 3, 2 / 3]]))
    assert (found.mean.tolist(), found.sd.tolist()) == ([[1, 3]], [[2, 4]])


def test_scale_of_a_team_that_has_all_tasted_is_surer_than_of_one_with_many_others():
    def of_teams(*sizes):
        sessions = [replace(tasted_of([5, 6, 6, 5, 4], taster=str(i)), n_tasters=n) for i, n in enumerate(sizes)]
        return fit(sessions, grid=GRID)

    all_of_two, of_sixty = of_teams(2, 2), of_teams(60, 60)
    assert all_of_two.draws().cups(CUPS).std(axis=0)[2] < of_sixty.draws().cups(CUPS).std(axis=0)[2]
    assert of_teams(None, 2).weights == pytest.approx(all_of_two.weights)  # a session from before a taster joined
    assert of_teams(2, 60).weights == pytest.approx(of_sixty.weights)


def test_each_attribute_has_the_slope_that_is_believed_of_it():
    sessions = [tasted_of([5, 6, 6, 5, 4])]
    slopes = {"strength": OrderSlope(probability=0.25, mean=-0.15, sd=0.04)}
    found = fit_all({"strength": sessions, "sweetness": sessions}, grid=GRID, slopes=slopes)
    assert 0.1 < found["strength"].slope_probability < 0.9
    assert found["sweetness"].slope_probability == 0.0


def test_session_that_a_known_slope_explains_is_no_outlier():
    """Seven sessions, and one with forty other cups in between, each of which takes 0.15 points."""
    ratings = np.array([8.0, 9.6, 9.7, 9.7, 9.6, 9.0])
    sessions = [tasted_of(ratings - 0.15 * np.arange(6), taster=str(i)) for i in range(7)]
    order = np.array([0.0, 1, 2, 43, 44, 45])
    sessions.append(replace(tasted_of(ratings - 0.15 * order, taster="late"), order=order))
    known = {"": OrderSlope(probability=0.9999, mean=-0.15, sd=0.001)}
    found = fit_all({"": sessions}, grid=GRID, slopes=known)[""]
    assert (found.slope_shown, found.outliers) == (pytest.approx(-0.15, abs=0.005), ())
    unknown = [replace(one, order=np.arange(6.0)) for one in sessions]
    assert fit_all({"": unknown}, grid=GRID, slopes=known)[""].outliers == (7,)


def test_scale_held_to_the_team_is_another_posterior_than_a_free_one():
    sessions = [tasted_of([5, 6, 6, 5, 4], taster=name) for name in ("ann", "ben")]
    free, centred = fit(sessions, grid=GRID, centre_on_team=False), fit(sessions, grid=GRID)
    assert free.draws().cups(CUPS).std(axis=0)[2] > centred.draws().cups(CUPS).std(axis=0)[2]
    assert fit_all({"": sessions}, grid=GRID, centre_on_team=False)[""].weights == pytest.approx(free.weights)
