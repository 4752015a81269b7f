"""What the report tells of the rest after roasting."""

from dataclasses import replace
from datetime import date

import pytest

from tastings.maths.roast.fading import Trend
from tastings.maths.roast.readiness import NextRoastTasting, Readiness, RoastPoint
from tastings.queries.readiness import LotReadiness
from tastings.reports.ageing import ageing_section
from tests.tastings.reports import sample

RESTING = Readiness(
    verdict="resting",
    basis="probability",
    attribute="roast",
    level=3.0,
    degree="dark",
    roasted_on=date(2026, 2, 9),
    asked_on=date(2026, 3, 11),
    probability=0.1,
    under=0.1,
    rested=None,
    levelled=0.1,
    falling=None,
    expected_on=date(2026, 5, 1),
    low_on=date(2026, 4, 20),
    high_on=None,
    today=RoastPoint(day=30, mean=3.541, low=2.993, high=4.125),
    curve=(),
    values=(),
    liking=Trend(per_30_days=0.068, low=-0.068, high=0.204, probability_rising=0.74),
    next=NextRoastTasting("little", ahead_days=21, on=date(2026, 4, 1)),
    left_out=(),
)
READINESS = LotReadiness(sample.LOT_ID, 3.0, RESTING)
UNDATED = replace(READINESS, readiness=None)


def ageing_of(**changed):
    return ageing_section("dark", replace(READINESS, readiness=replace(RESTING, **changed)))


def test_ageing_tells_the_roast_today_and_when_it_is_expected_to_be_ready():
    assert ageing_section("dark", READINESS) == [
        "Roasted on 9 February 2026. Still resting: with 10 % probability the roast is under 3 today.",
        "Under 3, as a mean of the first eight cups of an even brew, such a tea counts as rested.",
        "Roast today, 30 days on: 3.5 (3.0 to 4.1).",
        "Expected to be ready about 1 May 2026 (not before 20 April 2026, with 90\u00a0% each).",
        "Liking changes by +0.07 points in 30 days (\u22120.07 to +0.20).",
        "No single tasting within the next two months would settle much.",
    ]


@pytest.mark.parametrize(
    ("on", "low", "high", "text"),
    [
        (date(2026, 5, 1), None, None, "Expected to be ready about 1 May 2026."),
        (
            date(2026, 5, 1),
            date(2026, 4, 20),
            date(2026, 6, 2),
            (
                "Expected to be ready about 1 May 2026 (not before 20 April 2026 and not after 2 June 2026, with"
                " 90\u00a0% each)."
            ),
        ),
        # what is past is no longer expected
        (
            date(2026, 5, 1),
            date(2026, 2, 20),
            date(2026, 6, 2),
            "Expected to be ready about 1 May 2026 (not after 2 June 2026, with 90\u00a0% each).",
        ),
        (
            date(2026, 3, 1),
            date(2026, 2, 20),
            date(2026, 6, 2),
            ("Ready since about 1 March 2026 (not before 20 February 2026, with 90\u00a0% each)."),
        ),
        (date(2026, 3, 1), None, None, "Ready since about 1 March 2026."),
    ],
)
def test_expected_day_is_told_with_the_ends_that_are_known(on, low, high, text):
    assert ageing_of(expected_on=on, low_on=low, high_on=high)[3] == text


def test_no_day_is_told_when_none_is_known():
    assert not any("ready" in sentence for sentence in ageing_of(expected_on=None, low_on=date(2026, 4, 20))[3:])


def test_ageing_leaves_out_what_is_not_known():
    assert ageing_of(today=None, expected_on=None, low_on=None, liking=None) == [
        *ageing_section("dark", READINESS)[:2],
        ageing_section("dark", READINESS)[-1],
    ]


def test_trend_of_liking_that_may_go_either_way_by_much_is_not_given_as_a_number():
    open_ = Trend(per_30_days=-0.26, low=-1.27, high=0.75, probability_rising=0.37)
    assert ageing_of(liking=open_)[4] == "Whether it is liked more or less with time is not known yet."
    assert not any("not known yet" in one for one in ageing_of(liking=open_, rested=0.99))  # no rest makes it better
    falling = Trend(per_30_days=-1.0, low=-1.5, high=-0.5, probability_rising=0.01)
    assert ageing_of(liking=falling)[4].startswith("Liking changes by \u22121.00 points")


def test_rest_that_gains_nothing_noticeable_names_the_least_gain():
    rising = Trend(per_30_days=0.08, low=0.0, high=0.17, probability_rising=0.9)
    found = ageing_of(verdict="ready", under=0.95, rested=0.995, liking=rising)
    assert found[0].endswith(
        "Ready: the roast is under 3 today with 95 % probability, and with more than 99 % probability a longer"
        " rest would not make it noticeably better liked (by less than 0.25 points)."
    )
    assert found[-2].startswith("Liking changes by +0.08 points in 30 days")


def test_wait_that_rather_makes_it_worse_is_said():
    sentence = (
        "With 74\u00a0% probability it is liked less the longer it waits once it has rested, by 0.2 points or more in"
        " 30 days."
    )
    assert sentence in ageing_of(falling=0.74)
    assert not any("the longer it waits" in one for one in ageing_of(falling=0.64))
    assert sentence not in ageing_of(falling=0.74, basis="liking_falls", verdict="ready")


def test_roast_that_no_longer_fades_is_not_waited_for():
    found = ageing_of(verdict="ready", basis="levelled", levelled=0.93)
    assert found[0].endswith(
        "Ready: with 93 % probability the roast fades by less than half a point in the next half year,"
        " so waiting changes little."
    )
    assert not any("Expected to be ready" in one for one in found)


@pytest.mark.parametrize(
    ("roast", "readiness", "n_sentences"),
    [("none", UNDATED, 0), (None, UNDATED, 0), ("dark", UNDATED, 1), ("dark", None, 0)],
)
def test_ageing_of_an_unroasted_or_undated_lot(roast, readiness, n_sentences):
    assert len(ageing_section(roast, readiness)) == n_sentences
