"""How long a roasted tea wants to rest: the trade's usual rests, corrected by the team's liking over the days.

Liking rises for a rest of ``R`` days by ``gain`` points to a level, and may fall again after it: ``level - gain m(day /
R) + fall max(0, day - R) / 30``. What is still missing, ``m``, falls along a straight line, ``max(0, 1 - x)``, or ever
more slowly, ``10^-x``; nobody knows which, so either is as likely. ``R``, ``gain`` and ``fall`` are on a fixed grid and
the level integrates out, so the answer is deterministic. A tea has rested when less than a quarter of a point is still
to be gained: a team that likes it just as well on the first day needs no rest for it.

The usual rests and the roast that goes with a degree are common practice, no source; that a rest usually gains about a
point of liking is our own value.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from tastings.maths.arrays import FloatArray
from tastings.maths.certainty import never_certain
from tastings.maths.roast.fading import NOISE, START_MEAN, START_SD, Value, covariance_of, noise_log_prior

USUAL_REST_DAYS = {"light": (14, 30), "medium": (30, 60), "medium_dark": (45, 90), "dark": (60, 180)}
"""Shortest and longest usual rest by degree of roast. [days]"""
UNKNOWN_REST_DAYS = (7, 120)
SPREAD_OF_RESTS = 1.25
"""How much further teas lie apart than the usual rests state (own value)."""
LIKED_ROAST = {"light": 2.0, "medium": 3.0, "medium_dark": 4.0, "dark": 5.0}
"""Roast under which a tea of a degree is usually liked, for a team whose own level is 3 (own values). [points]"""
TEAM_LEVEL = 3.0
ABOVE_LIKED, ABOVE_LIKED_SD = 2.0, 2.0
"""How far the roast of a degree is above the usually liked one on the first day, and its sd (own values). [points]"""
LOTS_OF_PRIOR = 2
LEAST_GAIN = 0.25
"""What a longer rest must gain in liking to be worth it. [points]"""
FALLS = 0.2
"""Least fall of liking in 30 days at which waiting makes a tea worse. [points]"""

_N_REST = 24
_GAIN = np.linspace(0.0, 3.0, 13)
_GAIN_MEAN, _GAIN_SD = 1.2, 0.7
_FALL = np.array([0.0, -0.1, -0.2, -0.35, -0.5, -0.7, -0.95])
_FALL_WEIGHT = np.array([0.52, 0.1, 0.08, 0.09, 0.08, 0.07, 0.06])
"""More than a third of the teas falls noticeably (own value)."""
_LEVEL_MEAN, _LEVEL_SD = 6.0, 3.0
_Z80 = 1.2816
_LEAST_WEIGHT = 1e-12  # of a noise, whose logarithm is taken


@dataclass(frozen=True, slots=True)
class Rest:
    """The posterior of the rest a tea needs."""

    # float64[n_nodes]: day after the roast from which less than a quarter of a point of liking is still to be gained
    days: FloatArray
    fall: FloatArray  # float64[n_nodes]: what liking changes by after the rest [points in 30 days, at most 0]
    weights: FloatArray  # float64[n_nodes]: they sum to 1

    def rested_by(self, day: float) -> float:
        """Return the probability that it has rested so many days after the roast."""
        return never_certain(float(self.weights[self.days <= day].sum()))

    @property
    def probability_falling(self) -> float:
        """Return the probability that liking falls noticeably once it has rested."""
        return never_certain(float(self.weights[self.fall <= -FALLS].sum()))


def usual_start(degree: str) -> tuple[float, float]:
    """Return mean and sd of the roast on the first day of a degree of roast, of any where it is not known [points].

    Examples
    --------
    >>> usual_start("dark"), usual_start("")
    ((7.0, 2.0), (5.0, 2.5))
    """
    return (LIKED_ROAST[degree] + ABOVE_LIKED, ABOVE_LIKED_SD) if degree in LIKED_ROAST else (START_MEAN, START_SD)


def liked_roast(degree: str, *, team_level: float, liked: Sequence[tuple[float, float]] = ()) -> float:
    """Return the roast under which a team likes a tea of a degree of roast [points].

    Parameters
    ----------
    degree : str
        ``light``, ``medium``, ``medium_dark`` or ``dark``; the team's own level stands for any other.
    team_level : float
        The team's level for a medium roast. [points]
    liked : Sequence[tuple[float, float]]
        Roast and liking of the team's other lots of that degree; the better liked half of them counts. [points]

    Examples
    --------
    >>> liked_roast("dark", team_level=3.0), liked_roast("dark", team_level=3.0, liked=[(7.0, 8.0), (7.0, 8.0)])
    (5.0, 6.0)
    """
    usual = LIKED_ROAST.get(degree, TEAM_LEVEL) - TEAM_LEVEL + team_level
    best = sorted(liked, key=lambda lot: -lot[1])[: (len(liked) + 1) // 2] if len(liked) > 2 else liked
    level = (LOTS_OF_PRIOR * usual + sum(roast for roast, _ in best)) / (LOTS_OF_PRIOR + len(best))
    return round(min(max(level, 0.0), 10.0), 1)


def fit_rest(liking: Sequence[Value], *, degree: str, noise_weights: FloatArray | None = None) -> Rest:
    """Return the posterior of the rest; the usual rest of the degree without any rating of liking.

    ``noise_weights`` is how probable each of ``NOISE`` is by what else the sessions rated; by default the usual prior.
    """
    shortest, longest = USUAL_REST_DAYS.get(degree, UNKNOWN_REST_DAYS)
    centre, sd = np.log(shortest * longest) / 2, SPREAD_OF_RESTS * np.log(longest / shortest) / 2 / _Z80
    rest = np.exp(np.linspace(centre - 3 * sd, centre + 3 * sd, _N_REST))
    log_weight = (
        (-0.5 * ((np.log(rest) - centre) / sd) ** 2)[:, None, None]
        + (-0.5 * ((_GAIN - _GAIN_MEAN) / _GAIN_SD) ** 2)[None, :, None]
        + np.log(_FALL_WEIGHT)[None, None, :]
    )
    log_weight = np.broadcast_to(log_weight, (2, *log_weight.shape))
    if liking:
        of_noise = noise_log_prior(liking)
        if noise_weights is not None:
            of_noise = np.log(np.maximum(noise_weights, _LEAST_WEIGHT))
        log_weight = log_weight + _log_likelihood(liking, rest=rest, log_prior_of_noise=of_noise)
    weights = np.exp(log_weight - log_weight.max())
    # The part of the rest after which less than LEAST_GAIN is missing, on the straight line and on the other.
    share = LEAST_GAIN / np.maximum(_GAIN, LEAST_GAIN)
    parts = np.stack([1 - share, -np.log10(share)])
    days = np.broadcast_to(rest[None, :, None, None] * parts[:, None, :, None], weights.shape)
    return Rest(
        days=days.ravel(), fall=np.broadcast_to(_FALL, weights.shape).ravel(), weights=(weights / weights.sum()).ravel()
    )


def _log_likelihood(liking: Sequence[Value], *, rest: FloatArray, log_prior_of_noise: FloatArray) -> FloatArray:
    day = np.array([value.day for value in liking])
    mean = np.array([value.mean for value in liking]) - _LEVEL_MEAN
    since = day / rest[:, None]
    missing = np.stack([np.maximum(0.0, 1 - since), 10.0**-since])
    after = np.maximum(0.0, day - rest[:, None]) / 30.0
    expected = (
        _FALL[None, None, None, :, None] * after[None, :, None, None, :]
        - _GAIN[None, None, :, None, None] * missing[:, :, None, None, :]
    )
    left = mean - expected
    by_noise = []
    for noise, log_prior in zip(NOISE, log_prior_of_noise, strict=True):
        covariance = covariance_of(liking, noise=float(noise)) + _LEVEL_SD**2
        square = np.einsum("mrgfi,ij,mrgfj->mrgf", left, np.linalg.inv(covariance), left)
        by_noise.append(log_prior - 0.5 * (square + np.linalg.slogdet(covariance)[1]))
    return np.asarray(np.logaddexp.reduce(by_noise), dtype=np.float64)
