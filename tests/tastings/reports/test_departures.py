"""What was brewed differently is told once for each session, kind and detail, in the order of the sessions."""

import pytest

from tastings.reports.departures import departure_sentences
from tests.tastings.reports import sample
from tests.tastings.reports.sample import departure


def test_alike_infusions_of_a_session_are_put_together():
    names = {"s2": "Monday", "s4": "Tuesday", "s6": "Wednesday"}
    cooler = "cooler water: water of 92 °C against 98 °C usual in this session"
    contact = "a contact of 45 s against about 20 s of the infusions around it"
    vessel = "the vessel was not warmed: the water settled at 91 °C instead of 95 °C"
    leaf = "7 g of leaf in 120 ml, 1.28 times the even brew's"
    assert departure_sentences(sample.figures().departures, session_names=names) == [
        f"Monday, infusion 1, {cooler}; cup about 0.6 points weaker.",
        f"Monday, infusions 2 and 3, {cooler}; cup about 0.5 points weaker.",
        f"Tuesday, infusion 5, longer steep: {contact}; cup about 1.1 points stronger.",
        f"Wednesday, infusion 1, cold vessel: {vessel}; cup about 0.3 points weaker.",
        f"Wednesday, leaf to water: {leaf}; cups on average about 0.8 points stronger.",
    ]


def test_runs_of_infusions_are_drawn_together():
    found = [departure(infusion=infusion) for infusion in (3, 1, 2, 7)]
    assert departure_sentences(found, session_names={"s1": "Monday"}) == [
        (
            "Monday, infusions 1 to 3 and 7, cooler water: water of 92 °C against 98 °C usual in this session; "
            "cup about 0.5 points weaker."
        )
    ]


def test_effects_both_ways_are_told_apart():
    found = [
        departure(infusion=infusion, kind="leaf_ratio", effect=effect, was=90.0, usual=110.0)
        for infusion, effect in ((1, -0.4), (2, 0.3))
    ]
    ratio = "leaf to water: 90 ml of water against 110 ml usual in this session"
    assert departure_sentences(found, session_names={}) == [
        f"One session, infusion 1, {ratio}; cup about 0.4 points weaker.",
        f"One session, infusion 2, {ratio}; cup about 0.3 points stronger.",
    ]
    assert departure_sentences([], session_names={}) == []


def test_departures_come_in_the_order_of_their_sessions_and_explain_a_turned_sign():
    whole = {"whole_session": True, "n_cups": 8, "usual": 100.0}
    found = [
        departure(session="late", effect=0.4, was=82.0, **whole),
        departure(session="early", infusion=3, kind="long_steep", effect=0.55, was=99.0, usual=20.0),
    ]
    weak = "water of about 82 °C all through, against the even brew's 100 °C; cups on average about 0.4 points stronger"
    long = "a contact of 99 s against about 20 s of the infusions around it; cup about 0.6 points stronger"
    assert departure_sentences(found, session_names={"early": "2 March", "late": "9 May"}) == [
        f"2 March, infusion 3, longer steep: {long}.",
        f"9 May, cooler water: {weak}. It took less early and left more for later.",
    ]


@pytest.mark.parametrize(
    ("kind", "effect", "why"),
    [
        ("cool_water", -0.4, ""),
        ("cool_water", 0.4, " It took less early and left more for later."),
        ("short_steep", 0.4, " It took less early and left more for later."),
        ("long_steep", 0.4, ""),
        ("long_steep", -0.4, " It took more early and left less for later."),
        ("leaf_ratio", -0.4, ""),
    ],
)
def test_turned_sign_is_explained_only_through_a_whole_session(kind, effect, why):
    whole = departure(kind=kind, effect=effect, whole_session=True, n_cups=6, usual=None, leaf_g=5.0, ratio=1.2)
    [text] = departure_sentences([whole], session_names={})
    assert text.endswith(f" points {'stronger' if effect > 0 else 'weaker'}.{why}")
    [of_one] = departure_sentences([departure(kind=kind, effect=effect)], session_names={})
    assert of_one.endswith((" points stronger.", " points weaker."))


def test_name_of_a_session_does_not_reverse_the_sentence():
    [text] = departure_sentences([departure()], session_names={"s1": "שלם \u2066"})
    assert text.startswith("\u2068שלם \u2069, infusion 1, cooler water: ")
