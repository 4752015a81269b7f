import pytest

from tastings.maths.brewing.heat import even_brew
from tastings.maths.curve.departures import Counterfactual, counterfactual
from tastings.wording.development import counterfactual_sentence, departure_detail
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


def without_departures(*odd):
    found = counterfactual([*(brew_of(f"plain {i}", taster=f"t{i}", strength=EVEN) for i in range(3)), *odd])
    return {point.infusion: point for point in found.points}, found


def test_even_brews_would_have_shown_the_same():
    points, found = without_departures()
    assert [points[n].shown for n in points] == [points[n].without for n in points] == EVEN
    assert [points[n].departed for n in points] == [0] * len(EVEN)
    assert counterfactual_sentence(found) == "Brewed as usual, the lot would have shown the same strength."


def test_cool_pour_is_undone_in_its_own_cup_and_hardly_in_the_others():
    points, found = without_departures(brew_of("odd", pours=pours_with(3, kettle_c=80.0)))
    effect = developed([brew_of("a", strength=EVEN), brew_of("odd", pours=pours_with(3, kettle_c=80.0))]).departures[0]
    assert points[3].without - points[3].shown == pytest.approx(-effect.effect / 4, rel=0.25)
    assert (points[3].ratings, points[3].departed) == (4, 1)
    # A hotter third pour would have left less for those after it.
    assert points[6].shown - 0.15 < points[6].without < points[6].shown
    assert [points[n].without for n in (1, 2)] == pytest.approx([points[n].shown for n in (1, 2)])
    assert counterfactual_sentence(found).startswith("Brewed as usual, infusion 3 would have averaged")


def test_departures_of_one_session_are_undone_together():
    # Weak leaf and cool water: brewed like the even brew, as strong as the plain sessions' own cups say.
    weak = [pour_of(n, strength=r, kettle_c=88.0) for n, r in enumerate(EVEN, start=1)]
    alone, _ = without_departures(brew_of("odd", pours=pours_with(0), leaf_g=3.5))
    both, _ = without_departures(brew_of("odd", pours=weak, leaf_g=3.5))
    for number in range(1, 4):
        assert both[number].without > alone[number].without > alone[number].shown


def test_what_is_undone_leaves_no_departure():
    # The same sessions brewed as the even brew is, rated as they would have been: nothing more to undo.
    points, _ = without_departures(brew_of("odd", pours=pours_with(4, steep_s=70.0), warmed=False, altitude_m=2500.0))
    again, _ = without_departures(
        brew_of("odd", strength=[4 * points[n].without - 3 * points[n].shown for n in range(1, 7)])
    )
    assert [again[n].departed for n in again] == [0] * len(EVEN)


def test_nobody_rated_it_shows_nothing():
    found = counterfactual([brew_of("s", strength=[5, 5])], descriptor="sweetness")
    assert found == Counterfactual("sweetness")
    assert counterfactual_sentence(found) == "The sweetness was not rated."
