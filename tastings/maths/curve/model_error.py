"""What the extraction model leaves open: a smooth error of the even-brew curve, as far as ratings do not settle it.

Leaf opens, breaks and wets unevenly; one rate and one lag follow that for a few infusions and drift off later, and the
first cup depends on how the dry leaf took the rinse. So the curve has an error with a Gaussian prior, large in the
first cup and in late ones, and correlated between neighbours (Kennedy and O'Hagan 2001, Journal of the Royal
Statistical Society B 63:425). What the ratings leave over is evidence of it: its mean is added to the curve, and what
stays open widens the band, the less the more an infusion was rated. The tasters' scale and the noise of ratings leave
something over too; that is allowed for.

The error's size is our own value, chosen in simulated worlds that the model does not assume (``docs/study.md``). It is
less for weak cups, which cannot fall below 0, so ratings of weak cups say less of it; and it grows beyond the last
infusion that anybody rated, as a random walk does, the less the more infusions were rated.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST, TasterScale
from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.curve.lack_of_fit import LackOfFit, Residuals
from tastings.maths.curve.scale_effects import unknown_shift_sd
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, session_shift_sd

USUAL_SD = 0.08
"""Sd of the error at every infusion. [points]"""
LATE_SD = 0.35
"""Sd of what is added by the twelfth infusion. [points]"""
FIRST_SD, FIRST_FADES = 0.9, 0.4
"""Sd of what is added at the first infusion of dry leaf [points], and the share of it that is left in the next cup."""
USUAL_DRYNESS = 0.35
"""How much of the leaf is dry in the middle of the first steep, where the leaf is not known. [share]"""
LATE_INFUSION = 12
"""The infusion at which the late error has its full size and stops growing. [from 1]"""
REACH = 2.5
"""Distance over which the correlation of two errors falls to 1/e. [infusions]"""
WEAK_CUP = 1.0
"""Strength at which the error has half its size. [points]"""
BEYOND_SD = 1.05
"""Sd of what each infusion after the last rated one adds to the error, over the square root of that one's number: 0.6
points where three were rated, 0.4 where eight were, since leaf that gave more cups is known better. The steps are
independent, so their variances add up. [points]"""
_BEYOND_STEP = 3**0.5 - 1  # another lattice than those of the draws, of their rates and of pairs
_UNKNOWN = TasterScale()


@dataclass(frozen=True, slots=True)
class ModelError:
    """What a lot's curve of one attribute may depart from the extraction model by."""

    mean: FloatArray  # float64[n_infusions]: of the error [points]
    root: FloatArray  # float64[n_infusions, n_infusions]: Cholesky factor of its covariance [points]
    last: int  # the last infusion that anybody rated
    lack_of_fit: LackOfFit | None  # None while the ratings follow the model

    @classmethod
    def of(cls, infusions: Iterable[int], *, strength: FloatArray) -> "ModelError":
        """Return what is open after ratings of these infusions, whatever they were.

        ``strength``, float64[n_infusions], is that of infusion 1, 2, ...; later ones count as strong as the last.
        [points]
        """
        number = np.array(list(infusions), dtype=np.int64)
        expected = strength[np.clip(number, 1, strength.size) - 1]
        nothing = Residuals(number=number, residual=np.zeros(number.size), expected=expected)
        return cls.given([nothing], infusions=MOST_INFUSIONS)

    @classmethod
    def given(  # noqa: PLR0913 - what is known of the ratings, one by one
        cls,
        left: Sequence[Residuals],
        *,
        infusions: int,
        sigma: float = 0.75,
        open_share: float = 0.0,
        dryness: float = USUAL_DRYNESS,
        lack_of_fit: LackOfFit | None = None,
    ) -> "ModelError":
        """Return what is open after the ratings.

        Parameters
        ----------
        left : Sequence[Residuals]
            What each session's ratings leave over.
        infusions : int
            Infusions of the curve.
        sigma : float
            Noise of a rating. [points]
        open_share : float
            Variance of the tasters' mean shift, in that of one taster's
            (:func:`tastings.maths.curve.scale_effects.open_share`).
        dryness : float
            How much of the leaf is dry in the middle of the first steep: most of slow leaf, hardly any of broken leaf,
            whose first cup the model therefore knows well. [share]
        lack_of_fit : LackOfFit or None
            Where there is one, it has the mean of the error already.
        """
        place = np.arange(infusions)
        sd = np.sqrt(
            USUAL_SD**2
            + (LATE_SD * np.minimum(place / (LATE_INFUSION - 1), 1)) ** 2
            + (FIRST_SD * dryness * FIRST_FADES**place) ** 2
        )
        covariance = np.outer(sd, sd) * np.exp(-np.abs(place[:, None] - place) / REACH)
        mean, last = np.zeros(infusions), 0
        number = np.concatenate([session.number for session in left]) if left else np.zeros(0, dtype=np.int64)
        inside = (number >= 1) & (number <= infusions)
        if inside.any():
            last, index = int(number[inside].max()), number[inside] - 1
            count = np.bincount(index, minlength=infusions)
            rated = np.flatnonzero(count)
            residual, expected = (
                np.bincount(index, weights=np.concatenate(values)[inside], minlength=infusions)[rated] / count[rated]
                for values in ([session.residual for session in left], [session.expected for session in left])
            )
            shift_2 = float(unknown_shift_sd(sigma)) ** 2 * open_share + float(session_shift_sd(sigma)) ** 2 / len(left)
            gain_2 = _UNKNOWN.gain_sd**2 * open_share + SESSION_GAIN_SD**2 / len(left)
            noise = np.diag(sigma**2 / count[rated]) + shift_2 + gain_2 * np.outer(expected, expected)
            share = expected / (expected + WEAK_CUP)
            seen = share[:, None] * covariance[rated]
            gain = np.linalg.solve(seen[:, rated] * share + noise, seen).T
            mean, covariance = gain @ residual, covariance - gain @ seen
        root = np.linalg.cholesky(covariance + 1e-9 * np.eye(infusions))
        return cls(mean, np.asarray(root, dtype=np.float64), last, lack_of_fit)

    def applied(self, cups: FloatArray) -> FloatArray:
        """Return draws of the even-brew cups with a draw of the model's error each; the same for the same input.

        Parameters
        ----------
        cups : float64[n_draws, n_infusions]
            Of infusion 1, 2, ..., as many as the error has or more, whose error is that of the last one. [points, 0 to
            10]
        """
        n_draws, n_infusions = cups.shape
        rng = np.random.default_rng(2001)  # the same figures each time
        error = rng.standard_normal((n_draws, self.mean.size)) @ self.root.T
        if self.lack_of_fit is None:
            error += self.mean
        else:
            cups = self.lack_of_fit.applied(cups)
        error = error[:, np.minimum(np.arange(n_infusions), self.mean.size - 1)]
        late = np.minimum(np.arange(1, n_infusions + 1), LATE_INFUSION)
        beyond = ndtri(np.clip((0.5 + np.arange(n_draws) * _BEYOND_STEP) % 1.0, 1e-6, 1 - 1e-6))[:, None]
        error += beyond * (BEYOND_SD * np.sqrt(np.maximum(late - self.last, 0) / max(self.last, 1)))
        return with_error(cups, error)


def with_error(cups: FloatArray, error: FloatArray) -> FloatArray:
    """Return cups with an error [points], less of it in weak cups, which cannot fall below 0."""
    return np.asarray(np.clip(cups + error * cups / (cups + WEAK_CUP), LOWEST, HIGHEST), dtype=np.float64)
