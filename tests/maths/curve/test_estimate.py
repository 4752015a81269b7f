import json
import math
import random
from dataclasses import replace
from uuid import UUID

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from benchmarks.hard_worlds import BROKEN, ROLLED, draw_three_solutes
from benchmarks.worlds import MAKES, draw_leaf, draw_session, draw_team
from tastings.answers.development import development_answer
from tastings.figures import to_stored
from tastings.maths.brewing.brews import Brew, Pour, RatingError, TasterScale
from tastings.maths.curve.development import Development
from tastings.maths.curve.model_error import ModelError
from tastings.maths.curve.profile import LABELS, curve_shapes
from tastings.queries.developments import LotDevelopment
from tastings.wording.development import development_cautions, next_session_sentence
from tests.maths.brewed import brew_of, developed, pour_of

RATED = ("strength", "sweetness", "bitterness")
KINDS = {"cool_water", "long_steep", "short_steep", "leaf_ratio", "cold_vessel"}

maybe = st.none()
pours = st.builds(
    Pour,
    number=st.integers(0, 70),
    steep_s=st.floats(0, 7200),
    pour_s=maybe | st.floats(0, 600),
    kettle_c=st.floats(-20, 130),
    water_ml=maybe | st.floats(0.1, 5000),
    rest_s=maybe | st.floats(0, 1e6),
    ratings=st.dictionaries(st.sampled_from([*RATED, "orchid"]), st.floats(0, 10), max_size=4),
    noted=st.frozensets(st.sampled_from(["orchid", "honey", "strength"])),
    tasted=st.booleans(),
)
brews = st.builds(
    Brew,
    session=st.sampled_from(["a", "b", "c", "d"]),
    taster=st.sampled_from(["ann", "ben"]),
    shop=maybe | st.just("shop"),
    leaf_g=st.floats(0.01, 60),
    vessel_ml=st.floats(1, 4000),
    vessel_material=st.sampled_from(["porcelain", "cast_iron", "no such material"]),
    vessel_g=maybe | st.floats(1, 5000),
    warmed=st.booleans(),
    room_c=maybe | st.floats(-100, 200),
    altitude_m=maybe | st.floats(-1000, 1e5),
    ending=st.sampled_from([None, "spent", "stopped"]),
    more_low=maybe | st.integers(0, 5),
    more_high=maybe | st.integers(0, 20),
    pours=st.lists(pours, max_size=8).map(tuple),
)


def assert_plain(value):
    """Fail on anything that is not plain JSON with finite numbers of at most three decimals."""
    match value:
        case dict():
            for key, inner in value.items():
                assert isinstance(key, str)
                assert_plain(inner)
        case list():
            for inner in value:
                assert_plain(inner)
        case float():
            assert math.isfinite(value)
            assert value == round(value, 3)
        case _:
            assert value is None or type(value) in {bool, int, str}


def shaped_lot(shape, *, n_sessions, taster=None):
    chance = np.random.default_rng(11)
    return [
        brew_of(
            f"s{i}",
            taster=taster or f"t{i % 4}",
            strength=np.clip(np.round(2 * (np.array(shape) + chance.normal(0, 0.6, len(shape)))) / 2, 0, 10),
        )
        for i in range(n_sessions)
    ]


def answered(brews):
    """Return the answer of the API, as JSON."""
    lot = LotDevelopment(UUID(int=1), revision=1, computed_at=None, stale=False, figures=developed(brews), tag="")
    return to_stored(development_answer(lot, labels={}))


BUILDING = (2.5, 4.5, 6.0, 6.5, 6.5, 6.0, 5.5, 5.0, 4.5)
FADING = (8.0, 7.0, 4.5, 3.0, 1.5, 1.0, 0.5)
STEADY = (6.5, 6.7, 6.5, 6.2, 5.8, 5.4, 5.0, 4.6, 4.2)


def test_json_has_the_contracts_names():
    found = answered(shaped_lot(STEADY, n_sessions=2))
    assert list(found) == [
        "lot", "revision", "computed_at", "stale", "evidence", "even_brew", "profile", "steeps", "forecast", "curves",
        "layers", "departures", "next", "cautions", "sentence", "otherwise",
    ]  # fmt: skip
    assert list(found["evidence"]) == ["sessions", "infusions", "tasters", "shops", "left_out"]
    assert found["even_brew"] == {
        "leaf_g": 5.0, "vessel_ml": 110.0, "kettle_c": 100.0, "warmed": True, "rinse_s": 10.0, "contact_s": 20.0,
        "infusions": 12,
    }  # fmt: skip
    assert list(found["profile"]) == ["label", "probability", "peak_infusion", "rise", "half_strength_infusion"]
    assert list(found["profile"]["probability"]) == ["build_up", "steady", "slow_fade", "quick_fade"]
    assert list(found["steeps"]) == [
        "recommended", "low", "high", "level", "finish_line", "sessions_spent", "sessions_stopped",
    ]  # fmt: skip
    assert list(found["curves"][0]) == ["descriptor", "points", "profile"]
    assert list(found["curves"][0]["points"][0]) == ["infusion", "mean", "low", "high", "observed", "n"]
    assert [point["infusion"] for point in found["curves"][0]["points"]] == list(range(1, 13))
    assert list(found["layers"][0]) == ["infusion", "leading", "new", "gone", "richness"]


def test_no_session_is_an_answer():
    found = answered([])
    assert found["evidence"] == {"sessions": 0, "infusions": 0, "tasters": 0, "shops": 0, "left_out": []}
    assert found["curves"] == found["layers"] == found["departures"] == []
    assert found["profile"]["label"] == "undecided"
    assert set(found["profile"]["probability"].values()) == {0.25}
    assert [found["steeps"][name] for name in ("recommended", "low", "high")] == [None] * 3
    assert len(found["cautions"]) == 2


@pytest.mark.parametrize(("shape", "label"), [(BUILDING, "build_up"), (FADING, "quick_fade"), (STEADY, "steady")])
def test_plain_lots_get_their_label(shape, label):
    assert developed(shaped_lot(shape, n_sessions=4)).profile.label == label


def test_curve_stays_near_the_ratings_of_even_brews():
    points = developed(shaped_lot(STEADY, n_sessions=8)).curves[0].points
    for point, rating in zip(points, STEADY, strict=False):
        assert point.low < point.mean < point.high
        assert point.mean == pytest.approx(rating, abs=0.7)
        assert point.n == 8
    assert [(point.observed, point.n) for point in points[len(STEADY) :]] == [(None, 0)] * 3


def test_ratings_of_even_brews_need_no_adjustment():
    found = developed(shaped_lot(STEADY, n_sessions=2))
    assert len(found.tasted) == 2 * len(STEADY)
    for point in found.tasted:
        assert point.adjusted == pytest.approx(point.rating, abs=0.05)


def test_weak_brew_is_adjusted_upwards():
    weak = [pour_of(n, strength=r, kettle_c=85.0) for n, r in enumerate(STEADY, start=1)]
    found = developed([*shaped_lot(STEADY, n_sessions=4), brew_of("weak", taster="t1", pours=weak)])
    adjusted = [point.adjusted - point.rating for point in found.tasted if point.session == "weak"]
    assert min(adjusted[:4]) > 0.3


def test_strength_comes_first_and_unrated_descriptors_have_no_curve():
    brew = brew_of(
        "s", pours=[pour_of(n, sweetness=4, strength=5, noted=["honey"] if n < 3 else []) for n in (1, 2, 3)]
    )
    found = developed([brew], rated=["sweetness", "bitterness", "strength"])
    assert [one.descriptor for one in found.curves] == ["strength", "sweetness"]
    assert "honey" in found.layers[0].new
    assert "honey" in found.layers[2].gone


def test_lot_without_strength_still_has_its_other_curves():
    found = developed([brew_of("s", pours=[pour_of(1, sweetness=4), pour_of(2, sweetness=5)])], rated=["sweetness"])
    assert [one.descriptor for one in found.curves] == ["sweetness"]
    assert (found.profile.label, found.steeps.recommended) == ("undecided", None)
    assert found.next.code == "rate_strength"


def test_evidence_counts_what_was_used():
    lot = [*shaped_lot(STEADY, n_sessions=3), brew_of("odd", taster="dan", leaf_g=50.0, strength=[5])]
    found = developed(lot).evidence
    assert (found.sessions, found.infusions, found.tasters, found.shops) == (3, 3 * len(STEADY), 3, 1)
    assert [one.session for one in found.left_out] == ["odd"]


def test_endings_are_counted():
    lot = shaped_lot(STEADY, n_sessions=4)
    lot[0], lot[1], lot[2] = (replace(b, ending=e) for b, e in zip(lot, ("spent", "stopped", "stopped"), strict=False))
    found = developed(lot)
    assert (found.sessions_spent, found.sessions_stopped) == (1, 2)


@pytest.mark.parametrize("rating", [math.nan, 11.0, -1.0])
def test_impossible_rating_is_refused(rating):
    with pytest.raises(RatingError):
        developed([brew_of("s", strength=[rating])])


@settings(max_examples=60)
@given(st.lists(brews, max_size=4), st.randoms(use_true_random=False))
def test_any_brew_gives_plain_finite_figures_in_any_order(lot, chance):
    found = developed(lot, rated=RATED)
    assert_plain(to_stored(found))
    json.dumps(to_stored(found), allow_nan=False)
    shuffled = list(lot)
    chance.shuffle(shuffled)
    assert to_stored(developed(shuffled, rated=RATED)) == to_stored(found)
    for one in found.curves:
        assert one.descriptor in RATED
        for point in one.points:
            assert 0 <= point.low <= point.high <= 10
            assert 0 <= point.mean <= 10
    assert {one.kind for one in found.departures} <= KINDS
    assert found.evidence.sessions <= len(lot)


def test_order_of_sessions_changes_nothing():
    lot = shaped_lot(BUILDING, n_sessions=6)
    found = developed(lot)
    random.Random(1).shuffle(lot)
    again = developed(lot)
    for one, other in zip(found.curves[0].points, again.curves[0].points, strict=True):
        assert (one.mean, one.low, one.high) == pytest.approx((other.mean, other.low, other.high), abs=1e-9)


def test_the_same_brews_give_the_same_answer():
    lot = shaped_lot(BUILDING, n_sessions=3)
    assert developed(lot) == developed(lot)


def test_litre_and_millilitre_pots_of_one_ratio_agree_but_for_heat():
    # Leaf and water scaled together leave the strength alone; a bigger pot only keeps its heat a little better.
    small = developed([brew_of("s", strength=STEADY)]).curves[0].points
    large = developed([brew_of("s", strength=STEADY, leaf_g=10.0, vessel_ml=220.0)]).curves[0].points
    assert [p.mean for p in large] == pytest.approx([p.mean for p in small], abs=0.15)


@pytest.mark.parametrize(("shape", "label"), [(BUILDING, "build_up"), (STEADY, "steady")])
def test_one_absurd_session_does_not_move_the_label_of_eight(shape, label):
    absurd = brew_of("absurd", taster="joker", strength=[10] * 9)
    assert developed([*shaped_lot(shape, n_sessions=8), absurd]).profile.label == label


def test_more_sessions_narrow_the_interval():
    def width(n_sessions):
        points = developed(shaped_lot(STEADY, n_sessions=n_sessions)).curves[0].points
        return sum(point.high - point.low for point in points)

    assert width(1) > width(3) > width(8)


@pytest.mark.parametrize(("make", "least", "most"), [(ROLLED, 0.5, 0.9), (BROKEN, 0.0, 0.2)])
def test_dryness_of_the_leaf_in_the_first_steep_is_learned_from_the_ratings(make, least, most, monkeypatch):
    found = []
    given = ModelError.given

    def seen(left, **known):
        found.append(known["dryness"])
        return given(left, **known)

    monkeypatch.setattr(ModelError, "given", seen)
    rng = np.random.default_rng(22)
    leaf, team = replace(draw_three_solutes(rng, make=make), tau_s=MAKES[make][1]), draw_team(rng)
    developed([draw_session(leaf, team, number=i, rng=rng) for i in range(8)])
    assert least < found[0] < most


def test_peak_and_half_strength_are_those_of_the_curve_that_is_shown():
    rng = np.random.default_rng(21)
    for _ in range(8):
        leaf, team = draw_leaf(rng), draw_team(rng)
        found = developed([draw_session(leaf, team, number=i, rng=rng) for i in range(3)])
        mean = np.array([point.mean for point in found.curves[0].points])
        peak = int(mean.argmax())
        below = np.flatnonzero((mean < mean[peak] / 2) & (np.arange(12) > peak))
        half = int(below[0]) + 1 if below.size else None
        profile = found.profile
        if profile.label in ("undecided", LABELS[curve_shapes(mean[None, :]).label[0]]):
            assert (profile.peak_infusion, profile.half_strength_infusion) == (peak + 1, half)
            assert profile.rise == pytest.approx(max(mean[peak] / mean[0], 1.0))


def test_next_session_is_what_the_figures_leave_open():
    few = developed(shaped_lot(STEADY[:4], n_sessions=4))
    alone = developed([brew_of("s", strength=[6, 6, 5, 4, 3, 2, 1.5, 1, 1, 1, 1, 1])])
    assert next_session_sentence(few.next).startswith("Pour further: strength is rated up to infusion 4 only")
    assert next_session_sentence(alone.next).startswith("Let a second taster brew it")
    assert next_session_sentence(developed([]).next) == "Taste a first session, rating the strength of every infusion."


def test_cautions_name_heat_and_the_caffeine_of_this_leaf():
    # EFSA 2015: 200 mg at a time, 400 mg a day; IARC Monograph 116: above 65 deg C. Hicks, Hsieh and Bell 1996: 23.8 mg
    # caffeine per g of an oolong, 36.6 of green; a survey 27 for oolong, at most 43; each 15 % either way (own value).
    found = developed([brew_of("s", strength=[5], leaf_g=5.0)])
    for kind, caffeine in (("", "20 to 49 mg"), ("oolong", "20 to 31 mg"), ("green", "31 to 42 mg")):
        cautions = " ".join(development_cautions(found, kind=kind))
        for figure in ("65 °C", caffeine, "200 mg", "400 mg", "doctor"):
            assert figure in cautions
    assert "caffeine and allergens" in (herbal := " ".join(development_cautions(found, kind="herbal")))
    assert "tea leaf" not in herbal


def test_result_is_a_development():
    assert isinstance(developed([]), Development)


def test_what_a_departure_did_is_not_told_while_nobody_rated_the_strength():
    strengths = (6.0, 6.5, 6.0, 5.0)
    rated = brew_of("a", strength=strengths, leaf_g=8.0)
    liked = replace(
        rated,
        pours=tuple(replace(p, ratings={"liking": p.ratings["strength"]} if p.ratings else {}) for p in rated.pours),
    )
    assert [one.kind for one in developed([rated]).departures] == ["leaf_ratio"]
    assert developed([liked], rated=("strength", "liking")).departures == ()


def test_rise_is_that_of_the_curve_shown():
    found = developed(
        [brew_of("a", strength=(4.0, 6.0, 7.5, 7.0, 6.0)), brew_of("b", strength=(4.5, 6.5, 7.0, 7.0, 6.5))]
    )
    means = [point.mean for point in found.curves[0].points]
    assert found.profile.rise == pytest.approx(means[found.profile.peak_infusion - 1] / means[0])
    assert found.profile.rise > 1.15


def test_form_of_the_leaf_says_how_late_cups_go_on_where_nobody_has_tasted_them():
    # Three cups fit many leaves; rolled ones give longer than broken ones.
    strength = (5.0, 6.0, 6.0)
    late = {
        form: developed([brew_of("s", strength=strength, form=form)]).curves[0].points[9].mean
        for form in ("", "rolled", "broken")
    }
    assert late["rolled"] > late[""] > late["broken"]
    assert late["rolled"] > late["broken"] + 1.0


def test_one_taster_of_a_team_does_not_become_certain_by_tasting_again():
    def width(n, team):
        pours = [pour_of(j, strength=r, kettle_c=98.0) for j, r in enumerate((5, 6, 6, 5, 4, 4, 3, 3), start=1)]
        some = [brew_of(f"s{i}", taster="ann", pours=pours) for i in range(n)]
        scales = {"strength": {name: TasterScale() for name in team}}
        point = developed(some, scales=scales).curves[0].points[2]
        return point.high - point.low

    alone, four = ("ann",), ("ann", "ben", "cat", "dan")
    assert width(12, alone) < 0.7 * width(2, alone)
    # Three of four shifts of 0.5 are open: 80 % of an sd of 0.5 sqrt(3 / 4).
    assert width(12, four) > 2.56 * 0.5 * 0.75**0.5


def test_curve_of_strength_goes_on_to_the_upper_end_of_a_count_beyond_it():
    found = developed(shaped_lot((5.0, 6.5, 7.0, 7.2, 7.2, 7.0, 6.9, 6.8), n_sessions=4))
    whole = [*found.curve_of("strength"), *found.strength_beyond]
    assert found.steeps.high > 12
    assert [point.infusion for point in whole] == list(range(1, found.steeps.high + 1))
    assert {(point.n, point.observed) for point in found.strength_beyond} == {(0, None)}
    assert all(point.low <= point.mean <= point.high for point in whole)
    steps = np.diff([point.mean for point in whole[8:]])  # as the curve goes on, without a jump where its points end
    assert np.abs(np.diff(steps)).max() < 0.1
    assert developed(shaped_lot(FADING, n_sessions=4)).strength_beyond == ()
