"""Integrates out the tasters' gains and shifts, and centres the scale on the team's mean.

The common scale is the team's mean: gains average 1 and shifts 0 over its members. Centring makes the departures of
gains, and those of shifts, sum to zero over the tasters of the lot and the members who have not tasted it, whose number
is estimated (:func:`expected_absent_tasters`). This is for tasters not calibrated yet; calibration centres its scales
itself. Without centring, the intervals of a lot that a whole team has tasted were a third too wide in simulation.
"""

from collections import Counter
from collections.abc import Collection, Iterable
from dataclasses import dataclass, fields, replace
from functools import reduce

import numpy as np
from scipy.special import gammaln

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.curve.level import USUAL_SIGMA
from tastings.maths.curve.sufficient_statistics import SIGMA, TasterStatistics

_TEAM_SIZES = np.arange(4.0, 61.0)
LEAST_ABSENT = 0.01
"""Somebody may always join the team; with nobody at all the sums of calibrated tasters could not be divided."""
_UNKNOWN = TasterScale()


@dataclass(frozen=True, slots=True)
class TeamStatistics:
    """Statistics summed over tasters; each is float64[n_sigma, n_nodes].

    They give a :class:`Quadratic`. Given ``a`` and ``s``, a taster's shift and gain are normal with mean ``first - a
    second - s third`` and a covariance; their sums over tasters are ``shift_*``, ``gain_*``, ``shift_shift``,
    ``shift_gain`` and ``gain_gain``.
    """

    precision: FloatArray
    cross: FloatArray
    constant: FloatArray
    shift_first: FloatArray
    shift_second: FloatArray
    gain_first: FloatArray
    gain_second: FloatArray
    shift_shift: FloatArray
    shift_gain: FloatArray
    gain_gain: FloatArray
    order_level: FloatArray
    order_cross: FloatArray
    order_order: FloatArray
    shift_third: FloatArray
    gain_third: FloatArray

    def __add__(self, other: "TeamStatistics") -> "TeamStatistics":
        return TeamStatistics(*(getattr(self, row.name) + getattr(other, row.name) for row in fields(self)))

    def centred_on_team(self, *, n_absent: float) -> "Quadratic":
        """Condition on all shifts, and all gains, summing to 0, those of the absent members included."""
        shift_shift = self.shift_shift + n_absent * taster_shift_sd(_UNKNOWN, SIGMA)[:, None] ** 2
        gain_gain = self.gain_gain + n_absent * _UNKNOWN.gain_sd**2
        determinant = shift_shift * gain_gain - self.shift_gain * self.shift_gain
        # The inverse of the covariance of the two sums, applied to their means.
        shift = (gain_gain * self.shift_second - self.shift_gain * self.gain_second) / determinant
        gain = (shift_shift * self.gain_second - self.shift_gain * self.shift_second) / determinant
        shift_0 = (gain_gain * self.shift_first - self.shift_gain * self.gain_first) / determinant
        gain_0 = (shift_shift * self.gain_first - self.shift_gain * self.shift_first) / determinant
        shift_s = (gain_gain * self.shift_third - self.shift_gain * self.gain_third) / determinant
        gain_s = (shift_shift * self.gain_third - self.shift_gain * self.shift_third) / determinant
        return Quadratic(
            precision=self.precision + shift * self.shift_second + gain * self.gain_second,
            cross=self.cross + shift * self.shift_first + gain * self.gain_first,
            constant=self.constant + shift_0 * self.shift_first + gain_0 * self.gain_first + np.log(determinant),
            order_level=self.order_level + shift_s * self.shift_second + gain_s * self.gain_second,
            order_cross=self.order_cross + shift_s * self.shift_first + gain_s * self.gain_first,
            order_order=self.order_order + shift_s * self.shift_third + gain_s * self.gain_third,
        )


@dataclass(frozen=True, slots=True)
class Quadratic:
    """Minus twice a log likelihood of the level ``a`` and the slope ``s`` of a cup's order, up to a number.

    ``constant - 2 cross a + precision a^2 - 2 order_cross s + 2 order_level a s + order_order s^2``, each
    float64[n_sigma, n_nodes].
    """

    precision: FloatArray
    cross: FloatArray
    constant: FloatArray
    order_level: FloatArray
    order_cross: FloatArray
    order_order: FloatArray

    def without_slope(self, *, mean: float, sd: float) -> "Quadratic":
        """Integrate out the slope, normal before any evidence."""
        precision_s = self.order_order + sd**-2
        cross_s = self.order_cross + mean * sd**-2
        return replace(
            self,
            precision=self.precision - self.order_level**2 / precision_s,
            cross=self.cross - self.order_level * cross_s / precision_s,
            constant=self.constant + (mean / sd) ** 2 - cross_s**2 / precision_s + np.log(precision_s * sd**2),
        )


def expected_absent_tasters(n_sessions: Collection[int], *, n_tasters: int | None = None) -> float:
    """Return the expected number of team members who have not tasted a lot.

    Parameters
    ----------
    n_sessions : Collection[int]
        Number of sessions of each taster.
    n_tasters : int, optional
        How many tasters the team has, where that is known.

    Returns
    -------
    float
        Few when tasters return, many when each session has another taster. One taster who returns is not a whole team.

    Notes
    -----
    A team has N tasters, N from 4 to 60 with a prior of N^-3 (own choice), and each session is by any of them. Then d
    different tasters in n sessions have the likelihood N! / (N - d)! N^n.

    Examples
    --------
    >>> [round(expected_absent_tasters(n), 1) for n in ([], [1], [8], [2, 3, 3], [1] * 8)]
    [6.7, 5.7, 3.1, 1.3, 17.0]
    >>> expected_absent_tasters([8], n_tasters=4), expected_absent_tasters([8], n_tasters=1)
    (3, 0.01)
    """
    n_seen = len(n_sessions)
    if n_tasters is not None:
        return max(n_tasters - n_seen, LEAST_ABSENT)
    size = _TEAM_SIZES[n_seen <= _TEAM_SIZES] if n_seen <= _TEAM_SIZES[-1] else np.array([float(n_seen)])
    log_weight = gammaln(size + 1) - gammaln(size - n_seen + 1) - (sum(n_sessions) + 3) * np.log(size)
    return float(np.average(size, weights=np.exp(log_weight - log_weight.max()))) - n_seen


def open_share(tasters: Collection[str], *, n_tasters: int | None = None) -> float:
    """Return the variance of the mean shift of a lot's sessions against the team's, in that of one taster's shift.

    Parameters
    ----------
    tasters : Collection[str]
        Who tasted each session.
    n_tasters : int, optional
        How many tasters the team has, where that is known.

    Examples
    --------
    >>> round(open_share(["ann", "ben", "cho", "dee"], n_tasters=4), 3), open_share(["ann"] * 8, n_tasters=4)
    (0.001, 0.75)
    """
    n_sessions = Counter(tasters).values()
    absent = expected_absent_tasters(n_sessions, n_tasters=n_tasters)
    return max(sum((n / len(tasters)) ** 2 for n in n_sessions) - 1 / (len(n_sessions) + absent), 0.0)


def empty_statistics(*, n_nodes: int) -> TeamStatistics:
    """Return the sums of no tasters."""
    zero = np.zeros((SIGMA.size, n_nodes))
    return TeamStatistics(*[zero] * 15)


def sum_tasters(tasters: Iterable[tuple[TasterStatistics, TasterScale]], *, level: FloatArray) -> TeamStatistics:
    """Add up tasters.

    Parameters
    ----------
    tasters : Iterable[tuple[TasterStatistics, TasterScale]]
        The statistics of each taster's sessions, and the uncertainty of the taster's scale.
    level : float64[n_nodes]
        A first estimate of ``a``: the length of the gain's column. [points]

    Returns
    -------
    TeamStatistics
        Zero for no tasters.
    """
    integrated = (_integrate_out_taster(sums, scale=scale, level=level) for sums, scale in tasters)
    return reduce(TeamStatistics.__add__, integrated, empty_statistics(n_nodes=level.size))


def unknown_shift_sd(sigma: FloatArray | float) -> FloatArray:
    """Return the sd of the shift of a taster who is not calibrated yet [points].

    It grows with the noise, beyond the usual one: who rates less evenly also places the scale so. 0.5 at the usual
    noise, 1.35 at that of retests in published panels, whose tasters differed by 1.35.
    """
    return _UNKNOWN.offset_sd + 0.86 * np.maximum(np.asarray(sigma) - USUAL_SIGMA, 0.0)


def is_calibrated(scale: TasterScale) -> bool:
    """Return whether calibration has learned anything of how a taster uses the scale."""
    return scale.gain_sd < _UNKNOWN.gain_sd


def taster_shift_sd(scale: TasterScale, sigma: FloatArray | float) -> FloatArray:
    """Return the sd of a taster's shift at a noise of ratings [points]; that of a calibrated taster is known.

    It grows with the noise from ``offset_sd``, by the same factor whatever that is.
    """
    if is_calibrated(scale):
        return np.full_like(sigma, scale.offset_sd)
    return np.asarray(unknown_shift_sd(sigma) * (scale.offset_sd / _UNKNOWN.offset_sd))


def _integrate_out_taster(sums: TasterStatistics, *, scale: TasterScale, level: FloatArray) -> TeamStatistics:
    """Integrate out a taster's shift (a constant column) and gain (a column along the cups, scaled by the level).

    Both are in units of their prior sd, so that a scale known exactly (sd 0) is no special case.
    """
    unknown = (scale.gain_sd, scale.offset_sd) == (_UNKNOWN.gain_sd, _UNKNOWN.offset_sd)
    shift_sd, column_length = taster_shift_sd(scale, SIGMA)[:, None], scale.gain_sd * level
    shift_1, gain_1 = shift_sd * sums.h_1, column_length * sums.h_h
    shift_y, gain_y = shift_sd * sums.y_1, column_length * sums.h_y
    shift_r, gain_r = shift_sd * sums.one_r, column_length * sums.h_r
    shift_shift = 1 + shift_sd**2 * sums.one_1
    gain_gain = 1 + column_length * gain_1
    shift_gain = column_length * shift_1
    determinant = shift_shift * gain_gain - shift_gain * shift_gain
    shift_shift, gain_gain, shift_gain = gain_gain / determinant, shift_shift / determinant, -shift_gain / determinant
    shift_first = shift_shift * shift_y + shift_gain * gain_y
    gain_first = shift_gain * shift_y + gain_gain * gain_y
    shift_second = shift_shift * shift_1 + shift_gain * gain_1
    gain_second = shift_gain * shift_1 + gain_gain * gain_1
    shift_third = shift_shift * shift_r + shift_gain * gain_r
    gain_third = shift_gain * shift_r + gain_gain * gain_r
    none = np.zeros_like(determinant)
    return TeamStatistics(
        precision=sums.h_h - shift_second * shift_1 - gain_second * gain_1,
        cross=sums.h_y - shift_second * shift_y - gain_second * gain_y,
        constant=sums.constant - shift_first * shift_y - gain_first * gain_y + np.log(determinant),
        shift_first=shift_sd * shift_first if unknown else none,
        shift_second=shift_sd * shift_second if unknown else none,
        gain_first=scale.gain_sd * gain_first if unknown else none,
        gain_second=scale.gain_sd * gain_second if unknown else none,
        shift_shift=shift_sd**2 * shift_shift if unknown else none,
        shift_gain=shift_sd * scale.gain_sd * shift_gain if unknown else none,
        gain_gain=scale.gain_sd**2 * gain_gain if unknown else none,
        order_level=sums.h_r - shift_third * shift_1 - gain_third * gain_1,
        order_cross=sums.y_r - shift_third * shift_y - gain_third * gain_y,
        order_order=sums.r_r - shift_third * shift_r - gain_third * gain_r,
        shift_third=shift_sd * shift_third if unknown else none,
        gain_third=scale.gain_sd * gain_third if unknown else none,
    )
