"""What the extraction model leaves open: a drift of late cups, and an error of the first one.

Leaf opens, breaks and wets unevenly; one rate and one lag follow that for a few infusions and drift off later. In
simulated worlds that the model does not assume, bands without the drift held the truth less often with each infusion,
and were narrowest at the last one, where hardly anybody had tasted (``docs/study.md``). Its size is our own value,
chosen there: 0.3 points at the twelfth infusion, nothing at the first, less for weak cups, which cannot fall below 0,
less where ratings pin it down, and more the further an infusion lies beyond the last that anybody rated. The first cup
depends on how the dry leaf took the rinse, which the one lag of the model follows only roughly, in every session
alike: that error is not pinned down by ratings.
"""

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.curve.lack_of_fit import LackOfFit

DRIFT_SD = 0.3
DRIFT_INFUSION = 12
"""The infusion at which the drift has its full size and stops growing. [from 1]"""
HALF_PINNED = 1.5
"""So many ratings of an infusion halve the drift's variance there."""
WEAK_CUP = 1.0
"""Strength at which the drift has half its size. [points]"""
BEYOND_SD = 0.05
"""What each infusion after the last rated one adds to the drift. [points]"""
FIRST_SD, FIRST_FADES = 0.2, 0.3
"""Error of the first cup, and what part of it the next one has. [points], [1]"""
_STEPS = 3**0.5 - 1, 7**0.5 - 2  # other lattices than those of the draws, of their rates and of pairs


@dataclass(frozen=True, slots=True)
class ModelError:
    """What a lot's curve of one attribute may depart from the extraction model by.

    Parameters
    ----------
    rated : tuple[int, ...]
        The infusion of each rating.
    lack_of_fit : LackOfFit or None
        None while the ratings follow the model.
    """

    rated: tuple[int, ...]
    lack_of_fit: LackOfFit | None

    @classmethod
    def of(cls, infusions: Iterable[int], *, lack_of_fit: LackOfFit | None) -> "ModelError":
        """Return it for ratings of these infusions."""
        return cls(rated=tuple(infusions), lack_of_fit=lack_of_fit)

    def applied(self, cups: FloatArray) -> FloatArray:
        """Return draws of the even-brew cups with a draw of the model's error each; the same for the same input.

        Parameters
        ----------
        cups : float64[n_draws, n_infusions]
            Of infusion 1, 2, ... [points, 0 to 10]
        """
        if self.lack_of_fit is not None:
            cups = self.lack_of_fit.applied(cups)
        return np.asarray(np.clip(cups + self._drift(cups), LOWEST, HIGHEST), dtype=np.float64)

    def _drift(self, cups: FloatArray) -> FloatArray:
        n_draws, n_infusions = cups.shape
        last = max(self.rated, default=0)
        n_rated = np.bincount(np.array(self.rated, dtype=np.intp), minlength=n_infusions + 1)[1 : n_infusions + 1]
        number = np.minimum(np.arange(1, n_infusions + 1), DRIFT_INFUSION)
        place = (number - 1) / (DRIFT_INFUSION - 1)
        late, first = DRIFT_SD * place, FIRST_SD * FIRST_FADES ** np.arange(n_infusions)
        pinned = np.sqrt(1 + n_rated / HALF_PINNED)
        z_late, z_first = (
            ndtri(np.clip((0.5 + np.arange(n_draws) * step) % 1.0, 1e-6, 1 - 1e-6))[:, None] for step in _STEPS
        )
        beyond = BEYOND_SD * np.maximum(number - last, 0)
        drift = z_late * (late / pinned + beyond) + z_first * first
        return np.asarray(drift * cups / (cups + WEAK_CUP), dtype=np.float64)
