"""Sufficient statistics of one attribute's ratings; tasters' and sessions' gains and shifts are integrated out.

A rating of infusion j in session s by taster t is ``y = (a + a d) h_j + u + e`` on the team's scale, where

* the gain d is the taster's (N(0, 0.15^2) until calibrated) plus the session's own, N(0, 0.05^2);
* the shift u is the taster's, until calibrated with an sd of 0.5 points that grows with unusual noise
  (:func:`tastings.maths.curve.scale_effects.unknown_shift_sd`), plus the session's own (:func:`session_shift_sd`);
* e ~ N(0, sigma^2).

Given k, tau, n (which decide h) and sigma, all is normal. A session's own shift is a constant column and its gain a
column along h, so each integrates out by a rank-one update (Sherman-Morrison). The gain's column is scaled by an
estimate of ``a`` at each node without gains: for the session's gain the session's own estimate, so that a session's
statistics depend on that session alone.

Sessions are summed to a taster's total in integers: addition and subtraction are exact, so a total does not depend on
the order in which sessions were added, edited or removed (:mod:`tastings.maths.curve.totals_cache`).
:mod:`tastings.maths.curve.scale_effects` continues from the totals.
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
from tastings.maths.curve.censoring import impute_censored
from tastings.maths.curve.level import USUAL_SIGMA, level_estimate, level_precision_and_cross

SESSION_GAIN_SD = 0.05

SIGMA = np.geomspace(0.4, 2.8, 8)
SIGMA.setflags(write=False)


def session_shift_sd(sigma: FloatArray | float) -> FloatArray:
    """Return the sd of a session's own shift [points].

    0.15 at the usual noise, 0.55 at that of retests in published panels, whose sessions differed by 0.46 to 0.98.
    """
    return 0.15 + 0.4 * np.maximum(np.asarray(sigma) - USUAL_SIGMA, 0.0)


FIXED_POINT_SCALE = 2.0**30
"""Integer steps per unit. A session's statistics stay below 2^19 (60 ratings, noise 0.4), so at least 2^14 sessions of
one taster fit into 64 bits, and rounding changes a log likelihood by 1e-9."""
N_LEVEL_ROWS = 2
N_PRODUCTS = 10


@dataclass(frozen=True, slots=True)
class SessionRatings:
    """The ratings of one attribute in one session."""

    taster: str  # who rated
    scale: TasterScale  # how the taster uses the scale
    steeping: Steeping  # of every pour of the session
    index: IndexArray  # intp[n_ratings]: positions of the pours rated
    ratings: FloatArray  # float64[n_ratings]: ratings less the taster's offset [points]
    censored: FloatArray  # float64[n_ratings]: -1 for a rating at the lower end of the scale, 1 at the upper, 0 between
    order: FloatArray  # float64[n_ratings]: how many cups of the session were tasted before [cups]
    n_tasters: int | None = None  # how many tasters the team has; None while that is not known
    # whether a gain and a shift of the session's own are integrated out; not where the caller allows for them
    has_session_effect: bool = True

    def cups(self, of_all_pours: FloatArray) -> FloatArray:
        """Return float64[n_nodes, n_ratings]: strength h of the rated cups, times the taster's gain."""
        return of_all_pours[:, self.index] * self.scale.gain

    @property
    def key(self) -> bytes:
        """Return the content that the session's statistics depend on; what is left is applied to the totals."""
        steeping = self.steeping
        return b"".join(
            (
                pack("2q", steeping.contact_s.size, self.index.size),
                steeping.contact_s.tobytes(),
                steeping.rate.tobytes(),
                steeping.ratio.tobytes(),
                self.index.tobytes(),
                self.ratings.tobytes(),
                self.censored.tobytes(),
                self.order.tobytes(),
                pack("d?", self.scale.gain, self.has_session_effect),
            )
        )


@dataclass(frozen=True, slots=True)
class TasterStatistics:
    """Statistics of one taster's sessions, before the taster's gain and shift are integrated out: products x' V^-1 y.

    Each is float64[n_sigma, n_nodes]; h stands for the cups, y for the ratings, 1 for a constant column, r for
    the order of the cups. ``constant`` is y' V^-1 y plus the log determinant of V.
    """

    h_h: FloatArray
    h_y: FloatArray
    h_1: FloatArray
    y_1: FloatArray
    one_1: FloatArray
    constant: FloatArray
    h_r: FloatArray
    y_r: FloatArray
    one_r: FloatArray
    r_r: FloatArray

    @classmethod
    def of(cls, total: IntArray) -> "TasterStatistics":
        """Read a taster's total, from :func:`sum_sessions`."""
        return cls(*(total[N_LEVEL_ROWS:] / FIXED_POINT_SCALE).reshape(N_PRODUCTS, SIGMA.size, -1))


def session_statistics(session: SessionRatings, *, of_all_pours: FloatArray, grid: Grid) -> IntArray:
    """Return the statistics that one session adds to its taster's total.

    Parameters
    ----------
    session : SessionRatings
        The session.
    of_all_pours : float64[n_nodes, n_pours]
        Strength h of each cup, as :func:`tastings.maths.brewing.extraction.cup_strength` gives it on ``grid``.
    grid : Grid
        Where the cups were computed.

    Returns
    -------
    int64[2 + 10 n_sigma, n_nodes]
        Two rows for the level (:mod:`tastings.maths.curve.level`), then the ten products of :class:`TasterStatistics`.
    """
    cups = session.cups(of_all_pours)
    ratings = impute_censored(session.ratings, censored=session.censored, cups=cups, grid=grid)
    n, total = ratings.size, float(ratings.sum())
    cup_sum, cup_square, cup_rating = cups.sum(axis=1), np.einsum("ij,ij->i", cups, cups), cups @ ratings
    statistics = np.empty((N_LEVEL_ROWS + N_PRODUCTS * SIGMA.size, cup_sum.size))
    statistics[:N_LEVEL_ROWS] = level_precision_and_cross(cups, ratings)
    own = float(session.has_session_effect)
    gain_variance = own * (SESSION_GAIN_SD * level_estimate(statistics[0], statistics[1])) ** 2

    sigma_2 = (SIGMA * SIGMA)[:, None]
    shift_2 = own * session_shift_sd(SIGMA)[:, None] ** 2
    shrink = shift_2 / (sigma_2 + n * shift_2)  # the share of a sum that the session's shift explains
    shrink_1 = (1 - shrink * n) / sigma_2
    # Integrate out the session's shift: x' V^-1 y = (x.y - shrink sum(x) sum(y)) / sigma^2.
    v_h = (cup_square - shrink * (cup_sum * cup_sum)) / sigma_2
    v_y = (cup_rating - shrink * (cup_sum * total)) / sigma_2
    v_1 = shrink_1 * cup_sum
    order, order_sum = session.order, float(session.order.sum())
    v_r = (cups @ order - shrink * (cup_sum * order_sum)) / sigma_2
    # Integrate out its gain: x' V^-1 y loses (x' V^-1 h) (h' V^-1 y) gain_variance / (1 + gain_variance h' V^-1 h).
    denominator = 1 + gain_variance * v_h
    factor = gain_variance / denominator
    squares = (float(ratings @ ratings) - shrink * total**2) / sigma_2
    constant = squares + n * np.log(sigma_2) + np.log1p(n * shift_2 / sigma_2)
    products = statistics[N_LEVEL_ROWS:].reshape(N_PRODUCTS, SIGMA.size, -1)
    products[0] = v_h / denominator
    products[1] = v_y / denominator
    products[2] = v_1 / denominator
    factor_1 = factor * v_1
    products[3] = shrink_1 * total - factor_1 * v_y
    products[4] = shrink_1 * n - factor_1 * v_1
    products[5] = constant + np.log(denominator) - factor * v_y * v_y
    factor_r = factor * v_r
    products[6] = v_r / denominator
    products[7] = (float(ratings @ order) - shrink * total * order_sum) / sigma_2 - factor_r * v_y
    products[8] = shrink_1 * order_sum - factor_r * v_1
    products[9] = (float(order @ order) - shrink * order_sum**2) / sigma_2 - factor_r * v_r
    statistics *= FIXED_POINT_SCALE
    return np.rint(statistics, out=statistics).astype(np.int64)


def zero_total(*, grid: Grid) -> IntArray:
    """Return the total of no sessions."""
    return np.zeros((N_LEVEL_ROWS + N_PRODUCTS * SIGMA.size, grid.n_nodes), dtype=np.int64)


def sum_sessions(sessions: Iterable[SessionRatings], *, grid: Grid) -> IntArray:
    """Return the total of some sessions of one taster, rows as in :func:`session_statistics`; zero without sessions."""
    each = (session_statistics(s, of_all_pours=cup_strength(s.steeping, grid=grid), grid=grid) for s in sessions)
    return reduce(np.add, each, zero_total(grid=grid))


def level_at_nodes(totals: Iterable[IntArray], *, grid: Grid) -> FloatArray:
    """Return the first estimate of the lot's level at each node, from its tasters' totals [points, 0.2 to 20]."""
    rows = (
        reduce(np.add, (total[:N_LEVEL_ROWS] for total in totals), zero_total(grid=grid)[:N_LEVEL_ROWS])
        / FIXED_POINT_SCALE
    )
    return level_estimate(rows[0], rows[1])
