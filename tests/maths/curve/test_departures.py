from dataclasses import replace

import pytest

from tastings.maths.brewing.even_brew import even_brew
from tastings.wording.development import departure_detail
from tests.maths.brewed import brew_of, developed, pour_of

EVEN = [6, 6.5, 6, 5.5, 5, 4.5]


def departures_of(pours, **changed):
    plain = [brew_of(f"plain {i}", taster=f"t{i}", strength=EVEN) for i in range(3)]
    found = developed([*plain, brew_of("odd", pours=pours, **changed)]).departures
    assert all(one.session == "odd" for one in found)
    return [(one.infusion, one.kind, one.effect > 0) for one in found], found


def pours_with(index, **changed):
    return [
        pour_of(number, strength=rating, **(changed if number == index else {}))
        for number, rating in enumerate(EVEN, start=1)
    ]


@pytest.mark.parametrize(
    ("changed", "kind", "stronger"),
    [
        ({"kettle_c": 80.0}, "cool_water", False),
        ({"steep_s": 60.0}, "long_steep", True),
        ({"steep_s": 3.0}, "short_steep", False),
        ({"water_ml": 60.0}, "leaf_ratio", True),
        ({"water_ml": 180.0}, "leaf_ratio", False),
    ],
)
def test_one_odd_pour_is_found_and_weighed(changed, kind, stronger):
    brief, found = departures_of(pours_with(3, **changed))
    assert brief == [(3, kind, stronger)]
    assert ("stronger" if stronger else "weaker") in departure_detail(found[0])


@pytest.mark.parametrize(
    ("index", "steep_s", "found"),
    [(1, 47.0, False), (1, 53.0, True), (6, 47.0, False), (6, 53.0, True), (1, 6.5, False), (1, 4.5, True)],
)
def test_first_and_last_pour_differ_by_two_and_a_half_before_they_are_odd(index, steep_s, found):
    """The others have a contact of 20 s, the pour included; within a session 1.5 times as long is odd already."""
    brief, _ = departures_of(pours_with(index, steep_s=steep_s))
    assert bool(brief) == found


@pytest.mark.parametrize("odd", range(1, 7))
@pytest.mark.parametrize("changed", [{"kettle_c": 84.0}, {"steep_s": 80.0}, {"steep_s": 2.0}])
def test_ordinary_pours_next_to_an_odd_one_are_not_blamed(odd, changed):
    steeps_s = [12, 14, 17, 20, 24, 29]
    pours = [
        pour_of(number, strength=rating, **{"steep_s": float(steep_s), **(changed if number == odd else {})})
        for number, (rating, steep_s) in enumerate(zip(EVEN, steeps_s, strict=True), start=1)
    ]
    brief, _ = departures_of(pours)
    assert {infusion for infusion, _, _ in brief} <= {odd}
    assert brief or changed == {"steep_s": 2.0}


def test_pour_whose_kettle_nobody_read_is_not_blamed_for_the_last_reading():
    pours = [
        replace(pour_of(number, strength=rating, kettle_c=85.0 if number in (3, 4) else 98.0), kettle_read=number != 4)
        for number, rating in enumerate(EVEN, start=1)
    ]
    assert [one[:2] for one in departures_of(pours)[0]] == [(3, "cool_water")]


def test_cold_vessel_weakens_the_first_cup():
    brief, found = departures_of(pours_with(0), warmed=False)
    assert brief == [(1, "cold_vessel", False)]
    assert "°C instead of" in departure_detail(found[0])


@pytest.mark.parametrize(
    ("changed", "kind", "stronger"),
    [
        ({"leaf_g": 8.0}, "leaf_ratio", True),
        ({"leaf_g": 3.0}, "leaf_ratio", False),
        ({"altitude_m": 3000.0}, "cool_water", False),
    ],
)
def test_what_holds_through_a_session_is_said_once(changed, kind, stronger):
    brief, _ = departures_of(pours_with(0), **changed)
    assert brief == [(1, kind, stronger)]


def test_height_is_named_as_the_reason_for_cool_water():
    _, found = departures_of(pours_with(0), altitude_m=3000.0)
    assert "90 °C all through, the boiling point at this height" in departure_detail(found[0])


def test_even_brews_have_no_departures():
    assert developed([brew_of(str(i), strength=EVEN) for i in range(3)]).departures == ()


def test_steeps_lengthened_on_purpose_are_no_departures():
    contacts = [15, 17, 20, 25, 30, 36]
    pours = [pour_of(n, steep_s=c, pour_s=0.0, strength=5) for n, c in enumerate(contacts, start=1)]
    assert [one.kind for one in developed([brew_of("s", pours=pours)]).departures] == []


def test_even_brew_contact_is_what_its_pours_say():
    assert {pour.steep_s + pour.pour_s / 2 for pour in even_brew().pours[1:]} == {20.0}
