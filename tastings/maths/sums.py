"""What the ratings of one attribute add up to, with tasters' and sessions' own gains and shifts integrated out.

A rating of infusion j in session s by taster t is ``y = (a + a d) h_j + u + e`` on the team's scale, where

* the gain d is the taster's (N(0, 0.15^2) until calibrated) plus the session's own, N(0, 0.08^2);
* the shift u is the taster's (N(0, 0.5^2) until calibrated) plus the session's own, N(0, 0.2^2);
* e ~ N(0, sigma^2).

Given k, tau, n (inside h) and sigma everything is normal. A shift is a constant column and a gain a column along h, so
each integrates out by a rank-one update (Sherman-Morrison), first the session's, then, once a taster's sessions are
added up, the taster's. The length of a gain's column uses a first estimate of ``a``, made at each node without gains.
What remains is a quadratic in ``a``. Sessions add (:class:`TasterSums`), then tasters add (:class:`Sums`); a new
session adds to what is there, and ten sessions of one taster do not pass for ten opinions.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import reduce

import numpy as np

from tastings.maths.brewing import FloatArray
from tastings.maths.brews import TasterScale

SESSION_GAIN_SD = 0.08
SESSION_SHIFT_SD = 0.2
USUAL_SHIFT_SD = 0.55  # taster and session together
USUAL_SIGMA = 0.75
LEVEL_MEAN = 6.0
LEVEL_SD = 4.0

SIGMA = np.geomspace(0.4, 1.4, 7)
SIGMA.setflags(write=False)


@dataclass(frozen=True, slots=True)
class Tasted:
    """The ratings of one attribute in one session.

    Parameters
    ----------
    taster : str
        Who rated.
    scale : TasterScale
        How the taster uses the scale; gain and offset are already taken out of the figures below, their
        uncertainty is not.
    cups : float64[n_nodes, n_ratings]
        Strength h of the rated cups, times the taster's gain.
    ratings : float64[n_ratings]
        Ratings less the taster's offset. [points]
    ends : float64[n_ratings]
        -1 for a rating at the lower end of the scale, 1 at the upper, 0 between.
    """

    taster: str
    scale: TasterScale
    cups: FloatArray
    ratings: FloatArray
    ends: FloatArray


@dataclass(frozen=True, slots=True)
class TasterSums:
    """What one taster's sessions add up to, the taster's own gain and shift still in: products x' V^-1 y.

    Each is float64[n_sigma, n_nodes]; h stands for the cups, y for the ratings, 1 for a constant column.
    ``constant`` is y' V^-1 y plus the log determinant of V.
    """

    h_h: FloatArray
    h_y: FloatArray
    h_1: FloatArray
    y_1: FloatArray
    one_1: FloatArray
    constant: FloatArray

    def __add__(self, other: "TasterSums") -> "TasterSums":
        return TasterSums(
            h_h=self.h_h + other.h_h,
            h_y=self.h_y + other.h_y,
            h_1=self.h_1 + other.h_1,
            y_1=self.y_1 + other.y_1,
            one_1=self.one_1 + other.one_1,
            constant=self.constant + other.constant,
        )

    def settled(self, *, scale: TasterScale, level: FloatArray) -> "Sums":
        """Integrate out the taster's shift and gain, as uncertain as ``scale`` says."""
        shift_variance = scale.offset_sd**2
        gain_variance = (scale.gain_sd * level) ** 2
        shrink = shift_variance / (1 + shift_variance * self.one_1)
        h_h = self.h_h - shrink * self.h_1 * self.h_1
        h_y = self.h_y - shrink * self.h_1 * self.y_1
        damped = 1 + gain_variance * h_h
        return Sums(
            precision=h_h / damped,
            cross=h_y / damped,
            constant=self.constant
            - shrink * self.y_1 * self.y_1
            - gain_variance * h_y * h_y / damped
            + np.log1p(shift_variance * self.one_1)
            + np.log(damped),
        )


@dataclass(frozen=True, slots=True)
class Sums:
    """What all ratings add up to: minus twice the log likelihood is ``constant - 2 cross a + precision a^2``.

    Each is float64[n_sigma, n_nodes].
    """

    precision: FloatArray
    cross: FloatArray
    constant: FloatArray

    def __add__(self, other: "Sums") -> "Sums":
        return Sums(
            precision=self.precision + other.precision,
            cross=self.cross + other.cross,
            constant=self.constant + other.constant,
        )


def summed(tasted: Sequence[Tasted], *, level: FloatArray) -> Sums:
    """Add up sessions, taster by taster.

    Parameters
    ----------
    tasted : Sequence[Tasted]
        Ratings, none beyond an end of the scale (see :mod:`tastings.maths.ends`).
    level : float64[n_nodes]
        The first estimate of ``a`` that gives a gain's column its length. [points]

    Returns
    -------
    Sums
        Zero for no sessions.
    """
    zero = np.zeros((SIGMA.size, level.size))
    nothing = Sums(precision=zero, cross=zero, constant=zero)
    return reduce(Sums.__add__, sums_by_taster(tasted, level=level).values(), nothing)


def sums_by_taster(tasted: Sequence[Tasted], *, level: FloatArray) -> dict[str, Sums]:
    """Return the sums of each taster, in the order in which they first appear; arguments as in :func:`summed`."""
    sessions: dict[str, list[Tasted]] = {}
    for one in tasted:
        sessions.setdefault(one.taster, []).append(one)
    return {
        taster: taster_sums(own, level=level).settled(scale=own[0].scale, level=level)
        for taster, own in sessions.items()
    }


def taster_sums(sessions: Iterable[Tasted], *, level: FloatArray) -> TasterSums:
    """Add up the sessions of one taster, each session's own gain and shift integrated out.

    Parameters
    ----------
    sessions : Iterable[Tasted]
        Of one taster.
    level : float64[n_nodes]
        As in :func:`summed`. [points]

    Returns
    -------
    TasterSums
        Zero for no sessions.
    """
    shape = (SIGMA.size, level.size)
    h_h, h_y, h_1, y_1, one_1, constant = (np.zeros(shape) for _ in range(6))
    gain_variance = (SESSION_GAIN_SD * level) ** 2
    sigma_2 = (SIGMA * SIGMA)[:, None]
    along_h, along_y, part, work = (np.empty(shape) for _ in range(4))
    for one in sessions:
        n = one.ratings.size
        total = float(one.ratings.sum())
        shrink = 1 / (sigma_2 / SESSION_SHIFT_SD**2 + n)  # the share of a sum that the session's shift takes
        kept = (1 - shrink * n) / sigma_2
        cup_sum, cup_square, cup_rating = moments(one)
        # The session's shift out: x' V^-1 y = (x.y - shrink sum(x) sum(y)) / sigma^2.
        np.multiply(-shrink / sigma_2, cup_sum * cup_sum, out=along_h)
        np.multiply(1 / sigma_2, cup_square, out=work)
        along_h += work
        np.multiply(-shrink / sigma_2, cup_sum * total, out=along_y)
        np.multiply(1 / sigma_2, cup_rating, out=work)
        along_y += work
        # The session's gain out: every product x' V^-1 y loses (x' V^-1 h) (h' V^-1 y) times this factor.
        np.multiply(along_h, gain_variance, out=part)
        part += 1.0
        np.log(part, out=work)
        constant += work
        np.divide(gain_variance, part, out=part)
        along_1 = kept * cup_sum
        for into, left, right in (
            (h_h, along_h, along_h),
            (h_y, along_h, along_y),
            (h_1, along_h, along_1),
            (y_1, along_y, along_1),
            (one_1, along_1, along_1),
            (constant, along_y, along_y),
        ):
            np.multiply(left, right, out=work)
            work *= part
            np.subtract(into, work, out=into)
        h_h += along_h
        h_y += along_y
        h_1 += along_1
        y_1 += kept * total
        one_1 += kept * n
        squares = (float(one.ratings @ one.ratings) - shrink * total**2) / sigma_2
        constant += squares + n * np.log(sigma_2) + np.log1p(n * SESSION_SHIFT_SD**2 / sigma_2)
    return TasterSums(h_h=h_h, h_y=h_y, h_1=h_1, y_1=y_1, one_1=one_1, constant=constant)


def level_at_nodes(tasted: Sequence[Tasted], *, n_nodes: int) -> FloatArray:
    """Return a first estimate of ``a`` at each node: usual noise and shifts, no gains [points, 0.2 to 20]."""
    precision = np.full(n_nodes, LEVEL_SD**-2)
    cross = np.full(n_nodes, LEVEL_MEAN / LEVEL_SD**2)
    for one in tasted:
        shrink = 1 / (USUAL_SIGMA**2 / USUAL_SHIFT_SD**2 + one.ratings.size)
        cup_sum, cup_square, cup_rating = moments(one)
        precision += (cup_square - shrink * cup_sum * cup_sum) / USUAL_SIGMA**2
        cross += (cup_rating - shrink * cup_sum * one.ratings.sum()) / USUAL_SIGMA**2
    return np.asarray(np.clip(cross / precision, 0.2, 20.0), dtype=np.float64)


def moments(one: Tasted) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the sum of the cups, of their squares, and of cup times rating, at each node."""
    return one.cups.sum(axis=1), np.einsum("ij,ij->i", one.cups, one.cups), one.cups @ one.ratings
