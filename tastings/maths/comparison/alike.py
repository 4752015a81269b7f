"""How likely draws of two lots are together if the lots are nearly the same leaf, against unrelated lots.

Before any tasting a pair of lots is either unrelated, each with the prior of its leaf, or alike: then the second lot's
rate, wetting lag and level lie close to the first's, and it is tasted alike. Draws come from the fits of single lots,
so those of two alike lots weigh as much as this prior of pairs gives them against that of two unrelated lots.
"""

import numpy as np
from scipy.special import ndtri

from tastings.maths.arrays import FloatArray
from tastings.maths.brewing.extraction import Grid
from tastings.maths.curve.level import LEVEL_MEAN, LEVEL_SD
from tastings.maths.curve.posterior import CurveDraws

ALIKE = 0.5
"""Probability that two compared lots are alike before anything is tasted: people compare a tea with its next season and
a sample with what arrived (own value)."""
ALIKE_SD = 0.15
"""Sd of the difference of alike lots in the logarithms of rate, wetting lag and level (own value)."""
_EXPONENT_SD = 0.1
"""Sd of the difference in the exponent of taste: none, but for the step of the grid."""
_LEAST_LEVEL = 0.2
_LEVELS = np.maximum(LEVEL_MEAN + LEVEL_SD * ndtri((np.arange(256) + 0.5) / 256), _LEAST_LEVEL)
"""Equally likely before any tasting. [points]"""


def alike_weights(draws: tuple[CurveDraws, CurveDraws], *, shift: FloatArray, grids: tuple[Grid, Grid]) -> FloatArray:
    """Return the weight of every draw of one lot with every draw of the other, if the lots are alike.

    Parameters
    ----------
    draws : tuple[CurveDraws, CurveDraws]
        Of the two lots.
    shift : float64[n_draws]
        What the levels of each side are moved by for tasters' scales that do not cancel. [points]
    grids : tuple[Grid, Grid]
        On which each was drawn.

    Returns
    -------
    float64[n_first, n_second]
        Against 1 for unrelated lots.
    """
    place = [_place(side, shift=shift, grid=grid) for side, grid in zip(draws, grids, strict=True)]
    apart = place[0][:, None, :] - place[1][None, :, :]
    near = np.exp(-0.5 * np.einsum("ijk,ijk->ij", apart, apart))
    usual = [_usual(side, shift=shift, grid=grid) for side, grid in zip(draws, grids, strict=True)]
    return np.asarray(near / np.sqrt(usual[0][:, None] * usual[1]), dtype=np.float64)


def _levels(draws: CurveDraws, shift: FloatArray) -> FloatArray:
    return np.maximum(draws.level + shift, _LEAST_LEVEL)


def _place(draws: CurveDraws, *, shift: FloatArray, grid: Grid) -> FloatArray:
    """Return float64[n_draws, 4]: log rate, log lag, exponent and log level in units of what alike lots differ by."""
    i_k, i_tau, i_n = np.unravel_index(draws.node, grid.shape)
    own = _axes(grid)
    place = np.stack([own[0][i_k], own[1][i_tau], own[2][i_n], np.log(_levels(draws, shift)) / ALIKE_SD], axis=1)
    return np.asarray(place, dtype=np.float64)


def _usual(draws: CurveDraws, *, shift: FloatArray, grid: Grid) -> FloatArray:
    """Return float64[n_draws]: how near, as :func:`alike_weights` counts it, an unrelated lot is on average."""
    prior = np.exp(grid.log_prior).reshape(grid.shape)
    near = [_near(axis, axis) for axis in _axes(grid)]
    nodes = np.einsum("ai,bj,cl,ijl->abc", *near, prior / prior.sum(), optimize=True)
    levels = _near(np.log(_levels(draws, shift)) / ALIKE_SD, np.log(_LEVELS) / ALIKE_SD)
    return np.asarray(nodes.ravel()[draws.node] * levels.mean(axis=1), dtype=np.float64)


def _axes(grid: Grid) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return the values of the grid's axes in units of what alike lots differ by."""
    return np.log(grid.k_per_min) / ALIKE_SD, np.log(grid.tau_s) / ALIKE_SD, grid.n / _EXPONENT_SD


def _near(first: FloatArray, second: FloatArray) -> FloatArray:
    return np.asarray(np.exp(-0.5 * (first[:, None] - second) ** 2), dtype=np.float64)
