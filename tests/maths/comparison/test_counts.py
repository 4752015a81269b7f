"""How many worthwhile infusions draws have, at each finish line."""

import numpy as np
import pytest

from tastings.maths.comparison.counts import Counts, likely_line, outlasting
from tastings.maths.curve.endings import LINES, FinishLine

FEW, MANY = [6.0, 5.0, 0.0, 0.0], [6.0, 5.5, 5.2, 0.0]


def counts_of(cups, *, log_likelihood=None):
    cups = np.array(cups)
    return Counts.of(
        cups,
        alike=cups,
        log_likelihood=np.zeros((len(cups), LINES.size)) if log_likelihood is None else log_likelihood,
    )


def line_near(level):
    return int(np.abs(LINES - level).argmin())


def test_numbers_are_drawn_as_often_as_they_are_probable():
    drawn = counts_of([FEW] * 300 + [MANY] * 100).draw(line_near(3.0))
    assert drawn.size == 400
    assert np.bincount(drawn, minlength=5)[2:4] / 400 == pytest.approx([0.75, 0.25], abs=0.01)


def test_numbers_do_not_go_with_the_draws_they_came_from():
    # Else the liking of a long lasting draw would always be averaged over many cups.
    drawn = counts_of([FEW] * 200 + [MANY] * 200).draw(line_near(3.0))
    assert np.mean(drawn[:200] == 3) == pytest.approx(0.5, abs=0.02)


def test_draws_that_agree_with_the_endings_decide_and_nothing_worthwhile_counts_as_one():
    agreed = np.zeros((2, LINES.size))
    agreed[0] = -50.0
    assert set(counts_of([FEW, MANY], log_likelihood=agreed).draw(line_near(3.0))) == {3}
    assert set(counts_of([[0.1, 0.0, 0.0, 0.0]] * 2).draw(line_near(3.0))) == {1}


def test_finish_line_is_the_one_that_both_sides_and_the_team_make_likely():
    assert LINES[likely_line([counts_of([FEW]), counts_of([MANY])], line=FinishLine(mean=2.0, sd=0.2))] == (
        pytest.approx(2.0, abs=0.3)
    )
    at_four = np.where(np.arange(LINES.size) == line_near(4.0), 0.0, -100.0)[None, :]
    sides = [counts_of([FEW], log_likelihood=at_four), counts_of([MANY])]
    assert likely_line(sides, line=FinishLine()) == line_near(4.0)


def test_lot_of_more_cups_outlasts():
    more, fewer = outlasting(counts_of([MANY]), counts_of([FEW]), weights=np.ones((1, 1)), line=FinishLine())
    assert more > 0.8
    assert fewer < 0.1
