"""What the endings of sessions say about how far the leaf goes.

A taster finds infusion j spent with probability logistic((line - m_j) / 0.35), where m_j is the strength of that
session's cup and ``line`` the team's finish line, N(2.5, 1) until more is known. A session that ended ``spent`` is the
event itself; one that ``stopped`` only says that it had not come yet (most stop because the hour is over, not the
leaf); ``more_low`` to ``more_high`` further infusions is an interval, widened by one each side. Each draw of the
strength is weighed together with each finish line by how well it agrees with all endings.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import steeped
from tastings.maths.curve.evidence import Followed
from tastings.maths.curve.posterior import Draws

SPENT, STOPPED = "spent", "stopped"
SOFTNESS = 0.35
MOST_FURTHER = 20
N_DRAWS = 512

LINES = np.linspace(0.25, 5.75, 23)
LINES.setflags(write=False)


@dataclass(frozen=True, slots=True)
class FinishLine:
    """The strength below which a team finds a cup spent: mean and standard deviation [points]."""

    mean: float = 2.5
    sd: float = 1.0

    def log_weights(self) -> FloatArray:
        """Return the log weight of each of :data:`LINES`."""
        log_weight = -0.5 * ((LINES - self.mean) / max(self.sd, 0.05)) ** 2
        return np.asarray(log_weight - np.log(np.exp(log_weight).sum()), dtype=np.float64)


def agreement(followed: Sequence[Followed], *, draws: Draws, grid: Grid) -> FloatArray:
    """Return how well each draw and finish line agree with all endings.

    Parameters
    ----------
    followed : Sequence[Followed]
        Sessions; those without an ending or a guess of what is left say nothing.
    draws : Draws
        Of the strength.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    float64[n_draws, n_lines]
        Log likelihood, 0 where there are no endings.
    """
    total = np.zeros((draws.level.size, LINES.size))
    for one in followed:
        total += _of_session(one, draws=draws, grid=grid)
    return total


def line_evidence(agreed: FloatArray) -> tuple[float, ...]:
    """Return the log likelihood of each of :data:`LINES`, the draws averaged out; what one lot says about the line."""
    top = agreed.max()
    mean = np.exp(agreed - top).mean(axis=0)
    return tuple(float(x) for x in np.log(np.maximum(mean, 1e-300)) + top)


def finish_line(evidence: Iterable[Sequence[float]], *, prior: FinishLine | None = None) -> FinishLine:
    """Return a team's finish line from what several lots say.

    Parameters
    ----------
    evidence : Iterable[Sequence[float]]
        Of each lot, from :func:`line_evidence`.
    prior : FinishLine, optional
        Before any lot; N(2.5, 1) when left out.

    Returns
    -------
    FinishLine
        Mean and standard deviation over :data:`LINES`.

    Examples
    --------
    >>> round(finish_line([]).mean, 1)
    2.5
    """
    log_weight = (prior or FinishLine()).log_weights() + sum(
        (np.asarray(one) for one in evidence), np.zeros(LINES.size)
    )
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    mean = float(weight @ LINES)
    return FinishLine(mean=mean, sd=float(np.sqrt(weight @ (LINES - mean) ** 2)))


def _of_session(one: Followed, *, draws: Draws, grid: Grid) -> FloatArray | float:
    brew = one.brew
    numbers = [pour.number for pour in one.pours]
    guessed = brew.more_low is not None or brew.more_high is not None
    whole = numbers[-1] == max(pour.number for pour in brew.pours)
    if not whole or numbers[-1] < 1 or not (brew.ending in {SPENT, STOPPED} or guessed):
        return 0.0
    first = 1 if numbers[0] == 0 else 0
    drunk = len(numbers) - first
    low, high = max(brew.more_low or 0, 0), brew.more_high
    if brew.ending == SPENT or not guessed:
        cups = draws.cups(one.cups)[:, first:]
        before = _log_survival(cups[:, :-1])
        after = before + _log_survival(cups[:, -1:])
        return after if brew.ending != SPENT else _log_difference(before, after)
    further = min(max(low, high or 0), MOST_FURTHER) + 2
    last = one.pours[-1]
    longer = (*one.pours, *(replace(last, number=last.number + extra) for extra in range(1, further + 1)))
    cups = draws.cups(cup_strength(steeped(brew, longer), grid=grid))[:, first:]
    # k further good infusions: the one spent is number drunk + k + 1; widened by one each side.
    at_least = min(drunk + low - 1, drunk + further)
    from_low = _log_survival(cups[:, :at_least])
    if high is None or high > MOST_FURTHER:
        return from_low
    return _log_difference(from_low, from_low + _log_survival(cups[:, at_least : drunk + max(high, low) + 2]))


_LINE_FACTOR = np.exp(LINES / SOFTNESS)
_AT_ONCE = 40  # the product of so many odds stays below 1e290


def _log_survival(cups: FloatArray) -> FloatArray:
    """Return float64[n_draws, n_lines]: log probability that none of these infusions was found spent.

    The odds of finding one spent, exp((line - cup) / softness), are a factor of the line times one of the cup.
    """
    found = np.zeros((len(cups), LINES.size))
    for start in range(0, cups.shape[1], _AT_ONCE):
        odds = np.exp(cups[:, None, start : start + _AT_ONCE] / -SOFTNESS) * _LINE_FACTOR[:, None]
        odds += 1
        found -= np.log(odds.prod(axis=2))
    return found


def _log_difference(larger: FloatArray, smaller: FloatArray) -> FloatArray:
    """Return log(exp(larger) - exp(smaller)), held to what a mistaken ending may cost at most."""
    gap = np.maximum(larger - smaller, 1e-12)
    return np.asarray(np.maximum(larger + np.log(-np.expm1(-gap)), -12.0), dtype=np.float64)
