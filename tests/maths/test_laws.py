"""Laws of the whole method, on tastings that it does not assume (``benchmarks/worlds.py``)."""

import math
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.curves import label_moved
from benchmarks.worlds import draw_leaf, draw_session, draw_team
from tastings.maths.brewing.brews import RatingError
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.comparison.side_by_side import compare
from tastings.maths.guide.plan import PotRequest, brew_guide
from tastings.maths.panel.calibration import calibrate
from tests.examples import examples
from tests.maths.brewed import brew_of, developed, pour_of

outside = st.one_of(
    st.just(math.nan), st.floats(max_value=0, exclude_max=True), st.floats(min_value=10, exclude_min=True)
)


def world(start, *, n_sessions):
    rng = np.random.default_rng([17, start])
    leaf, table = draw_leaf(rng), draw_team(rng)
    return [draw_session(leaf, table, number=i, rng=rng) for i in range(n_sessions)]


def width(brews):
    return sum(point.high - point.low for point in developed(brews).curves[0].points)


@settings(max_examples=examples(10, of=25))
@given(st.integers(0, 1000), st.permutations(range(4)))
def test_order_of_sessions_changes_no_figure(start, order):
    brews = world(start, n_sessions=4)
    assert developed([brews[i] for i in order]) == developed(brews)


def test_more_evidence_narrows_the_interval_on_average():
    lots = [world(start, n_sessions=9) for start in range(examples(8, of=20))]
    mean = [np.mean([width(brews[:n]) for brews in lots]) for n in (1, 2, 3, 5, 7, 9)]
    assert mean == sorted(mean, reverse=True)
    assert mean[-1] < 0.5 * mean[0]


def test_one_session_of_all_tens_moves_fewer_than_one_label_in_twenty():
    moved = [label_moved(sessions=8, rng=np.random.default_rng([18, lot])) for lot in range(examples(20, of=60))]
    assert np.mean(moved) < 0.05


@settings(max_examples=examples(12, of=30))
@given(rating=outside, infusion=st.integers(1, 4))
def test_no_rating_off_the_scale_gets_in_anywhere(rating, infusion):
    ratings = dict.fromkeys(range(1, 5), 5.0) | {infusion: rating}
    brew = brew_of("s", pours=[pour_of(number, strength=strength) for number, strength in ratings.items()])
    good = brew_of("t", strength=[5, 5, 5, 5])
    pot = PotRequest(leaf_g=5.0, vessel_ml=110.0, kettle_c=100.0)
    for entry in (
        lambda: developed([good, brew]),
        lambda: calibrate({"lot": [good, brew]}),
        lambda: brew_guide([good, brew], pot=pot),
        lambda: compare({"one": [good], "two": [brew]}, rated=[]),
    ):
        with pytest.raises(RatingError):
            entry()


@settings(max_examples=examples(20, of=40))
@given(factor=st.floats(0.3, 8.0), steep_s=st.floats(3, 90))
def test_leaf_and_water_scaled_together_leave_the_cup(factor, steep_s):
    small = brew_of("s", pours=[pour_of(n, steep_s=steep_s, water_ml=100.0, strength=5) for n in range(1, 6)])
    large = replace(
        small,
        leaf_g=small.leaf_g * factor,
        vessel_ml=small.vessel_ml * factor,
        pours=tuple(replace(pour, water_ml=(pour.water_ml or 110.0) * factor) for pour in small.pours),
    )
    one, other = steeping_of(small, small.pours), steeping_of(large, large.pours)
    assert other.ratio == pytest.approx(one.ratio, rel=1e-12)
    assert np.array_equal(other.contact_s, one.contact_s)
    # A bigger pot only keeps its heat a little better.
    assert np.all((other.rate - one.rate) * (factor - 1) >= -1e-9)
