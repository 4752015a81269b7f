import math

import pytest

from tastings.maths.brewing.brews import BrewError, RatingError, validated_brews
from tests.maths.brewed import brew_of, pour_of


@pytest.mark.parametrize("rating", [-0.1, 10.1, math.nan, math.inf, -math.inf])
def test_rating_off_the_scale_is_refused(rating):
    with pytest.raises(RatingError, match="ratings run from 0 to 10"):
        validated_brews([brew_of("s", strength=[5, rating])])


@pytest.mark.parametrize(
    "changed",
    [
        {"leaf_g": 0.0},
        {"leaf_g": math.nan},
        {"vessel_ml": -1.0},
        {"vessel_g": math.inf},
        {"room_c": math.nan},
        {"altitude_m": math.inf},
    ],
)
def test_impossible_brew_is_refused_by_name(changed):
    with pytest.raises(BrewError, match=f"session s: {next(iter(changed))}"):
        validated_brews([brew_of("s", strength=[5], **changed)])


@pytest.mark.parametrize(
    "changed",
    [
        {"steep_s": -1.0},
        {"pour_s": math.nan},
        {"kettle_c": math.nan},
        {"water_ml": 0.0},
        {"rest_s": -5.0},
    ],
)
def test_impossible_pour_is_refused_by_name(changed):
    with pytest.raises(BrewError, match=f"infusion 1: {next(iter(changed))}"):
        validated_brews([brew_of("s", pours=[pour_of(1, strength=5, **changed)])])


def test_every_refusal_is_a_value_error():
    assert issubclass(RatingError, BrewError)
    assert issubclass(BrewError, ValueError)


def test_order_of_arrival_is_forgotten():
    one, two = brew_of("a", strength=[5]), brew_of("b", strength=[6])
    assert validated_brews([two, one]) == validated_brews([one, two]) == (one, two)
