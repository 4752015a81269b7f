from dataclasses import replace

import numpy as np
import pytest

from tastings.maths.brewing.extraction import make_grid
from tastings.maths.curve.endings import LINES, FinishLine, ending_log_likelihood, estimate_finish_line
from tastings.maths.curve.evidence import prepare_sessions
from tastings.maths.curve.posterior import CurveDraws
from tests.maths.brewed import brew_of, developed

GRID = make_grid(n_k=4, n_tau=3, n_n=2)
DRAWS = CurveDraws(node=np.array([3, 11, 20]), level=np.array([4.0, 6.0, 8.0]))
FROM_THE_FIRST = np.array([1, 1, 1])
FADING = (6.0, 6.0, 5.0, 4.2, 3.5, 3.0, 2.5, 2.1)


def log_likelihood_of(*brews, peak=FROM_THE_FIRST):
    followed, _ = prepare_sessions(brews, grid=GRID, scales={})
    return ending_log_likelihood(followed, draws=DRAWS, peak=peak, grid=GRID)


def ended(ending, *, n=5, **changed):
    return brew_of("s", strength=[5] * n, ending=ending, **changed)


def steeps_of(ending, *, n_sessions=3, **changed):
    lot = [brew_of(f"s{i}", taster=f"t{i}", strength=FADING, ending=ending, **changed) for i in range(n_sessions)]
    return developed(lot).steeps


def test_probabilities_of_all_endings_sum_to_one():
    spent = sum(np.exp(log_likelihood_of(ended("spent", n=n))) for n in range(1, 6))
    outlasted = np.exp(log_likelihood_of(ended("stopped", n=5)))
    assert spent + outlasted == pytest.approx(1.0, abs=1e-4)


def test_cups_before_the_peak_are_hardly_a_chance_to_be_found_spent():
    """Slow leaf: two weak cups, then strong ones. Pouring on after the weak ones says nothing of the finish line."""
    late = np.array([4, 4, 4])
    at_risk, opening = (log_likelihood_of(ended("stopped", n=3), peak=peak) for peak in (FROM_THE_FIRST, late))
    weak = at_risk < -0.5
    assert weak.any()
    assert np.all(opening[at_risk > -2] > -0.02)
    assert np.all(opening[weak] > at_risk[weak])
    assert np.any(log_likelihood_of(ended("stopped", n=5), peak=late) < -0.1)


def test_sessions_without_an_ending_have_no_likelihood():
    assert np.all(log_likelihood_of(ended(None)) == 0)


def test_likelihoods_of_sessions_multiply():
    spent, stopped = ended("spent"), ended("stopped", n=3)
    assert log_likelihood_of(spent, stopped) == pytest.approx(log_likelihood_of(spent) + log_likelihood_of(stopped))


def test_open_guess_is_a_stop_one_infusion_earlier():
    # "at least two more", widened by one: infusion 6 of five poured is still good.
    guess = log_likelihood_of(ended("stopped", n=5, more_low=2))
    assert guess == pytest.approx(log_likelihood_of(ended("stopped", n=6)), abs=1e-9)


def test_closed_guess_is_an_interval():
    # "two to three more" after 5, widened by one each side: spent at infusion 7, 8, 9 or 10.
    guess = np.exp(log_likelihood_of(ended("stopped", n=5, more_low=2, more_high=3)))
    each = sum(np.exp(log_likelihood_of(ended("spent", n=n))) for n in (7, 8, 9, 10))
    assert guess == pytest.approx(each, abs=2e-4)


def test_the_count_ends_before_a_spent_infusion_and_goes_on_to_guesses_of_more():
    spent, unsaid, more = (
        steeps_of("spent"), steeps_of(None), steeps_of("stopped", more_low=4, more_high=6),
    )  # fmt: skip
    assert spent.recommended < len(FADING) < more.recommended
    assert spent.high - spent.low < unsaid.high - unsaid.low


def test_finish_line_is_estimated_from_undrunk_infusions():
    # Spent at a strength near 5 tells of a demanding team; poured on to 2 and never spent, of an easy one.
    demanding = developed([brew_of(f"s{i}", taster=f"t{i}", strength=[6, 6, 5], ending="spent") for i in range(4)])
    easy = developed([brew_of(f"s{i}", taster=f"t{i}", strength=FADING, ending="stopped") for i in range(4)])
    assert easy.steeps.finish_line < 2.5 < demanding.steeps.finish_line


def test_finish_line_of_a_team_combines_its_lots():
    lot = developed([brew_of(f"s{i}", taster=f"t{i}", strength=[6, 6, 5], ending="spent") for i in range(4)])
    one, two = estimate_finish_line([lot.line_evidence]), estimate_finish_line([lot.line_evidence] * 2)
    assert 2.5 < one.mean < two.mean
    assert two.sd < one.sd < FinishLine().sd


def test_known_line_narrows_the_count():
    lot = [brew_of(f"s{i}", taster=f"t{i}", strength=FADING) for i in range(4)]
    loose, tight = developed(lot).steeps, developed(lot, line=FinishLine(mean=2.5, sd=0.2)).steeps
    assert tight.high - tight.low < loose.high - loose.low


def test_line_weights_sum_to_one():
    assert np.exp(FinishLine().log_weights()).sum() == pytest.approx(1.0)
    assert LINES.size == FinishLine().log_weights().size


def test_ending_of_a_session_cut_short_by_a_gap_is_not_used():
    whole = ended("spent", n=5)
    cut = replace(whole, pours=(*whole.pours, replace(whole.pours[-1], number=40)))
    assert np.all(log_likelihood_of(cut) == 0)
