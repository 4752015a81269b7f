"""Figures of the panel on tables made so that the answer is known."""

import numpy as np
import pytest
from scipy.stats import f_oneway, pearsonr

from tastings.maths.panel.agreement import concordance, intraclass
from tastings.maths.panel.panel import Rated, panel

LOTS = ["a", "b", "c", "d"]


def table(*, noise_sd=0.0, sessions=2, seed=1, bias=(0.0, 0.5, -0.5)):
    """Ratings of three tasters, each of every lot in two sessions of four infusions."""
    rng = np.random.default_rng(seed)
    levels = dict(zip(LOTS, (3.0, 5.0, 6.0, 8.0), strict=True))
    return [
        Rated(
            lot=lot,
            session=f"{lot}{taster}{session}",
            taster=f"t{taster}",
            infusion=infusion,
            adjusted=levels[lot] + bias[taster] + rng.normal(0, noise_sd),
            curve=levels[lot],
        )
        for lot in LOTS
        for taster in range(3)
        for session in range(sessions)
        for infusion in range(1, 5)
    ], levels


def test_tasters_without_noise_agree_repeat_and_tell_lots_apart():
    ratings, levels = table()
    found = panel(ratings, levels=levels)
    assert [one.taster for one in found.tasters] == ["t0", "t1", "t2"]
    for one in found.tasters:
        assert (one.sessions, one.lots) == (8, 4)
        assert one.repeatability_sd == pytest.approx(0)
        assert one.agreement == pytest.approx(1)
        assert one.discrimination_p < 1e-6
    assert (found.agreement.lots, found.agreement.w, found.agreement.mean) == (4, pytest.approx(1), pytest.approx(1))
    assert found.agreement.single < 1  # levels count in ICC(2,1)


def test_figures_equal_those_of_the_reference_library_on_the_same_table():
    # SciPy's one-way analysis of variance and correlation, and our published forms of ICC and W, on the same means
    ratings, levels = table(noise_sd=1.0)
    found = panel(ratings, levels=levels)
    means = np.array(
        [
            [
                [
                    np.mean([r.adjusted for r in ratings if (r.lot, r.session) == (lot, f"{lot}{t}{s}")])
                    for s in range(2)
                ]
                for t in range(3)
            ]
            for lot in LOTS
        ]
    )
    cells = means.mean(axis=2)
    assert found.tasters[1].discrimination_p == pytest.approx(f_oneway(*means[:, 1, :]).pvalue)
    others = cells[:, [0, 2]].mean(axis=1)
    assert found.tasters[1].agreement == pytest.approx(pearsonr(cells[:, 1], others).statistic)
    assert found.agreement.single == pytest.approx(intraclass(cells).two_way)
    assert found.agreement.mean == pytest.approx(intraclass(cells).fixed_mean)
    assert found.agreement.w == pytest.approx(concordance(cells))


def test_repeatability_finds_the_noise_that_was_put_in():
    ratings, levels = table(noise_sd=0.8, sessions=40)
    assert panel(ratings, levels=levels).tasters[0].repeatability_sd == pytest.approx(0.8, rel=0.1)


def test_too_little_says_none_rather_than_guess():
    ratings, levels = table(sessions=1)
    one_lot = [r for r in ratings if r.lot == "a"]
    found = panel(one_lot, levels=levels)
    assert all(
        (one.repeatability_sd, one.agreement, one.discrimination_p) == (None, None, None) for one in found.tasters
    )
    assert (found.agreement.single, found.agreement.w) == (None, None)
    assert panel([], levels={}).tasters == ()


def test_the_largest_table_without_gaps_is_used():
    ratings, levels = table(noise_sd=0.5)
    gaps = [r for r in ratings if not (r.taster == "t2" and r.lot in "cd")]
    assert panel(gaps, levels=levels).agreement.tasters == ("t0", "t1")
