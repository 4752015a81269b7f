"""How long a roast rests: usual rests, and liking that overcomes them."""

from datetime import date, timedelta
from math import log10

import pytest

from tastings.maths.brewing.brews import TasterScale
from tastings.maths.roast.readiness import readiness
from tastings.maths.roast.rest import USUAL_REST_DAYS, fit_rest, liked_roast
from tastings.wording.readiness import reason
from tests.maths.roast.test_fading import value
from tests.maths.roast.test_readiness import ROASTED, tasting

CALIBRATED = TasterScale(gain_sd=0.01, offset_sd=0.01)


def found_for(*tastings, today, degree="medium", level=4.0):
    return readiness(tastings, roasted_on=ROASTED, today=ROASTED + timedelta(days=today), level=level, degree=degree)


@pytest.mark.parametrize("degree", USUAL_REST_DAYS)
def test_usual_rest_stands_while_liking_says_nothing(degree):
    """Usual rests are common practice, no source: one in ten rests less than the shortest, one in ten more than the
    longest."""
    shortest, longest = USUAL_REST_DAYS[degree]
    rest = fit_rest((), degree=degree)
    assert rest.rested_by(shortest * 0.3) < 0.2
    assert rest.rested_by(longest * 1.5) > 0.85
    assert rest.rested_by(shortest * 0.6) < 0.5 < rest.rested_by(longest)


def test_waiting_makes_more_than_a_third_of_the_teas_worse_while_nothing_was_tasted():
    """Own value."""
    assert fit_rest((), degree="medium").probability_falling == pytest.approx(0.38, abs=0.02)


@pytest.mark.parametrize(
    ("missing", "rested"),
    [(lambda part: max(1 - part, 0.0), 1 - 0.25 / 2), (lambda part: 10**-part, log10(2 / 0.25))],
    ids=["on a straight line", "ever more slowly"],
)
def test_rest_is_found_whichever_way_liking_rises(missing, rested):
    # Two points to gain, in 60 days of a rest between 30 and 60: rested when a quarter of a point is missing.
    days = range(0, 150, 3)
    liking = [value(day, 7.0 - 2.0 * missing(day / 60), scale=CALIBRATED, variance=0.01) for day in days]
    rest = fit_rest(liking, degree="medium")
    assert rest.rested_by(rested * 60 - 12) < 0.15
    assert rest.rested_by(rested * 60 + 12) > 0.85


def test_medium_roast_is_not_ready_the_day_it_left_the_fire():
    found = found_for(tasting(0, 2.0, liking=6.0), today=0)
    assert (found.verdict, found.basis) == ("resting", "usual_rest")
    assert "30 to 60 days, and this is day 0" in reason(found)


def test_untasted_roast_rests_as_usual_and_then_asks_for_a_tasting():
    assert found_for(today=5).verdict == "resting"
    assert (found_for(today=300).verdict, found_for(today=300).basis) == ("cannot_tell", "not_rated")


def test_liking_that_still_rises_says_resting_though_the_fire_is_low():
    rising = [tasting(day, 2.0, liking=4.0 + day / 15, taster=t) for day, t in ((3, "a"), (18, "b"), (33, "a"))]
    found = found_for(*rising, today=34)
    assert found.under > 0.8
    assert found.rested < 0.7
    assert found.verdict != "ready"
    assert found.liking.probability_rising > 0.95


def test_liking_that_no_longer_rises_overcomes_the_usual_rest():
    flat = [tasting(day, 2.0, liking=7.0, taster=taster) for day in (1, 8, 16, 24, 30) for taster in "abc"]
    usual, liked = found_for(tasting(1, 2.0), tasting(20, 2.0, taster="b"), today=30), found_for(*flat, today=30)
    assert liked.rested > usual.rested + 0.2


def test_liking_that_falls_says_drink_it_now():
    falling = [
        tasting(day, 7.0, liking=8.0 - day / 30, taster=t) for day, t in ((5, "a"), (40, "b"), (80, "a"), (120, "b"))
    ]
    found = found_for(*falling, today=130, degree="dark")
    assert (found.verdict, found.basis) == ("ready", "liking_falls")
    assert reason(found).startswith("Drink it now: with ")
    assert found.under < 0.2  # the fire alone would have said: still resting


def test_sessions_that_differ_in_roast_make_liking_less_certain_too():
    def falling(*roast):
        tasted = [tasting(30 * n, r, liking=7.0 - 0.4 * n, taster="a") for n, r in enumerate(roast, start=1)]
        return found_for(*tasted, today=181, degree="light").falling

    # the same likings; roast falls evenly, or jumps by a point from session to session
    assert falling(3.0, 2.8, 2.6, 2.5, 2.4, 2.3) > falling(2.0, 4.0, 1.5, 3.5, 1.0, 3.0) + 0.02


def test_date_with_an_interval_of_years_is_not_given():
    strong = [tasting(day, 7.0 - day / 100, taster=t) for day, t in ((5, "a"), (60, "b"), (110, "c"))]
    found = found_for(*strong, today=120, degree="dark", level=3.0)
    assert found.verdict == "resting"
    assert (found.expected_on, found.low_on, found.high_on) == (None, None, None)


@pytest.mark.parametrize(
    ("degree", "liked", "level"),
    [
        ("medium", (), 3.0),
        ("dark", (), 5.0),
        ("", (), 3.0),
        ("dark", ((8.0, 9.0), (8.0, 9.0)), 6.5),
        ("dark", ((8.0, 9.0), (2.0, 3.0), (2.0, 3.0), (8.0, 9.0)), 6.5),  # the better liked half
    ],
)
def test_level_is_the_one_the_team_likes_at_that_degree(degree, liked, level):
    assert liked_roast(degree, team_level=3.0, liked=liked) == level


def test_days_are_dates_from_the_roast():
    found = found_for(tasting(5, 7.5), tasting(40, 4.5, taster="ben"), tasting(90, 2.0), today=200)
    assert found.verdict == "ready"
    assert date(2026, 1, 10) < found.expected_on <= found.asked_on
    assert found.day == 200
