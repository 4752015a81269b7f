"""Sessions that are nothing like the others: the wrong tea, a joke, the sheet of another lot.

A session is a stranger when its ratings, a shift and a gain of its own allowed for, lie so far from the curve that the
*other* sessions give that it would happen less than once in a million. Tasters are not all equally steady, so the line
is drawn that far out: in simulation it took away about one ordinary session in a thousand, and 19 of 20 in which every
cup was a 10. At least four others must have found that curve; with fewer nobody can say which of them is the strange
one. The fit leaves outliers out and says so.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtrc

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.curve.level import USUAL_SHIFT_SD
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, Tasted

LEAST_OTHERS = 4
RARE = 1e-6
SUSPECT = 1e-2
"""As rare a session must look while it is itself part of the fit before the others are asked."""
MOST_SHARE = 0.25
"""Of the sessions; beyond that it is the lot that is uneven, not some of its sessions."""


def predictions(tasted: Sequence[Sequence[Tasted]], *, node_levels: FloatArray, grid: Grid) -> list[list[FloatArray]]:
    """Return what curves say of the cups of all pours, for sessions that several attributes may share.

    Parameters
    ----------
    tasted : Sequence[Sequence[Tasted]]
        Sessions of each attribute.
    node_levels : float64[n_attributes, n_nodes]
        Weight of each node times the mean level there: the curves. [points]
    grid : Grid
        The nodes.

    Returns
    -------
    list[list[float64[n_pours]]]
        By attribute and session. [points]
    """
    steepings = {id(one.steeping): one.steeping for sessions in tasted for one in sessions}
    cups = {key: node_levels @ cup_strength(steeping, grid=grid) for key, steeping in steepings.items()}
    return [[cups[id(one.steeping)][row] for one in sessions] for row, sessions in enumerate(tasted)]


def rarity(tasted: Sequence[Tasted], *, predicted: Sequence[FloatArray], sigma: float) -> FloatArray:
    """Return how often a session would lie so far from a curve [probability], one for each session.

    Parameters
    ----------
    tasted : Sequence[Tasted]
        Sessions of one attribute.
    predicted : Sequence[float64[n_pours]]
        What the curve says of the cups of each session's pours. [points]
    sigma : float
        Noise of a rating. [points]

    Notes
    -----
    The squared distance in the covariance of noise, the session's shift and its gain is chi-squared with as many
    degrees of freedom as there are ratings. Cups are held to the scale, which ends where ratings do.
    """
    distance = np.array(
        [_distance(one, cups[one.index], sigma=sigma) for one, cups in zip(tasted, predicted, strict=True)]
    )
    return np.asarray(chdtrc([one.index.size for one in tasted], distance), dtype=np.float64)


def _distance(one: Tasted, cups: FloatArray, *, sigma: float) -> float:
    scale = one.scale
    expected = np.minimum(np.maximum(cups * scale.gain, LOWEST - scale.offset), HIGHEST - scale.offset)
    residual = one.ratings - expected
    variance = sigma * sigma
    shift = USUAL_SHIFT_SD**2 / variance
    gain = (scale.gain_sd**2 + SESSION_GAIN_SD**2) / variance
    along_gain, total, cup_sum = float(residual @ expected), float(residual.sum()), float(expected.sum())
    # The two columns' share of the residual, their two equations solved.
    shift_shift, gain_gain = 1 + shift * residual.size, 1 + gain * float(expected @ expected)
    both = shift_shift * gain_gain - shift * gain * cup_sum**2
    explained = (
        shift * gain_gain * total**2
        - 2 * shift * gain * cup_sum * total * along_gain
        + gain * shift_shift * along_gain**2
    ) / both
    return (float(residual @ residual) - explained) / variance
