"""A forecast from the first cups: when it is one, and that the shares are those measured."""

import re
from pathlib import Path

import numpy as np
import pytest

from benchmarks.forecasts import RATED_TO, SESSIONS, WORLDS, one_course
from tastings.maths.forecast.course import HIT_RATES, CourseForecast, HitRates, course_forecast
from tests.examples import examples
from tests.maths.brewed import brew_of, developed

PAGE = Path(__file__).parents[3] / "docs" / "forecasts.md"


def test_shares_are_those_of_the_page():
    rows = re.findall(
        r"^\| (\d) \| (\d) \| both \| [\d.]+ \| [\d.]+ \| ([\d.]+) \| ([\d.]+) \|", PAGE.read_text(), re.MULTILINE
    )
    assert {(int(a), int(b)): HitRates(float(right), float(covered)) for a, b, right, covered in rows} == HIT_RATES
    assert HIT_RATES.keys() == {(cups, sessions) for cups in RATED_TO for sessions in SESSIONS}


@pytest.mark.parametrize(
    ("cups", "sessions", "like"), [(1, 1, (2, 1)), (3, 2, (3, 1)), (4, 3, (3, 3)), (6, 8, (5, 3)), (7, 1, (7, 1))]
)
def test_forecast_takes_the_row_of_as_many_cups_and_sessions(cups, sessions, like):
    brews = [brew_of(f"s{i}", taster=f"t{i}", strength=range(9, 9 - cups, -1)) for i in range(sessions)]
    found = developed(brews)
    right = HIT_RATES[like].course_right if found.profile.label != "undecided" else None
    assert course_forecast(found) == CourseForecast(cups, right, HIT_RATES[like].count_covered)


@pytest.mark.parametrize("strength", [(), (6.0,) * 8], ids=["unrated", "eight cups"])
def test_no_forecast_without_a_rating_or_of_a_course_that_was_seen(strength):
    assert course_forecast(developed([brew_of("s", strength=strength)])) is None


def test_no_forecast_of_a_leaf_that_was_seen_spent():
    found = developed([brew_of(f"s{i}", taster=f"t{i}", strength=(7, 5, 2, 1, 0.5)) for i in range(3)])
    assert found.steeps.high < 5
    assert course_forecast(found) is None


def test_course_and_count_are_right_as_often_as_stated():
    lots = [
        one_course(draw, sessions=1, rated_to=3, seed=[43, number, lot])
        for number, draw in enumerate(WORLDS.values())
        for lot in range(examples(16, of=40))
    ]
    assert abs(np.mean([one.is_covered for one in lots]) - HIT_RATES[3, 1].count_covered) < 0.12
    assert abs(np.mean([one.is_right for one in lots if one.is_named]) - HIT_RATES[3, 1].course_right) < 0.15
