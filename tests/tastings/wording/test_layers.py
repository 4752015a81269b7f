"""What changes from cup to cup, in one sentence."""

from dataclasses import replace

from tastings.maths.curve.layers import Layer
from tastings.wording.development import flavour_sentence
from tests.tastings.reports import sample

LAYERS = sample.figures().layers


def test_sentence_tells_what_gives_way_to_what():
    assert flavour_sentence(LAYERS, labels=sample.LABELS) == (
        "Aroma, roast and body give way to finish, minerality and sweetness after the fourth."
    )


def test_sentence_does_not_depend_on_the_order_of_the_layers():
    assert flavour_sentence(LAYERS[::-1], labels=sample.LABELS) == flavour_sentence(LAYERS, labels=sample.LABELS)


def test_sentence_of_one_unchanging_flavour_and_of_nothing():
    same = [Layer(n, ("honey",), (), (), 1.0) for n in (1, 2, 3)]
    assert flavour_sentence(same, labels={"honey": "Honey"}) == "Honey leads from the first cup to the third."
    assert flavour_sentence([], labels={}) == "We cannot tell yet what changes from cup to cup."


def test_flavour_that_is_gone_in_a_later_cup_does_not_stay_throughout():
    leading = ("sweetness astringency",) * 3 + ("sweetness hay astringency", "sweetness hay", "hay")
    gone = ((), (), (), (), ("astringency",), ("sweetness",))
    layers = [
        Layer(n, tuple(led.split()), (), left, 1.0) for n, (led, left) in enumerate(zip(leading, gone, strict=True), 1)
    ]
    labels = {"sweetness": "Sweetness", "astringency": "Astringency", "hay": "Hay"}
    assert flavour_sentence(layers, labels=labels, steeps=4) == (
        "Hay comes to the fore after the third; sweetness and astringency stay up to the fourth."
    )
    never = [replace(layer, gone=()) for layer in layers]
    assert flavour_sentence(never, labels=labels, steeps=4) == (
        "Hay comes to the fore after the third; sweetness and astringency stay throughout."
    )


def test_right_to_left_name_does_not_reverse_the_rest_of_the_sentence():
    sentence = flavour_sentence([Layer(1, ("a", "b"), (), (), 2.0)], labels={"a": "שלם", "b": "Honey"})
    assert sentence == "\u2068שלם\u2069 and honey lead the first cup."


def test_what_changes_in_cups_that_nobody_would_pour_is_not_said():
    layers = [Layer(n, ("honey",) if n < 4 else ("bitterness",), (), (), 2.0) for n in range(1, 7)]
    words = {"labels": {"honey": "Honey", "bitterness": "Bitterness"}}
    assert flavour_sentence(layers, **words) == "Honey gives way to bitterness after the third."
    assert flavour_sentence(layers, **words, steeps=3) == "Honey leads from the first cup to the third."
