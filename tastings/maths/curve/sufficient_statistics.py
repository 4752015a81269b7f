"""What the ratings of one attribute add up to, with tasters' and sessions' own gains and shifts integrated out.

A rating of infusion j in session s by taster t is ``y = (a + a d) h_j + u + e`` on the team's scale, where

* the gain d is the taster's (N(0, 0.15^2) until calibrated) plus the session's own, N(0, 0.05^2);
* the shift u is the taster's (N(0, 0.5^2) until calibrated) plus the session's own, N(0, 0.15^2);
* e ~ N(0, sigma^2).

Given k, tau, n (inside h) and sigma everything is normal. A session's own shift is a constant column and its gain a
column along h, so each integrates out by a rank-one update (Sherman-Morrison). The length of a gain's column takes an
estimate of ``a`` made at each node without gains: the session's own estimate for the session's gain, so that a
session's sums depend on that session alone.

Sessions add up to a taster's total, in whole numbers: adding and taking away are exact, so a total does not depend on
the order in which sessions came, were corrected or were removed (:mod:`tastings.maths.curve.stored_totals`).
:mod:`tastings.maths.curve.scale_effects` goes on from there.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from functools import reduce
from struct import pack

import numpy as np

from tastings.maths.arrays import FloatArray, IndexArray, IntArray
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.brewing.heat import Steeping
from tastings.maths.curve.censoring import within_scale
from tastings.maths.curve.level import level_of, level_parts

SESSION_GAIN_SD = 0.05
SESSION_SHIFT_SD = 0.15

SIGMA = np.geomspace(0.4, 1.4, 7)
SIGMA.setflags(write=False)

PER_UNIT = 2.0**30
"""Steps of the whole numbers. A session's sums stay below 2^19 (60 ratings, noise 0.4), so that 2^14 sessions of one
taster at the very worst fit, and rounding moves a log likelihood by 1e-9."""
N_LEVEL_ROWS = 2
N_PRODUCTS = 6


@dataclass(frozen=True, slots=True)
class Tasted:
    """The ratings of one attribute in one session.

    Parameters
    ----------
    taster : str
        Who rated.
    scale : TasterScale
        How the taster uses the scale.
    steeping : Steeping
        Of every pour of the session.
    index : intp[n_ratings]
        Positions of the pours rated.
    ratings : float64[n_ratings]
        Ratings less the taster's offset. [points]
    ends : float64[n_ratings]
        -1 for a rating at the lower end of the scale, 1 at the upper, 0 between.
    """

    taster: str
    scale: TasterScale
    steeping: Steeping
    index: IndexArray
    ratings: FloatArray
    ends: FloatArray

    def cups(self, of_all_pours: FloatArray) -> FloatArray:
        """Return float64[n_nodes, n_ratings]: strength h of the rated cups, times the taster's gain."""
        return of_all_pours[:, self.index] * self.scale.gain

    @property
    def key(self) -> bytes:
        """Return everything that a session's sums are made of; how well the scale is known comes in later."""
        steeping = self.steeping
        return b"".join(
            (
                pack("2q", steeping.contact_s.size, self.index.size),
                steeping.contact_s.tobytes(),
                steeping.rate.tobytes(),
                steeping.ratio.tobytes(),
                self.index.tobytes(),
                self.ratings.tobytes(),
                self.ends.tobytes(),
                pack("d", self.scale.gain),
            )
        )


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

    @classmethod
    def of(cls, total: IntArray) -> "TasterSums":
        """Read a taster's total, from :func:`added`."""
        return cls(*(total[N_LEVEL_ROWS:] / PER_UNIT).reshape(N_PRODUCTS, SIGMA.size, -1))


def session_sums(one: Tasted, *, of_all_pours: FloatArray, grid: Grid) -> IntArray:
    """Return what one session adds to its taster's total.

    Parameters
    ----------
    one : Tasted
        The session.
    of_all_pours : float64[n_nodes, n_pours]
        Strength h of each cup, as :func:`tastings.maths.brewing.extraction.cup_strength` gives it on ``grid``.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    int64[2 + 6 n_sigma, n_nodes]
        Two rows for the level (:mod:`tastings.maths.curve.level`), then the six products of :class:`TasterSums`.
    """
    cups = one.cups(of_all_pours)
    ratings = within_scale(one.ratings, ends=one.ends, cups=cups, grid=grid)
    n, total = ratings.size, float(ratings.sum())
    cup_sum, cup_square, cup_rating = cups.sum(axis=1), np.einsum("ij,ij->i", cups, cups), cups @ ratings
    found = np.empty((N_LEVEL_ROWS + N_PRODUCTS * SIGMA.size, cup_sum.size))
    found[:N_LEVEL_ROWS] = level_parts(cups, ratings)
    gain_variance = (SESSION_GAIN_SD * level_of(found[0], found[1])) ** 2

    sigma_2 = (SIGMA * SIGMA)[:, None]
    shrink = 1 / (sigma_2 / SESSION_SHIFT_SD**2 + n)  # the share of a sum that the session's shift takes
    kept = (1 - shrink * n) / sigma_2
    # The session's shift out: x' V^-1 y = (x.y - shrink sum(x) sum(y)) / sigma^2.
    along_h = (cup_square - shrink * (cup_sum * cup_sum)) / sigma_2
    along_y = (cup_rating - shrink * (cup_sum * total)) / sigma_2
    along_1 = kept * cup_sum
    # The session's gain out: every product x' V^-1 y loses (x' V^-1 h) (h' V^-1 y) times this factor.
    damped = 1 + gain_variance * along_h
    lost = gain_variance / damped
    squares = (float(ratings @ ratings) - shrink * total**2) / sigma_2
    constant = squares + n * np.log(sigma_2) + np.log1p(n * SESSION_SHIFT_SD**2 / sigma_2)
    products = found[N_LEVEL_ROWS:].reshape(N_PRODUCTS, SIGMA.size, -1)
    products[0] = along_h / damped
    products[1] = along_y / damped
    products[2] = along_1 / damped
    lost_1 = lost * along_1
    products[3] = kept * total - lost_1 * along_y
    products[4] = kept * n - lost_1 * along_1
    products[5] = constant + np.log(damped) - lost * along_y * along_y
    found *= PER_UNIT
    return np.rint(found, out=found).astype(np.int64)


def empty_total(*, grid: Grid) -> IntArray:
    """Return the total of no sessions."""
    return np.zeros((N_LEVEL_ROWS + N_PRODUCTS * SIGMA.size, grid.n_nodes), dtype=np.int64)


def added(sessions: Iterable[Tasted], *, grid: Grid) -> IntArray:
    """Return the total of some sessions of one taster, rows as in :func:`session_sums`; zero for none."""
    each = (session_sums(one, of_all_pours=cup_strength(one.steeping, grid=grid), grid=grid) for one in sessions)
    return reduce(np.add, each, empty_total(grid=grid))


def level_at_nodes(totals: Iterable[IntArray], *, grid: Grid) -> FloatArray:
    """Return the first estimate of the lot's level at each node, from its tasters' totals [points, 0.2 to 20]."""
    rows = reduce(np.add, (total[:N_LEVEL_ROWS] for total in totals), empty_total(grid=grid)[:N_LEVEL_ROWS]) / PER_UNIT
    return level_of(rows[0], rows[1])
