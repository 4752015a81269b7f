"""How far a panel agrees, in words."""

import pytest

from tastings.wording.panel import coefficient, panel_sentence, ranking_difference, ranking_words


@pytest.mark.parametrize("correlation", [-0.9, 0.0, 0.99])
def test_three_lots_say_nothing_of_how_tasters_rank(correlation):
    assert panel_sentence(correlation, lots=3) == "cannot be told yet"
    assert ranking_words(correlation, lots=4) == "too few lots"
    assert ranking_difference(correlation, lots=3) == ""


def test_ten_lots_do():
    assert ranking_words(0.9, lots=10) == "as the others"
    assert ranking_difference(-0.3, lots=10) == "ranks the lots differently from the others"


def test_negative_correlation_of_a_panel_is_not_shown_as_a_number():
    assert [coefficient(value) for value in (-1.94, 0.0, 0.876, None)] == ["below 0", "0.00", "0.88", ""]
