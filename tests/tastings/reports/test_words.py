"""What is said at the counter agrees with the figures and admits what is not known."""

import pytest

from tastings.reports.words import (
    count_words,
    departure_sentences,
    isolated,
    layer_sentence,
    listed,
    numbers_listed,
    one_decimal,
    percent,
    profile_sentence,
    profile_words,
    steeps_sentence,
)
from tests.tastings.reports import sample

STEEPS = sample.development()["steeps"]


def test_profile_sentence_of_a_tea_that_builds_up():
    assert profile_sentence(sample.profile()) == (
        "This tea builds up: it is strongest at about infusion 3, about 21\u00a0% above the first cup; "
        "it falls to half of that by about infusion 9. We are 87\u00a0% sure of this."
    )


def test_profile_sentence_of_a_tea_that_fades_quickly():
    chances = {"build_up": 0.02, "steady": 0.1, "quick_fade": 0.88}
    profile = {
        "label": "quick_fade",
        "probability": chances,
        "peak_infusion": 1,
        "rise": 1.0,
        "half_strength_infusion": 4,
    }
    assert profile_sentence(profile) == (
        "This tea fades quickly: it is strongest at about infusion 1 and drops early, to half of that "
        "by about infusion 4. We are 88\u00a0% sure of this."
    )


def test_profile_sentence_of_a_steady_tea_that_never_halves():
    chances = {"build_up": 0.2, "steady": 0.7, "quick_fade": 0.1}
    profile = {
        "label": "steady",
        "probability": chances,
        "peak_infusion": 2,
        "rise": 1.1,
        "half_strength_infusion": None,
    }
    assert profile_sentence(profile) == (
        "This tea stays steady: it is strongest at about infusion 2, without a late climb or an early drop. "
        "We are 70\u00a0% sure of this."
    )


def test_profile_sentence_undecided_gives_the_odds_largest_first():
    assert profile_sentence(sample.undecided()["profile"]) == (
        "We cannot tell yet how this tea develops "
        "(builds up 47\u00a0%, stays steady 41\u00a0% and fades quickly 12\u00a0%)."
    )


@pytest.mark.parametrize("profile", [None, {}, sample.empty()["profile"]])
def test_profile_sentence_without_evidence_claims_nothing(profile):
    assert profile_sentence(profile) == (
        "We cannot tell yet how this tea develops: nothing has been tasted that would show it."
    )
    assert profile_words(profile) == "cannot tell yet"


def test_steeps_sentence_gives_count_line_and_range():
    assert steeps_sentence(STEEPS) == (
        "Good for 9 steeps before strength falls to the finish line of 2.5. "
        "With 80\u00a0% probability the count lies between 7 and 10."
    )


def test_steeps_sentence_at_the_end_of_the_even_brew_says_or_more():
    assert steeps_sentence({**STEEPS, "recommended": 12, "low": 10, "high": 12}) == (
        "Good for 12 or more steeps; the even brew is worked out no further. "
        "With 80\u00a0% probability the count lies between 10 and 12 or more."
    )
    assert count_words(11) == "11"


def test_steeps_sentence_of_none_worth_drinking_and_of_a_single_count():
    none = steeps_sentence({**STEEPS, "recommended": 0, "low": 0, "high": 1})
    assert none.startswith("On the even brew no cup is more likely than not to be above the finish line.")
    assert steeps_sentence({**STEEPS, "recommended": 1, "low": 1, "high": 1}) == (
        "Good for 1 steep before strength falls to the finish line of 2.5. With 80\u00a0% probability it is 1."
    )


@pytest.mark.parametrize("steeps", [None, {}, sample.empty()["steeps"]])
def test_steeps_sentence_without_evidence_claims_nothing(steeps):
    assert steeps_sentence(steeps) == "We cannot tell yet how many steeps this tea is worth."


def test_departure_sentences_put_alike_infusions_of_a_session_together():
    names = {"s2": "Monday", "s4": "Tuesday", "s6": "Wednesday"}
    assert departure_sentences(sample.development(), session_names=names) == [
        "Monday, infusions 1 to 3, cooler water: kettle at 92 °C. That made the cup 0.5 to 0.6 points weaker.",
        "Tuesday, infusion 5, longer steep: 45 s of contact against 20 s; cup about 1.1 points stronger.",
        "Wednesday, infusion 1, cold vessel: bowl not warmed, 21 °C room. That made the cup 0.3 points weaker.",
        ("Wednesday, infusions 2 and 3, leaf to water: 7 g in 120 ml. That made the cup 0.7 to 0.8 points stronger."),
    ]


def test_departure_sentences_of_effects_both_ways_and_of_hardly_any():
    both = [{"session": "a", "infusion": i, "kind": "leaf_ratio", "effect": e} for i, e in ((1, -0.4), (2, 0.3))]
    assert departure_sentences({"departures": both}) == [
        (
            "One session, infusions 1 and 2, leaf to water. "
            "That made cups between 0.4 points weaker and 0.3 points stronger."
        )
    ]
    slight = [{"session": "a", "infusion": 1, "kind": "cool_water", "effect": -0.01, "detail": "95 °C."}]
    assert departure_sentences({"departures": slight}) == [
        "One session, infusion 1, cooler water: 95 °C. It hardly changed the cup."
    ]
    unknown = [{"session": "a", "infusion": None, "kind": "new_kind", "effect": None, "detail": "odd"}]
    assert departure_sentences({"departures": unknown}) == ["One session, new kind: odd."]
    assert departure_sentences({}) == []


def test_layer_sentence_tells_what_gives_way_to_what():
    assert layer_sentence(sample.development()["layers"], sample.LABELS) == (
        "Aroma, roast and body give way to finish, minerality and sweetness after the fourth."
    )


def test_layer_sentence_does_not_depend_on_the_order_of_the_layers():
    layers = sample.development()["layers"]
    assert layer_sentence(layers[::-1], sample.LABELS) == layer_sentence(layers, sample.LABELS)


def test_layer_sentence_of_one_unchanging_flavour_and_of_nothing():
    same = [{"infusion": i, "leading": ["honey"], "new": [], "gone": [], "richness": 1.0} for i in (1, 2, 3)]
    assert layer_sentence(same, {"honey": "Honey"}) == "Honey leads from the first cup to the third."
    assert layer_sentence([], {}) == "We cannot tell yet what changes from cup to cup."


@pytest.mark.parametrize(
    ("probability", "said"),
    [(0.0, "less than 1\u00a0%"), (0.005, "less than 1\u00a0%"), (0.6, "60\u00a0%"), (0.999, "more than 99\u00a0%")],
)
def test_percent_never_claims_certainty(probability, said):
    assert percent(probability) == said


def test_isolated_closes_what_a_name_opens_and_leaves_plain_names_alone():
    assert [isolated(t) for t in ("Rock Oolong 7%", "大红袍 🍵", "Ångström")] == [
        "Rock Oolong 7%",
        "大红袍 🍵",
        "Ångström",
    ]
    assert isolated("\u202eevil") == "evil"
    assert isolated("שלם \u2066 left open") == "\u2068שלם  left open\u2069"
    layers = [{"infusion": 1, "leading": ["a", "b"], "new": [], "gone": [], "richness": 2.0}]
    said = layer_sentence(layers, {"a": "שלם", "b": "Honey"})
    assert said == "\u2068שלם\u2069 and honey lead the first cup."


def test_small_phrases():
    assert [listed(p) for p in ([], ["a"], ["a", "b"], ["a", "b", "c"])] == ["", "a", "a and b", "a, b and c"]
    assert [numbers_listed(n) for n in ([2, 1], [7, 1, 2, 3], [1, 3, 5, 6, 7])] == [
        "1 and 2",
        "1 to 3 and 7",
        "1, 3 and 5 to 7",
    ]
    assert [one_decimal(v) for v in (-0.04, -0.55, 6.66)] == ["0.0", "\u22120.6", "6.7"]


def test_departures_come_in_the_order_of_their_sessions_and_explain_a_turned_sign():
    weak = "water of about 82 °C all through; cups on average about 0.4 points stronger"
    long = "99 s; cup about 0.5 points stronger"
    found = [
        {"session": "late", "infusion": 1, "kind": "cool_water", "effect": 0.35, "detail": weak},
        {"session": "early", "infusion": 3, "kind": "long_steep", "effect": 0.55, "detail": long},
    ]
    assert departure_sentences({"departures": found}, session_names={"early": "2 March", "late": "9 May"}) == [
        f"2 March, infusion 3, longer steep: {long}.",
        f"9 May, cooler water: {weak}. It took less early and left more for later.",
    ]
