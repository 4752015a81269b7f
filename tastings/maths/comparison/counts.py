"""How many worthwhile infusions each draw of a lot has, at every finish line, and who has more of them."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.certainty import never_certain
from tastings.maths.comparison.alike import ALIKE
from tastings.maths.curve.endings import LINES, FinishLine

_LEAST_LOG_LIKELIHOOD = -200.0  # below the most; spares the slow arithmetic of numbers next to 0
_STEP = 3**0.5 - 1  # another lattice than those of the draws and of the sides' shift


@dataclass(frozen=True, slots=True)
class Counts:
    """How well each draw agrees with the endings at each finish line, at its number of worthwhile infusions.

    Both are float64[n_lines, n_draws, 1 + n_infusions], 0 at every other number: ``unrelated`` with the model's error,
    ``alike`` without, since what the model leaves open of a leaf is the same for its like.
    """

    unrelated: FloatArray
    alike: FloatArray

    @classmethod
    def of(cls, cups: FloatArray, *, alike: FloatArray, log_likelihood: FloatArray) -> "Counts":
        """Count the infusions of draws above each finish line.

        Parameters
        ----------
        cups, alike : float64[n_draws, n_infusions]
            Even-brew cups with the model's error and without. [points]
        log_likelihood : float64[n_draws, n_lines]
            Of the endings of the sessions.
        """
        likelihood = np.exp(np.maximum(log_likelihood - log_likelihood.max(), _LEAST_LOG_LIKELIHOOD))
        return cls(*(_at_counts(of_draws, likelihood=likelihood) for of_draws in (cups, alike)))

    def draw(self, line: int) -> IndexArray:
        """Return as many numbers of worthwhile infusions, at least 1, spread over how probable each is at a line.

        They go with the draws of another descriptor, so their order has nothing to do with that of these draws.
        """
        cumulative = np.cumsum(self.unrelated[line].sum(axis=0))
        quantile = (0.5 + np.arange(self.unrelated.shape[1]) * _STEP) % 1.0
        n_worthwhile = np.searchsorted(cumulative, quantile * cumulative[-1])
        return np.asarray(np.clip(n_worthwhile, 1, cumulative.size - 1), dtype=np.intp)


def likely_line(counts: Sequence[Counts], *, line: FinishLine) -> int:
    """Return the place of the most probable finish line, which holds for all groups."""
    weights = np.exp(line.log_weights())
    for side in counts:
        weights = weights * side.unrelated.sum(axis=(1, 2))
    return int(weights.argmax())


def outlasting(first: Counts, second: Counts, *, weights: FloatArray, line: FinishLine) -> tuple[float, float]:
    """Return the probabilities of more and of fewer infusions; one unknown finish line holds for both groups.

    ``weights`` are those of the draws of alike lots (:func:`tastings.maths.comparison.alike.alike_weights`).
    """
    facing_second = np.tensordot(first.alike, weights, axes=(1, 0))  # by line, count of the first, draw of the second
    by_line = (1 - ALIKE) * first.unrelated.sum(axis=1)[:, :, None] * second.unrelated.sum(axis=1)[:, None, :]
    by_line = by_line + ALIKE * (facing_second @ second.alike)
    joint = np.einsum("l,lij->ij", np.exp(line.log_weights()), by_line)
    joint /= joint.sum()
    return never_certain(float(np.tril(joint, -1).sum())), never_certain(float(np.triu(joint, 1).sum()))


def _at_counts(cups: FloatArray, *, likelihood: FloatArray) -> FloatArray:
    n_draws, n_infusions = cups.shape
    worth = cups[:, None, :] > LINES[:, None]
    last = np.where(worth.any(axis=2), n_infusions - worth[:, :, ::-1].argmax(axis=2), 0)
    counted = np.zeros((LINES.size, n_draws, n_infusions + 1))
    counted[np.arange(LINES.size), np.arange(n_draws)[:, None], last] = likelihood
    return counted
