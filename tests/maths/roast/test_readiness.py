from datetime import date, timedelta
from uuid import UUID

import pytest

from tastings.answers.readiness import readiness_answer
from tastings.figures import to_stored
from tastings.maths.brewing.brews import RatingError
from tastings.maths.roast.readiness import DatedBrew, ReadinessError, readiness
from tastings.wording.readiness import next_tasting, reason
from tests.maths.brewed import brew_of, pour_of

ROASTED = date(2026, 1, 10)


def tasting(day, roast, *, taster="ann", liking=None, infusions=8):
    """Return a session so many days after the roast whose every cup has this much of it."""
    liked = {} if liking is None else {"liking": liking}
    pours = [pour_of(n, roast=roast, **liked) for n in range(1, infusions + 1)]
    return DatedBrew(day=ROASTED + timedelta(days=day), brew=brew_of(f"day {day} {taster}", taster=taster, pours=pours))


def found_for(*tastings, today=120, level=4.0):
    return readiness(tastings, roasted_on=ROASTED, today=ROASTED + timedelta(days=today), level=level)


def answer_of(found):
    return to_stored(readiness_answer(UUID(int=1), found, level=found.level))


FADED = (tasting(5, 7.5), tasting(40, 4.5, taster="ben"), tasting(90, 2.0), tasting(110, 1.5, taster="cat"))
STRONG = (tasting(5, 8.0), tasting(40, 7.5, taster="ben"), tasting(90, 7.0), tasting(110, 7.0, taster="cat"))


def test_faded_roast_is_ready_and_the_date_lies_where_it_crossed():
    found = found_for(*FADED)
    assert found.verdict == "ready"
    assert found.probability > 0.8
    assert ROASTED + timedelta(days=20) < found.expected_on < ROASTED + timedelta(days=80)
    assert found.low_on < found.expected_on < found.high_on
    assert found.next.code == "none"
    assert next_tasting(found.next, attribute="roast").startswith("No further tasting is needed")
    assert reason(found).startswith("Ready: with")


def test_roast_that_holds_is_resting_and_no_date_is_made_up():
    found = found_for(*STRONG)
    assert found.verdict == "resting"
    assert found.probability < 0.05
    assert found.high_on is None


@pytest.mark.parametrize("tastings", [(), (tasting(30, 1.0),), (tasting(30, 1.0), tasting(34, 1.0, taster="ben"))])
def test_tastings_of_one_week_cannot_tell(tastings):
    found = found_for(*tastings)
    assert found.verdict == "cannot_tell"
    assert reason(found).startswith("Cannot tell: ")
    assert (found.expected_on, found.low_on, found.high_on) == (None, None, None)
    assert (found.probability is None) == (not tastings)


def test_level_in_the_middle_of_what_is_known_cannot_tell():
    found = found_for(tasting(5, 6.0, infusions=3), tasting(100, 4.0, infusions=3), today=105)
    assert found.verdict == "cannot_tell"
    assert 0.2 < found.probability < 0.8
    assert found.next.code in {"useful", "little"}


def test_roast_that_has_levelled_near_the_level_is_ready():
    # it fades with a half-life of 15 days towards 3.9, so after nine months nothing is left to fade
    rated = [
        tasting(day, round(3.9 + 4 * 2 ** (-day / 15), 1), taster=t)
        for day, t in zip((3, 40, 90, 200, 270), "abcab", strict=True)
    ]
    found = found_for(*rated, today=271, level=3.8)
    assert 0.2 < found.probability < 0.8
    assert (found.verdict, found.basis) == ("ready", "levelled")
    assert found.levelled > 0.8
    assert found_for(*rated[:2], today=41).basis != "levelled"
    assert found_for(*rated, today=271, level=2.0).verdict == "resting"  # it levels far above what the team likes


def test_first_tasting_is_asked_for_and_then_a_second_at_least_a_week_later():
    first, second = found_for().next, found_for(tasting(30, 6.0), today=30).next
    assert next_tasting(first, attribute="roast").startswith("Taste it and rate the roast of every infusion")
    assert next_tasting(second, attribute="roast").startswith("Taste it again about ")
    assert second.ahead_days in {7, 14, 30, 60}
    assert second.on == ROASTED + timedelta(days=30 + second.ahead_days)


def test_probability_grows_as_days_pass_without_a_tasting():
    chances = [found_for(tasting(5, 7.5), tasting(40, 5.0), today=today).probability for today in (41, 80, 160, 400)]
    assert chances == sorted(chances)
    assert chances[-1] > chances[0] + 0.2


def test_higher_level_is_reached_no_later():
    levels = [found_for(*FADED, level=level).probability for level in (0.0, 1.0, 2.0, 4.0, 8.0, 10.0)]
    assert levels == sorted(levels)
    assert levels[-1] == 0.999  # as sure as a computed statement gets


def test_tastings_before_the_roast_belong_to_an_earlier_one():
    found = found_for(tasting(-20, 1.0), *STRONG)
    assert [(one.session, one.reason) for one in found.left_out] == [("day -20 ann", "before_roast")]
    assert found.probability == found_for(*STRONG).probability


def test_liking_moves_with_the_days():
    found = found_for(*(tasting(day, 5.0, liking=4.0 + day / 30) for day in (5, 35, 65, 95)))
    assert found.liking.per_30_days == pytest.approx(1.0, abs=0.4)
    assert found.liking.probability_rising > 0.9
    assert found_for(*FADED).liking is None


def test_roast_nobody_finds_is_ready():
    # Zeros throughout leave no spread at all among the draws, and must still be weighed.
    found = found_for(tasting(5, 0.0, infusions=12), tasting(60, 0.0, taster="ben", infusions=12))
    assert found.verdict == "ready"
    assert [round(one.mean, 1) for one in found.values] == [0.0, 0.0]
    assert all(one.variance > 0 for one in found.values)


def test_order_of_sessions_changes_nothing():
    assert answer_of(found_for(*FADED[::-1])) == answer_of(found_for(*FADED))


def test_answer_has_its_names():
    found = answer_of(found_for(*FADED, tasting(100, 2.0, liking=6.0, taster="dan")))
    assert list(found) == [
        "lot", "verdict", "reason", "level", "roasted_on", "probability", "under", "rested", "expected", "today",
        "curve", "tastings",
        "liking", "next", "left_out",
    ]  # fmt: skip
    assert list(found["expected"]) == ["date", "low", "high", "level"]
    assert list(found["tastings"][0]) == ["session", "day", "date", "mean", "sd"]
    assert [one["day"] for one in found["tastings"]] == [100, 110, 40, 5, 90]  # in the order of the sessions' ids
    assert found["tastings"][-2]["date"] == "2026-01-15"
    assert found["today"]["day"] == 120
    assert found["curve"][0]["day"] == 0
    assert found["curve"][-1]["day"] == 180


def test_today_before_the_roast_is_the_day_of_the_roast():
    assert found_for(tasting(5, 6.0), today=-3).today.day == 0


def test_nothing_tasted_shows_no_curve():
    found = answer_of(found_for())
    assert [found[name] for name in ("probability", "today", "curve", "tastings", "liking")] == [
        None,
        None,
        [],
        [],
        None,
    ]


@pytest.mark.parametrize("level", [-0.1, 10.1, float("nan")])
def test_impossible_level_is_refused(level):
    with pytest.raises(ReadinessError):
        found_for(level=level)


def test_impossible_rating_is_refused():
    with pytest.raises(RatingError):
        found_for(tasting(5, 12.0))
