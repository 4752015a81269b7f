"""Sessions that are nothing like the others: the wrong tea, a joke, the sheet of another lot.

A session is an outlier if, after allowing for its own shift and gain, its ratings are improbable (p < 1e-6) under the
curve fitted to the other sessions. The limit is that low because tasters are not equally steady: in simulation it
excluded about one ordinary session in a thousand, and 19 of 20 in which every cup was a 10. At least four other
sessions are needed; with fewer it is not clear which of them is the outlier. The fit leaves outliers out and says so.
"""

from collections.abc import Sequence

import numpy as np
from scipy.special import chdtrc

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.brews import HIGHEST, LOWEST
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.curve.level import USUAL_SHIFT_SD, USUAL_SIGMA
from tastings.maths.curve.sufficient_statistics import SESSION_GAIN_SD, SessionRatings

MIN_OTHER_SESSIONS = 4
OUTLIER_P = 1e-6
SUSPECT_P = 1e-2
"""p value, under the fit that includes the session, below which it is tested against the other sessions."""
MAX_OUTLIER_SHARE = 0.25
"""Largest share of the sessions that may be outliers; with more, the lot itself is uneven."""


def predicted_cups(
    tasted: Sequence[Sequence[SessionRatings]], *, node_levels: FloatArray, grid: Grid
) -> list[list[FloatArray]]:
    """Return the cups that curves predict for all pours, for sessions that several attributes may share.

    Parameters
    ----------
    tasted : Sequence[Sequence[SessionRatings]]
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
    steepings = {id(session.steeping): session.steeping for sessions in tasted for session in sessions}
    cups = {key: node_levels @ cup_strength(steeping, grid=grid) for key, steeping in steepings.items()}
    return [[cups[id(session.steeping)][row] for session in sessions] for row, sessions in enumerate(tasted)]


def outlier_p_values(
    tasted: Sequence[SessionRatings], *, predicted: Sequence[FloatArray], sigma: float, slope: float = 0.0
) -> FloatArray:
    """Return the probability that a session lies so far from a curve, for each session.

    Parameters
    ----------
    tasted : Sequence[SessionRatings]
        Sessions of one attribute.
    predicted : Sequence[float64[n_pours]]
        The cups that the curve predicts for each session's pours. [points]
    sigma : float
        Noise of a rating. [points]
    slope : float
        What each cup tasted before adds to a rating. [points]

    Notes
    -----
    The squared distance in the covariance of noise, the session's shift and its gain is chi-squared with as many
    degrees of freedom as there are ratings. Cups are clipped to the scale of ratings.
    """
    distance = np.array(
        [
            _mahalanobis_squared(session, cups[session.index], sigma=sigma, slope=slope)
            for session, cups in zip(tasted, predicted, strict=True)
        ]
    )
    return np.asarray(chdtrc([session.index.size for session in tasted], distance), dtype=np.float64)


def _mahalanobis_squared(session: SessionRatings, cups: FloatArray, *, sigma: float, slope: float) -> float:
    scale = session.scale
    felt = cups * scale.gain + slope * session.order
    expected = np.minimum(np.maximum(felt, LOWEST - scale.offset), HIGHEST - scale.offset)
    residual = session.ratings - expected
    variance = sigma * sigma
    shift = (USUAL_SHIFT_SD / USUAL_SIGMA) ** 2
    gain = (scale.gain_sd**2 + SESSION_GAIN_SD**2) / variance
    gain_component, total, cup_sum = float(residual @ expected), float(residual.sum()), float(expected.sum())
    # The part of the residual that shift and gain explain: a 2 x 2 system, solved.
    shift_shift, gain_gain = 1 + shift * residual.size, 1 + gain * float(expected @ expected)
    determinant = shift_shift * gain_gain - shift * gain * cup_sum**2
    explained = (
        shift * gain_gain * total**2
        - 2 * shift * gain * cup_sum * total * gain_component
        + gain * shift_shift * gain_component**2
    ) / determinant
    return (float(residual @ residual) - explained) / variance
