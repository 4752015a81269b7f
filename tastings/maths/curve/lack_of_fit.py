"""Where the extraction model ends: shapes with two humps, or an attribute that does not follow extraction.

What the ratings leave over, once each session's own shift and gain are out, is pooled by infusion number. If these
means scatter far more than the ratings of one infusion do among themselves (an F test) and one of them is off by more
than half a point, the model does not fit. The curve shown is then a smooth of the adjusted means: a deviation from the
model's curve with a smooth prior, one point large and correlated over about an infusion, fading to nothing beyond the
infusions tasted. Three sessions are needed to tell a lack_of_fit from a bad day.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import fdtrc

from tastings.maths.arrays import FloatArray, IntArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST

LEAST_SESSIONS = 3
LEAST_INFUSIONS = 5
LEAST_SPARE = 8
RARE = 0.001
LEAST_POINTS = 0.6
DEVIATION_SD = 1.0
DEVIATION_REACH = 1.2
_SHIFT_SD, _GAIN_SD, _NOISE_VARIANCE = 0.55, 0.17, 0.5


@dataclass(frozen=True, slots=True)
class Residuals:
    """What one session's ratings leave over: infusion numbers, residuals and the curve at its cups [points]."""

    number: IntArray
    residual: FloatArray
    expected: FloatArray


@dataclass(frozen=True, slots=True)
class LackOfFit:
    """A smooth deviation of the even-brew curve from the extraction model."""

    mean: FloatArray  # float64[n_infusions]: to be added to the model's curve [points]
    root: FloatArray  # float64[n_infusions, n_infusions]: Cholesky factor of its covariance [points]
    worst: int  # the infusion that is furthest off

    def applied(self, cups: FloatArray) -> FloatArray:
        """Return each draw of the curve, float64[n_draws, at least n_infusions], with a draw of the deviation."""
        rng = np.random.default_rng(1974)  # the same figures each time
        n = self.mean.size
        moved = cups.copy()
        moved[:, :n] += self.mean + rng.standard_normal((len(cups), n)) @ self.root.T
        return np.clip(moved, LOWEST, HIGHEST)


def lack_of_fit(left: Sequence[Residuals], *, infusions: int) -> LackOfFit | None:
    """Say whether, and how, the ratings depart from the extraction model.

    Parameters
    ----------
    left : Sequence[Residuals]
        One entry per session, ratings at an end of the scale left out.
    infusions : int
        Infusions of the even brew.

    Returns
    -------
    LackOfFit or None
        None when the model fits, or when there are fewer than three sessions, five infusions rated twice, or eight
        ratings to spare.
    """
    if len(left) < LEAST_SESSIONS:
        return None
    number = np.concatenate([session.number for session in left])
    residual = np.concatenate([_own_scale_out(session) for session in left])
    inside = (number >= 1) & (number <= infusions)
    number, residual = number[inside] - 1, residual[inside]
    count = np.bincount(number, minlength=infusions)
    used = (count >= 2)[number]
    number, residual = number[used], residual[used]
    rated = np.flatnonzero(count >= 2)
    spare = residual.size - rated.size - len(left)
    if rated.size < LEAST_INFUSIONS or spare < LEAST_SPARE:
        return None
    mean = np.bincount(number, weights=residual, minlength=infusions) / np.maximum(count, 1)
    within = float(((residual - mean[number]) ** 2).sum()) / spare + 1e-3  # half-point steps never agree better
    between = float((count[rated] * mean[rated] ** 2).sum()) / (rated.size - 2)
    worst = int(rated[np.abs(mean[rated]).argmax()])
    rarity = fdtrc(rated.size - 2, spare, between / within)
    if rarity > RARE or abs(mean[worst]) < LEAST_POINTS:
        return None
    place = np.arange(infusions)
    # A smoother kernel swings past the data: 0.3 at infusion 9 after 7, 3, 7, 3.
    prior = DEVIATION_SD**2 * np.exp(-np.abs(place[:, None] - place) / DEVIATION_REACH)
    gain = np.linalg.solve(prior[np.ix_(rated, rated)] + np.diag(within / count[rated]), prior[rated]).T
    covariance = prior - gain @ prior[rated] + 1e-9 * np.eye(infusions)
    return LackOfFit(
        mean=gain @ mean[rated], root=np.asarray(np.linalg.cholesky(covariance), dtype=np.float64), worst=worst + 1
    )


def _own_scale_out(session: Residuals) -> FloatArray:
    """Return the residuals without what the session's own shift and gain explain (ridge, its two equations solved)."""
    residual, column = session.residual, session.expected * _GAIN_SD
    shift_shift = residual.size * _SHIFT_SD**2 / _NOISE_VARIANCE + 1
    gain_gain = float(column @ column) / _NOISE_VARIANCE + 1
    shift_gain = float(column.sum()) * _SHIFT_SD / _NOISE_VARIANCE
    shift_y = float(residual.sum()) * _SHIFT_SD / _NOISE_VARIANCE
    gain_y = float(column @ residual) / _NOISE_VARIANCE
    both = shift_shift * gain_gain - shift_gain**2
    shift = (gain_gain * shift_y - shift_gain * gain_y) / both
    gain = (shift_shift * gain_y - shift_gain * shift_y) / both
    return np.asarray(residual - shift * _SHIFT_SD - gain * column, dtype=np.float64)
