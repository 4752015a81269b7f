import pytest

from tastings.maths.curve.layers import Layer
from tastings.maths.curve.turning_point import TurningPoint, turning_point
from tastings.wording.development import flavour_sentence
from tastings.wording.labels import descriptor_in_sentence

LABELS = {"honey": "Honey", "malt": "Malt", "pine": "Pine", "stone_fruit": "Stone fruit", "body": "Body"}


def cups(*leading):
    """Return layers with these leading flavours, written as words apart."""
    return [Layer(n, tuple(one.split()), (), (), 1.0) for n, one in enumerate(leading, start=1)]


@pytest.mark.parametrize(
    ("layers", "sentence"),
    [
        (
            cups(*["honey malt"] * 3, *["pine stone_fruit"] * 4),
            "Honey and malt give way to pine and stone fruit after the third.",
        ),
        (cups("honey", "honey", "pine", "pine"), "Honey gives way to pine after the second."),
        (
            cups("honey body", "honey body", "pine body", "pine body"),
            "Honey gives way to pine after the second; body stays throughout.",
        ),
        (cups("honey body", "honey body", "body", "body"), "Honey steps back after the second; body stays throughout."),
        (cups("", "", "", "pine"), "Pine comes to the fore after the third."),
        # the one still leads when the other has come
        (
            cups("honey malt", "honey malt", "honey pine", "honey pine", *["pine"] * 5),
            "Malt gives way to pine after the second; honey steps back after the fourth.",
        ),
        (cups("honey", "honey", "honey"), "Honey leads from the first cup to the third."),
        (cups("honey malt body"), "Honey, malt and body lead the first cup."),
        (cups("", ""), "No flavour stands out in any cup."),
        (cups(""), "We cannot tell yet what changes from cup to cup."),
        ([], "We cannot tell yet what changes from cup to cup."),
    ],
)
def test_sentence_says_what_gives_way_to_what(layers, sentence):
    assert flavour_sentence(layers, labels=LABELS) == sentence


@pytest.mark.parametrize(
    ("leading", "points", "sentence"),
    [
        (
            ["honey", "honey", "honey malt", "honey malt"],
            {"honey": (7.0, 6.0, 4.0, 3.0), "malt": (3.0, 3.0, 2.8, 2.5)},
            (
                "Honey leads from the first cup to the fourth; malt stands out after the second, only because the"
                " others fade."
            ),
        ),
        (
            ["honey", "honey", "honey malt", "honey malt"],
            {"honey": (4.0, 4.0, 4.0, 4.0), "malt": (1.0, 2.0, 3.0, 3.0)},
            "Malt comes to the fore after the second; honey stays throughout.",
        ),
        (
            ["honey", "honey", "malt", "malt"],
            {"honey": (7.0, 6.0, 1.0, 1.0), "malt": (3.0, 3.0, 3.0, 2.5)},
            "Honey steps back after the second; malt stands out from then on, only because the others fade.",
        ),
        (
            ["honey", "honey", "malt", "malt"],
            {"honey": (3.0, 3.0, 3.0, 3.0), "malt": (1.0, 2.0, 6.0, 6.0)},
            "Malt comes to the fore after the second.",
        ),
    ],
)
def test_flavour_comes_or_goes_only_when_it_grows_stronger_or_weaker(leading, points, sentence):
    assert flavour_sentence(cups(*leading), labels=LABELS, points=points) == sentence


def test_one_odd_cup_does_not_make_the_turn():
    found = turning_point(cups("honey", "pine", "honey", "honey", "pine", "pine", "pine", "pine"))
    assert found == TurningPoint(after=4, going=("honey",), coming=("pine",), staying=(), gone_after=(4,))


def test_flavours_that_take_turns_lead_for_long_together_or_not_at_all():
    sentence = flavour_sentence(cups("honey", "malt", "pine", "body", "honey", "malt", "pine", "body"), labels=LABELS)
    assert sentence == "No flavour leads for long: what stands out changes from cup to cup."


def test_order_of_the_layers_changes_nothing():
    layers = cups(*["honey malt"] * 3, *["pine"] * 4)
    assert flavour_sentence(layers[::-1], labels=LABELS) == flavour_sentence(layers, labels=LABELS)


def test_layers_that_start_late_keep_their_numbers():
    layers = [Layer(n, (key,), (), (), 1.0) for n, key in ((14, "honey"), (15, "honey"), (16, "pine"), (17, "pine"))]
    assert flavour_sentence(layers, labels=LABELS) == "Honey gives way to pine after the 15th."


def test_turn_needs_two_cups():
    assert turning_point(cups("honey")) is None


def test_at_most_three_are_named():
    assert (
        flavour_sentence(cups("a b c d", "a b c d"), labels={}) == "A, b and c lead from the first cup to the second."
    )


@pytest.mark.parametrize(
    ("label", "text"),
    [("Stone fruit", "stone fruit"), ("CTC leaf", "CTC leaf"), ("大红袍", "大红袍"), ("", "k e y")],
)
def test_labels_inside_a_sentence_are_in_lower_case_but_for_abbreviations(label, text):
    assert descriptor_in_sentence("k_e_y", {"k_e_y": label}) == text
