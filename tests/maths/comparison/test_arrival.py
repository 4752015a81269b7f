from uuid import UUID

import numpy as np
import pytest

from tastings.answers.arrival import arrival_answer
from tastings.figures import to_stored
from tastings.maths.brewing.brews import RatingError, TasterScale
from tastings.maths.comparison.arrival import check_arrival, holm
from tastings.queries.arrivals import LotArrival
from tastings.wording.arrival import next_tasting, reason
from tests.examples import examples
from tests.maths.brewed import brew_of, pour_of

RATED = ("strength", "sweetness", "bitterness")
TEA = {"strength": 6.0, "sweetness": 4.0, "bitterness": 3.0}
SHAPE = np.array([0.85, 1.0, 1.05, 1.0, 0.95, 0.9, 0.8, 0.7])


def session(name, tea, *, taster="ann", chance=None, offset=0.0):
    """Return an even brew of eight cups; with ``chance`` rated with noise, a shift and a gain of the day."""
    ratings = {key: level * SHAPE + offset for key, level in tea.items()}
    if chance is not None:
        for key, cups in ratings.items():
            day = cups * chance.normal(1, 0.08) + chance.normal(0, 0.2)
            ratings[key] = np.round(2 * (day + chance.normal(0, 0.75, cups.size))) / 2
    pours = [
        pour_of(n, **{key: float(np.clip(cups[n - 1], 0, 10)) for key, cups in ratings.items()})
        for n in range(1, SHAPE.size + 1)
    ]
    return brew_of(name, taster=taster, pours=pours)


def sessions(name, tea, *, n=3, tasters=("ann", "ben", "cat"), **known):
    return [session(f"{name} {i}", tea, taster=tasters[i % len(tasters)], **known) for i in range(n)]


def test_same_tea_tasted_often_enough_is_the_same():
    found = check_arrival(sessions("s", TEA, n=6), sessions("a", TEA, n=6), rated=RATED)
    assert found.verdict == "same"
    assert all(one.within and not one.different for one in found.compared)
    assert reason(found) == (
        "Same as the sample in all 3 descriptors compared: a difference of 1.5 points or more is ruled out."
    )
    assert next_tasting(found) == "No further tasting is needed to settle this."


def test_other_tea_differs_in_what_it_differs_in():
    found = check_arrival(sessions("s", TEA), sessions("a", {**TEA, "bitterness": 6.5}), rated=RATED)
    assert found.verdict == "different"
    assert [one.descriptor for one in found.compared if one.different] == ["bitterness"]
    assert found.compared[2].difference == pytest.approx(3.5 * SHAPE.mean(), abs=0.4)
    assert found.compared[2].low < found.compared[2].difference < found.compared[2].high
    assert reason(found).startswith("Different from the sample: bitterness 3.")
    assert reason(found).endswith(" points more.")


def test_one_session_each_cannot_tell_and_says_what_it_could_have_seen():
    found = check_arrival([session("s", TEA)], [session("a", TEA, taster="dan")], rated=RATED)
    assert found.verdict == "cannot_tell"
    assert max(one.detectable for one in found.compared) > 1.5
    assert "only a difference of about" in reason(found)
    assert next_tasting(found).startswith("About ")
    assert int(next_tasting(found).split()[1]) > 1


def test_strangers_see_less_than_the_same_tasters():
    own = check_arrival(sessions("s", TEA), sessions("a", TEA), rated=RATED)
    other = check_arrival(sessions("s", TEA), sessions("a", TEA, tasters=("dan", "eve", "fay")), rated=RATED)
    assert (own.shared_tasters, other.shared_tasters) == (3, 0)
    for mine, theirs in zip(own.compared, other.compared, strict=True):
        assert mine.detectable < theirs.detectable


def test_known_scale_of_a_generous_taster_is_no_difference():
    sample = sessions("s", TEA, tasters=["ann"])
    arrived = [session(f"a {i}", {"strength": 6.0}, taster="dan", offset=2.5) for i in range(3)]
    known = {"strength": {"dan": TasterScale(offset=2.5, offset_sd=0.1, gain_sd=0.03)}}
    assert check_arrival(sample, arrived, rated=["strength"]).compared[0].difference > 1.5
    assert check_arrival(sample, arrived, rated=["strength"], scales=known).compared[0].difference == pytest.approx(
        0, abs=0.4
    )


def test_one_tea_is_seldom_called_two():
    # At 5 % of 16 less than one is expected; more than three would come once in a hundred such tests.
    chance = np.random.default_rng(31)
    called, trials = 0, examples(16, of=40)
    for _ in range(trials):
        tea = dict(zip(RATED, chance.uniform(2, 8, 3), strict=True))
        sides = [sessions(name, tea, n=2, chance=chance) for name in ("s", "a")]
        called += check_arrival(*sides, rated=RATED).verdict == "different"
    assert called <= 0.15 * trials + 1


def test_difference_of_the_detectable_size_is_found_in_about_four_of_five():
    chance = np.random.default_rng(32)
    found, trials = 0, examples(12, of=24)
    for _ in range(trials):
        arrived = {**TEA, "sweetness": 4.0 + 1.15 / SHAPE.mean()}
        one = check_arrival(
            sessions("s", TEA, n=4, chance=chance), sessions("a", arrived, n=4, chance=chance), rated=RATED
        ).compared[1]
        # The difference made is the one that these sessions say they could see, give or take a third.
        assert one.detectable == pytest.approx(1.15, rel=0.35)
        found += one.different
    assert found >= 0.58 * trials


def test_more_descriptors_ask_for_more():
    alone = check_arrival(sessions("s", TEA), sessions("a", TEA), rated=["strength"])
    among = check_arrival(sessions("s", TEA), sessions("a", TEA), rated=RATED)
    assert among.compared[0].detectable > alone.compared[0].detectable
    assert among.compared[0].difference == alone.compared[0].difference


def test_descriptors_rated_on_one_side_only_are_named():
    found = check_arrival(sessions("s", TEA), sessions("a", {"strength": 6.0}), rated=[*RATED, "aroma"])
    assert found.not_compared == ("sweetness", "bitterness", "aroma")
    assert [one.descriptor for one in found.compared] == ["strength"]


@pytest.mark.parametrize(("sample", "arrived"), [([], []), (sessions("s", TEA), []), ([], sessions("a", TEA))])
def test_nothing_on_one_side_cannot_tell(sample, arrived):
    found = check_arrival(sample, arrived, rated=RATED)
    assert (found.verdict, found.compared, found.not_compared) == ("cannot_tell", (), RATED)
    assert next_tasting(found).startswith("Rate the same descriptors")


def test_zero_ratings_on_both_sides_are_alike():
    none = {**TEA, "bitterness": 0.0}
    assert check_arrival(sessions("s", none), sessions("a", none), rated=RATED).compared[2].p > 0.9


def test_answer_has_its_names():
    found = check_arrival(sessions("s", TEA), sessions("a", TEA), rated=RATED)
    answer = to_stored(arrival_answer(LotArrival(UUID(int=1), UUID(int=2), found, ())))

    assert list(answer) == [
        "lot", "sample", "verdict", "reason", "alpha", "noticeable", "level", "first_infusions", "sessions",
        "shared_tasters", "descriptors", "not_compared", "next", "triangle_tests",
    ]  # fmt: skip
    assert list(answer["descriptors"][0]) == [
        "descriptor", "sample", "arrived", "difference", "low", "high", "p", "p_adjusted", "different", "detectable",
        "within_noticeable",
    ]  # fmt: skip
    assert answer["sessions"] == {"sample": 3, "arrived": 3}


def test_order_of_sessions_changes_nothing():
    sample, arrived = sessions("s", TEA), sessions("a", {**TEA, "sweetness": 5.0})
    assert check_arrival(sample[::-1], arrived[::-1], rated=RATED) == check_arrival(sample, arrived, rated=RATED)


def test_holm_is_no_laxer_than_bonferroni_of_the_smallest_and_no_stricter_for_the_others():
    p = [0.02, 0.001, 0.5, 0.013]
    adjusted = holm(p)
    assert adjusted[1] == pytest.approx(4 * 0.001)
    assert all(one <= min(1.0, 4 * raw) for one, raw in zip(adjusted, p, strict=True))
    assert holm([]) == []
    assert holm([0.7, 0.7]) == [1.0, 1.0]


def test_impossible_rating_is_refused():
    with pytest.raises(RatingError):
        check_arrival([brew_of("s", strength=[11.0])], [], rated=RATED)
