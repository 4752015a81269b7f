"""The likelihood of the endings of sessions: how many infusions the leaf gives.

A taster finds infusion j spent with probability logistic((line - m_j) / 0.35), where m_j is the strength of that
session's cup and ``line`` the team's finish line, N(2.5, 1) until more is known. Before the strongest cup of the even
brew hardly anybody calls a leaf spent. A session that ended ``spent`` is an observed event; one that
``stopped`` is right-censored (most stop because of the time, not the leaf); a guess of ``more_low`` to ``more_high``
further infusions is interval-censored, the interval widened by one on each side. Each pair of a draw of the strength
and a finish line is weighted by the likelihood of all endings.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tastings.maths.arrays import FloatArray, IntArray
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import steeping_of
from tastings.maths.curve.evidence import PreparedSession
from tastings.maths.curve.posterior import CurveDraws

SPENT, STOPPED = "spent", "stopped"
SOFTNESS = 0.35
PATIENCE = 2.0
"""A cup before the peak is called spent as readily as one after it when it is weaker by this (own value). [points]"""
MAX_FURTHER = 20
N_DRAWS = 512

LINES = np.linspace(0.25, 5.75, 23)
LINES.setflags(write=False)


@dataclass(frozen=True, slots=True)
class FinishLine:
    """The strength below which a team calls a cup spent: mean and standard deviation [points]."""

    mean: float = 2.5
    sd: float = 1.0

    def log_weights(self) -> FloatArray:
        """Return the log weight of each of :data:`LINES`."""
        log_weight = -0.5 * ((LINES - self.mean) / max(self.sd, 0.05)) ** 2
        return np.asarray(log_weight - np.log(np.exp(log_weight).sum()), dtype=np.float64)


def peak_of(draws: CurveDraws, *, even_cups: FloatArray) -> IntArray:
    """Return the infusion of each draw's strongest even-brew cup, int64[n_draws], from the cups of every node."""
    return np.asarray(even_cups.argmax(axis=1)[draws.node] + 1, dtype=np.int64)


def ending_log_likelihood(
    followed: Sequence[PreparedSession], *, draws: CurveDraws, peak: IntArray, grid: Grid
) -> FloatArray:
    """Return the log likelihood of all endings for each draw and finish line.

    Parameters
    ----------
    followed : Sequence[PreparedSession]
        Sessions; those without an ending or a guess contribute nothing.
    draws : CurveDraws
        Of the strength.
    peak : int64[n_draws]
        Infusion of the strongest even-brew cup of each draw (:func:`peak_of`). [from 1]
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    float64[n_draws, n_lines]
        0 without endings.
    """
    total = np.zeros((draws.level.size, LINES.size))
    for session in followed:
        total += _session_log_likelihood(session, draws=draws, peak=peak, grid=grid)
    return total


def line_log_likelihood(agreed: FloatArray) -> tuple[float, ...]:
    """Return one lot's log likelihood of each of :data:`LINES`, averaged over the draws."""
    top = agreed.max()
    mean = np.exp(agreed - top).mean(axis=0)
    return tuple(float(x) for x in np.log(np.maximum(mean, 1e-300)) + top)


def estimate_finish_line(evidence: Iterable[Sequence[float]]) -> FinishLine:
    """Estimate a team's finish line from several lots, with the prior N(2.5, 1).

    Parameters
    ----------
    evidence : Iterable[Sequence[float]]
        Of each lot, from :func:`line_log_likelihood`.

    Returns
    -------
    FinishLine
        Mean and standard deviation over :data:`LINES`.

    Examples
    --------
    >>> round(estimate_finish_line([]).mean, 1)
    2.5
    """
    log_weight = FinishLine().log_weights() + sum((np.asarray(lot) for lot in evidence), np.zeros(LINES.size))
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ LINES)
    return FinishLine(mean=mean, sd=float(np.sqrt(weight @ (LINES - mean) ** 2)))


def _session_log_likelihood(
    session: PreparedSession, *, draws: CurveDraws, peak: IntArray, grid: Grid
) -> FloatArray | float:
    brew = session.brew
    numbers = [pour.number for pour in session.pours]
    has_guess = brew.more_low is not None or brew.more_high is not None
    is_complete = numbers[-1] == max(pour.number for pour in brew.pours)
    if not is_complete or numbers[-1] < 1 or not (brew.ending in {SPENT, STOPPED} or has_guess):
        return 0.0
    first = 1 if numbers[0] == 0 else 0
    n_drunk = len(numbers) - first
    low, high = max(brew.more_low or 0, 0), brew.more_high
    if brew.ending == SPENT or not has_guess:
        cups = _from_the_peak(draws.cups(session.cups)[:, first:], peak=peak)
        before = _log_survival(cups[:, :-1])
        after = before + _log_survival(cups[:, -1:])
        return after if brew.ending != SPENT else _log_difference(before, after)
    n_further = min(max(low, high or 0), MAX_FURTHER) + 2
    last = session.pours[-1]
    longer = (*session.pours, *(replace(last, number=last.number + extra) for extra in range(1, n_further + 1)))
    cups = _from_the_peak(draws.cups(cup_strength(steeping_of(brew, longer), grid=grid))[:, first:], peak=peak)
    # With k further good infusions, number n_drunk + k + 1 is the spent one; widened by one on each side.
    n_survived = min(n_drunk + low - 1, n_drunk + n_further)
    from_low = _log_survival(cups[:, :n_survived])
    if high is None or high > MAX_FURTHER:
        return from_low
    return _log_difference(from_low, from_low + _log_survival(cups[:, n_survived : n_drunk + max(high, low) + 2]))


def _from_the_peak(cups: FloatArray, *, peak: IntArray) -> FloatArray:
    """Return the cups, float64[n_draws, n_drunk], with those before the peak hardly ever found spent."""
    number = np.arange(1, cups.shape[1] + 1)
    return np.where(number < peak[:, None], cups + PATIENCE, cups)


_LINE_FACTOR = np.exp(LINES / SOFTNESS)
_CHUNK = 40  # the product of so many odds stays below 1e290


def _log_survival(cups: FloatArray) -> FloatArray:
    """Return float64[n_draws, n_lines]: log probability that none of these infusions was found spent.

    The odds exp((line - cup) / softness) factor into one term of the line and one of the cup.
    """
    log_survival = np.zeros((len(cups), LINES.size))
    for start in range(0, cups.shape[1], _CHUNK):
        odds = np.exp(cups[:, None, start : start + _CHUNK] / -SOFTNESS) * _LINE_FACTOR[:, None]
        odds += 1
        log_survival -= np.log(odds.prod(axis=2))
    return log_survival


def _log_difference(larger: FloatArray, smaller: FloatArray) -> FloatArray:
    """Return log(exp(larger) - exp(smaller)), at least -12: the most that a mistaken ending may cost."""
    gap = np.maximum(larger - smaller, 1e-12)
    return np.asarray(np.maximum(larger + np.log(-np.expm1(-gap)), -12.0), dtype=np.float64)
