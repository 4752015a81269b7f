import json
from dataclasses import replace

import numpy as np
import pytest

from tastings.answers.comparison import comparison_answer
from tastings.figures import to_stored
from tastings.maths.brewing.brews import RatingError, TasterScale
from tastings.maths.brewing.even_brew import BOILING
from tastings.maths.brewing.extraction import default_grid
from tastings.maths.comparison.side_by_side import STRENGTH_DIFFERENCE_SD, compare, draw_sides
from tastings.maths.curve.endings import FinishLine
from tastings.maths.curve.evidence import prepare_sessions
from tastings.wording.development import development_cautions
from tests.maths.brewed import brew_of, pour_of

LASTING = (6.0, 6.5, 6.5, 6.0, 6.0, 5.5, 5.5, 5.0, 4.5, 4.0)
FADING = (8.0, 7.0, 4.5, 3.0, 2.0, 1.0, 0.5)


def sessions(name, shape, *, tasters=("ann", "ben", "cat"), lift=0.0, **changed):
    return [
        brew_of(f"{name} {i}", taster=taster, strength=np.clip(np.array(shape) + lift, 0, 10), **changed)
        for i, taster in enumerate(tasters)
    ]


def pair_of(first, second, **known):
    return compare({"first": first, "second": second}, rated=["strength"], **known).pairs[0]


def test_lot_that_holds_on_outlasts_one_that_fades():
    pair = pair_of(sessions("a", LASTING), sessions("b", FADING))
    assert pair.outlasts > 0.95
    assert pair.outlasted < 0.03
    assert pair.more("strength") > 0.95


def test_swapping_the_groups_swaps_the_answer():
    first, second = sessions("a", LASTING), sessions("b", FADING[:5], tasters=("ann", "dan"))
    one, other = pair_of(first, second), pair_of(second, first)
    assert (one.outlasts, one.outlasted) == pytest.approx((other.outlasted, other.outlasts))
    assert one.more("strength") == pytest.approx(1 - other.more("strength"), abs=0.01)
    assert one.differences[0].low == pytest.approx(-other.differences[0].high, abs=0.03)


def test_group_against_itself_is_undecided():
    same = sessions("a", LASTING)
    pair = pair_of(same, same)
    assert pair.more("strength") == pytest.approx(0.5, abs=0.01)
    assert pair.outlasts == pytest.approx(pair.outlasted)
    assert pair.differences[0].mean == pytest.approx(0.0, abs=0.02)


def test_one_generous_taster_of_both_tells_them_apart_better_than_two_strangers():
    # A taster's own scale cancels between two lots; that of two people who each tasted one of them does not.
    shared = pair_of(sessions("a", LASTING, tasters=["ann"], lift=1.0), sessions("b", LASTING, tasters=["ann"]))
    separate = pair_of(sessions("a", LASTING, tasters=["ann"], lift=1.0), sessions("b", LASTING, tasters=["ben"]))
    assert (shared.shared_tasters, separate.shared_tasters) == (1, 0)
    assert shared.more("strength") > separate.more("strength") + 0.05


def test_tasters_of_one_side_are_not_taken_for_the_whole_team():
    # Each has come three times, so within a side they look like all there are; against each other both sides cannot be.
    grid = default_grid()
    even = BOILING.cups(grid, infusions=8)

    def width(second):
        groups = [
            prepare_sessions(sessions(name, LASTING, tasters=tasters * 3), grid=grid, scales={})[0]
            for name, tasters in (("a", ("ann", "ben")), ("b", second))
        ]
        of_first, of_second = draw_sides(groups[0], groups[1], key="strength").means(even)
        return np.ptp(np.quantile(of_first[:, None] - of_second, (0.1, 0.9)))

    # Four unknown shifts of 0.5 and gains of 15 % of about 6 points, two a side, are left in: 80 % is 2.56 sd wide.
    assert width(("cat", "dan")) > 2.56 * (0.25 + (0.15 * 5.5) ** 2) ** 0.5 * 0.85
    assert width(("ann", "ben")) < 0.6 * width(("cat", "dan"))


def test_liking_is_compared_over_as_many_cups_as_may_be_worth_drinking():
    # Liking falls from cup to cup, so not knowing how many cups count leaves open how much each lot is liked.
    def width(**line):
        lots = [
            [
                brew_of(
                    f"{name} {taster}",
                    taster=taster,
                    pours=[pour_of(n, strength=r, liking=9.0 - n) for n, r in enumerate(strengths, start=1)],
                )
                for taster in ("ann", "ben")
            ]
            for name, strengths in (("a", LASTING[:7]), ("b", FADING))
        ]
        pair = compare({"first": lots[0], "second": lots[1]}, rated=[], **line).pairs[0]
        found = next(row for row in pair.differences if row.descriptor == "liking")
        return found.high - found.low

    assert width(line=FinishLine(mean=4.5, sd=0.1)) > width(line=FinishLine(mean=0.3, sd=0.1))


@pytest.mark.parametrize(
    ("first", "second"),
    [
        (("ann",), ("ann", "ben", "cat")),
        (("ann", "ann"), ("ann", "ben")),
        (("ann", "ben"), ("ben", "cat")),
        (("ann",), ("ben",)),
    ],
)
def test_difference_is_as_uncertain_as_by_generalized_least_squares(first, second):
    """Aitken 1935, Proceedings of the Royal Society of Edinburgh 55:42: covariance of the sessions' means decides."""
    grid, cup = default_grid(), sum(LASTING) / len(LASTING)
    even = BOILING.cups(grid, infusions=8)
    groups = [
        prepare_sessions(sessions(name, LASTING, tasters=tasters), grid=grid, scales={})[0]
        for name, tasters in (("a", first), ("b", second))
    ]
    found = [means.std() for means in draw_sides(*groups, key="strength").means(even)]
    tasters = np.array([*first, *second])
    side = np.repeat(np.eye(2), (len(first), len(second)), axis=0)
    own = 0.5**2 / len(LASTING) + 0.15**2 + (0.05 * cup) ** 2
    scale = 0.5**2 + (0.15 * cup) ** 2
    covariance = own * np.eye(tasters.size) + scale * (tasters[:, None] == tasters)
    means = np.linalg.inv(side.T @ np.linalg.solve(covariance, side))

    assert np.hypot(*found) == pytest.approx(np.sqrt([1, -1] @ means @ [1, -1]), rel=0.08)


@pytest.mark.parametrize("second", [("ann",), ("ben",)])
def test_difference_shrinks_as_a_normal_one_with_a_normal_prior(second):
    """Gelman and others 2013, Bayesian Data Analysis, 3rd edition, section 2.5: precisions add up."""
    grid = default_grid()
    lots = sessions("a", LASTING, tasters=["ann"], lift=1.0), sessions("b", LASTING, tasters=second)
    groups = [prepare_sessions(lot, grid=grid, scales={})[0] for lot in lots]
    means = draw_sides(*groups, key="strength").means(BOILING.cups(grid, infusions=8))
    variance = sum(side.var() for side in means)
    share = STRENGTH_DIFFERENCE_SD**2 / (STRENGTH_DIFFERENCE_SD**2 + variance)

    found = pair_of(*lots).differences[0]
    assert found.mean == pytest.approx(share * (means[0].mean() - means[1].mean()), rel=0.08)
    assert found.high - found.low == pytest.approx(2.56 * (share * variance) ** 0.5, rel=0.08)


def test_uneven_shares_of_shared_tasters_widen_the_difference():
    grid = default_grid()

    def spread(first, second):
        groups = [
            prepare_sessions(sessions(name, LASTING, tasters=t), grid=grid, scales={})[0] for name, t in (first, second)
        ]
        return draw_sides(groups[0], groups[1], key="strength").spread

    assert spread(("a", ["ann", "ben"]), ("b", ["ben", "ann"])) == 0.0
    uneven = spread(("a", ["ann", "ann", "ann", "ben"]), ("b", ["ann", "ben", "ben", "ben"]))
    # Shares differ by a half for each of two tasters whose scale is uncertain by 0.5 points and 15 % of a cup.
    cup = sum(LASTING) / len(LASTING)
    assert uneven == pytest.approx(0.5 * 2**0.5 * (0.25 + (0.15 * cup) ** 2) ** 0.5, rel=0.02)


def test_uneven_shares_leave_open_who_outlasts():
    shorter = [rating - 1.0 for rating in LASTING]

    def outlasts(first, second):
        pair = pair_of(sessions("a", LASTING, tasters=first), sessions("b", shorter, tasters=second))
        return pair.outlasts / (pair.outlasts + pair.outlasted)  # as many are left aside

    even = outlasts(("ann", "ann", "ben", "ben"), ("ann", "ann", "ben", "ben"))
    assert 0.5 < outlasts(("ann", "ann", "ann", "ben"), ("ann", "ben", "ben", "ben")) < even - 0.02


def test_scale_known_by_descriptor_is_used():
    loud = {"strength": {"ann": TasterScale(gain=1.0, offset=2.0, gain_sd=0.02, offset_sd=0.05)}}
    first, second = sessions("a", LASTING, tasters=["ann"], lift=2.0), sessions("b", LASTING, tasters=["ben"])
    # Small differences are likelier, so the two points between unknown tasters count for less than one.
    assert 0.5 < pair_of(first, second).differences[0].mean < 1.0
    assert pair_of(first, second, scales=loud).differences[0].mean == pytest.approx(0.0, abs=0.25)


def test_cooler_pot_is_not_taken_for_a_weaker_lot():
    pours = [pour_of(n, strength=r - 0.6, kettle_c=88.0) for n, r in enumerate(LASTING, start=1)]
    plain = sessions("a", LASTING, tasters=["ann"])
    cool = pair_of(plain, [brew_of("b", taster="ann", pours=pours)]).differences[0].mean
    hot = pair_of(plain, sessions("b", LASTING, tasters=["ann"], lift=-0.6)).differences[0].mean
    assert cool < hot - 0.3


def test_finish_line_of_the_team_is_used():
    groups = {"first": sessions("a", LASTING), "second": sessions("b", FADING)}
    low, high = (compare(groups, rated=[], line=FinishLine(mean=mean, sd=0.2)) for mean in (1.0, 5.0))
    for name in groups:
        assert low.groups[name].steeps.recommended > high.groups[name].steeps.recommended


def test_groups_without_ratings_in_common_say_so():
    liked = [brew_of("b", pours=[pour_of(1, liking=5)])]
    pair = pair_of(sessions("a", LASTING), liked)
    assert (pair.outlasts, pair.outlasted, pair.more("strength"), pair.more("liking")) == (None, None, None, None)
    assert pair_of([], []).differences == ()


def test_every_pair_of_three_groups_is_compared_and_written_in_plain_types():
    groups = {name: sessions(name, LASTING, tasters=["ann"]) for name in ("porcelain", "unglazed_clay", "glass")}
    found = to_stored(comparison_answer(compare(groups, rated=["sweetness"])))
    assert [(one["first"], one["second"]) for one in found["pairs"]] == [
        ("porcelain", "unglazed_clay"), ("porcelain", "glass"), ("unglazed_clay", "glass"),
    ]  # fmt: skip
    assert list(found) == ["level", "first_infusions", "one_even_brew", "groups", "pairs"]
    assert list(found["groups"][0]) == ["name", "evidence", "profile", "steeps", "curves", "cautions"]
    assert list(found["pairs"][0]) == ["first", "second", "shared_tasters", "probability", "differences"]
    assert list(found["pairs"][0]["probability"]) == ["outlasts", "outlasted", "stronger", "liked_more"]
    assert list(found["pairs"][0]["differences"][0]) == ["descriptor", "mean", "low", "high", "probability_more"]
    json.dumps(found, allow_nan=False)


def test_curves_that_do_not_follow_extraction_are_compared_as_shown():
    late = (1.0, 1.0, 1.0, 1.0, 1.0, 1.0, 9.0, 9.0)
    first = sessions("a", late, tasters=("ann", "ben", "cat", "dan"))
    found = compare({"first": first, "second": sessions("b", LASTING)}, rated=[])
    shown = [np.mean([p.mean for p in one.curves[0].points[:8]]) for one in found.groups.values()]
    assert "smooth of the adjusted ratings" in " ".join(development_cautions(found.groups["first"]))
    # a fifth smaller, since lots mostly differ less
    assert found.pairs[0].differences[0].mean == pytest.approx(0.78 * (shown[0] - shown[1]), abs=0.08)


def test_impossible_rating_is_refused():
    with pytest.raises(RatingError):
        compare({"a": [brew_of("s", strength=[11.0])]}, rated=[])


def test_answer_does_not_depend_on_the_order_of_sessions():
    first, second = sessions("a", LASTING), sessions("b", FADING, tasters=("ben", "dan"))
    again = pair_of(first[::-1], [replace(one) for one in second[::-1]])
    assert again == pair_of(first, second)
