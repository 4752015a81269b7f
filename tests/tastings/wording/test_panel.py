"""How a panel agrees and how its tasters use the scale, in words."""

import pytest

from tastings.maths.brewing.brews import TasterScale
from tastings.wording.panel import WordScale, coefficient, panel_sentence, rankings, scale_differences

USUAL = TasterScale(offset=0.0, gain=1.0, offset_sd=0.1, gain_sd=0.02)


def word(label, *, agreement=0.9, lots=10, **scale):
    known = {name: getattr(USUAL, name) for name in ("offset", "gain", "offset_sd", "gain_sd")}
    return WordScale(label, TasterScale(**known | scale), agreement, lots)


@pytest.mark.parametrize("correlation", [-0.9, 0.0, 0.99])
def test_four_lots_say_nothing_of_how_tasters_rank(correlation):
    few = [word("Body", agreement=correlation, lots=4)]
    assert panel_sentence(correlation, lots=3) == "cannot be told yet"
    assert rankings(few) == [("Too few lots to tell", "Body")]
    assert scale_differences(few) == []


def test_words_are_grouped_by_how_the_lots_are_ranked():
    words = [word("Strength"), word("Liking", agreement=-0.3), word("Aroma", agreement=0.5), word("Roast")]
    assert rankings(words) == [
        ("As the others", "Strength and Roast"),
        ("Partly so", "Aroma"),
        ("Differently", "Liking"),
    ]
    assert scale_differences(words) == [("Ranks the lots differently", "Liking")]


def test_differences_are_grouped_the_largest_first_and_left_out_while_they_cannot_be_told():
    words = [word("Strength", offset=0.3), word("Roast", offset=0.42), word("Body", offset=-0.25, gain=0.9),
             word("Aroma", offset=0.12), word("Liking", gain=1.08)]  # fmt: skip
    assert scale_differences(words) == [
        ("Rates higher", "Roast 0.4, Strength 0.3 points"),
        ("Rates lower", "Body 0.2 points"),
        ("Uses more of the scale", "Liking 8\u00a0%"),
        ("Uses less of the scale", "Body 10\u00a0%"),
    ]


def test_negative_correlation_of_a_panel_is_not_shown_as_a_number():
    assert [coefficient(value) for value in (-1.94, 0.0, 0.876, None)] == ["below 0", "0.00", "0.88", ""]
