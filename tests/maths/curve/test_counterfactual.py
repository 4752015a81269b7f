"""The ratings of a lot against its even-brew curve."""

from tastings.maths.curve.counterfactual import Counterfactual
from tests.maths.brewed import brew_of, developed, pour_of

EVEN = [5.0, 6.0, 6.5, 6.0, 5.5, 5.0]


def pours_with(number, **changed):
    """Return even pours, one of which is brewed differently but rated as always."""
    return [pour_of(n, strength=rating, **(changed if n == number else {})) for n, rating in enumerate(EVEN, start=1)]


def points_of(*brews):
    found = developed(list(brews))
    return {point.infusion: point for point in found.counterfactual.points}, found


def test_even_brews_are_not_worth_a_sentence():
    points, found = points_of(*(brew_of(f"s{i}", taster=f"t{i}", strength=EVEN) for i in range(3)))

    assert [points[n].shown for n in points] == EVEN
    assert [points[n].departed for n in points] == [0] * len(EVEN)
    assert found.counterfactual.most_moved is None


def test_without_the_brewing_a_cup_is_the_curves_own():
    """Whatever was done to a pour, the answer is never another than the curve that is shown."""
    plain = [brew_of(f"s{i}", taster=f"t{i}", strength=EVEN) for i in range(2)]
    odd = [
        brew_of(f"odd {i}", taster=f"u{i}", pours=pours_with(5, steep_s=300.0), leaf_g=3.0, altitude_m=2000.0)
        for i in range(2)
    ]
    points, found = points_of(*plain, *odd)

    shown = {point.infusion: point for point in found.curve_of("strength")}
    assert [points[n].without for n in points] == [shown[n].mean for n in points]
    assert all(shown[n].low <= points[n].without <= shown[n].high for n in points)


def test_cool_pour_is_named_with_the_cups_it_made_weaker():
    cool = [
        pour_of(n, strength=rating - (2.0 if n == 3 else 0.0), kettle_c=75.0 if n == 3 else 100.0)
        for n, rating in enumerate(EVEN, start=1)
    ]
    points, found = points_of(
        brew_of("plain", taster="t0", strength=EVEN),
        *(brew_of(f"cool {i}", taster=f"t{i}", pours=cool) for i in (1, 2)),
    )

    most = found.counterfactual.most_moved
    assert (most.infusion, most.ratings, most.departed) == (3, 3, 2)
    assert most.brewing < -0.5
    assert most.shown < most.without
    assert points[1].departed == 0


def test_contact_is_that_of_the_ratings_behind_a_point():
    pours = pours_with(5, steep_s=60.0, pour_s=10.0)
    points, _ = points_of(brew_of("plain", taster="t0", strength=EVEN), brew_of("long", taster="t1", pours=pours))

    plain_s = points[1].contact_s
    assert points[5].contact_s == (plain_s + 65.0) / 2  # a pour takes half of its time off the leaf


def test_lot_that_nobody_rated_has_no_points():
    assert developed([]).counterfactual == Counterfactual("strength")
