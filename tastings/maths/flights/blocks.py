"""Means of lots tasted in blocks, the blocks' shifts random, and how far two means must lie apart.

The textbook's mixed model: a score is the lot's mean, a slope for anything measured beside it, the block's shift and
noise. Lots and slopes are estimated by generalised least squares at the ratio of variances that maximises the
restricted likelihood (REML; Searle, Casella and McCulloch 1992, Variance Components, chapter 6, from memory, high), so
that incomplete blocks also give information about lots by their own level.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from math import log, sqrt

import numpy as np
import scipy
from scipy.special import stdtrit

from tastings.maths.arrays import FloatArray

LEAST_VARIANCE = 1e-9
"""Below this the scores do not vary once blocks and lots are allowed for. [points^2]"""
_LOG_RATIOS = (-9.0, 9.0)


@dataclass(frozen=True, slots=True)
class BlockMeans:
    """Lots' means and their uncertainty."""

    lots: tuple[str, ...]  # in the order of their names
    means: FloatArray  # float64[n_lots]: at the mean of the covariates [points]
    covariance: FloatArray  # float64[n_lots, n_lots]: of the means [points^2]
    # block_variance, noise_variance: variance components [points^2]
    block_variance: float
    noise_variance: float
    degrees_of_freedom: int  # of the noise within blocks

    def difference_sd(self) -> FloatArray:
        """Return the standard error of every difference, float64[n_lots, n_lots]. [points]."""
        own = np.diag(self.covariance)
        return np.asarray(np.sqrt(np.maximum(own[:, None] + own - 2 * self.covariance, 0.0)), dtype=np.float64)

    def least_differences(self, *, alpha: float) -> FloatArray:
        """Return how far each pair must lie apart to be told apart at ``alpha``, float64[n_lots, n_lots]. [points]."""
        return np.asarray(-float(stdtrit(self.degrees_of_freedom, alpha / 2)) * self.difference_sd(), dtype=np.float64)

    def least_difference(self, *, alpha: float) -> float:
        """Return the least significant difference of a typical pair: the root mean square over pairs. [points]."""
        pairs = self.least_differences(alpha=alpha)[np.triu_indices(len(self.lots), 1)]
        return sqrt(float((pairs**2).mean()))


def block_means(
    scores: Sequence[float], *, lots: Sequence[str], blocks: Sequence[str], covariates: FloatArray | None = None
) -> BlockMeans | None:
    """Estimate lots' means.

    Parameters
    ----------
    scores : Sequence[float]
        One per cup. [points]
    lots, blocks : Sequence[str]
        What was in the cup, and the taster or sitting it belongs to.
    covariates : float64[n_cups, n_columns], optional
        Measured beside each score, such as its position; each gets a slope.

    Returns
    -------
    BlockMeans or None
        None for fewer than two lots, without a degree of freedom left within blocks, or when nothing varies.
    """
    y = np.asarray(scores, dtype=np.float64)
    names, lot = np.unique(np.asarray(lots), return_inverse=True)
    groups, block = np.unique(np.asarray(blocks), return_inverse=True)
    covariates = np.zeros((y.size, 0)) if covariates is None else covariates - covariates.mean(axis=0)
    x = np.column_stack([lot[:, None] == np.arange(names.size), covariates]).astype(np.float64)
    within = np.column_stack([x, block[:, None] == np.arange(groups.size)]).astype(np.float64)
    degrees_of_freedom = y.size - int(np.linalg.matrix_rank(within))
    if names.size < 2 or degrees_of_freedom < 1 or np.linalg.matrix_rank(x) < x.shape[1]:
        return None
    z = (block[:, None] == np.arange(groups.size)).astype(np.float64)
    restricted = _Restricted(y=y, x=x, z=z)
    if restricted.residual_squares(0.0) <= LEAST_VARIANCE * y.size:
        return None
    optimum = scipy.optimize.minimize_scalar(
        lambda value: restricted.deviance(float(np.exp(value))), bounds=_LOG_RATIOS, method="bounded",
        options={"xatol": 1e-8},
    )  # fmt: skip
    ratio = float(np.exp(optimum.x))
    if restricted.deviance(0.0) <= restricted.deviance(ratio):
        ratio = 0.0
    estimate, covariance, residual_squares = restricted.solve(ratio)
    noise = residual_squares / (y.size - x.shape[1])
    if noise <= LEAST_VARIANCE:
        return None
    n = names.size
    return BlockMeans(
        lots=tuple(names.tolist()),
        means=estimate[:n],
        covariance=noise * covariance[:n, :n],
        block_variance=noise * ratio,
        noise_variance=noise,
        degrees_of_freedom=degrees_of_freedom,
    )


@dataclass(frozen=True, slots=True)
class _Restricted:
    """The restricted likelihood of a ratio of block to noise variance.

    ``y`` are the scores, float64[n_cups]; ``x`` lots and covariates, float64[n_cups, n_columns]; ``z`` the incidence of
    blocks, float64[n_cups, n_blocks].
    """

    y: FloatArray
    x: FloatArray
    z: FloatArray

    def solve(self, ratio: float) -> tuple[FloatArray, FloatArray, float]:
        """Return estimates, their covariance for noise of variance 1, and the weighted squares left."""
        weighted = self._times_inverse(self.x, ratio=ratio)
        covariance = np.linalg.inv(self.x.T @ weighted)
        estimate = covariance @ (weighted.T @ self.y)
        residual = self.y - self.x @ estimate
        return (
            estimate,
            np.asarray(covariance, dtype=np.float64),
            float(residual @ self._times_inverse(residual[:, None], ratio=ratio)[:, 0]),
        )

    def residual_squares(self, ratio: float) -> float:
        """Return the weighted squares left."""
        return self.solve(ratio)[2]

    def deviance(self, ratio: float) -> float:
        """Return -2 log restricted likelihood, noise profiled out, but for a constant."""
        _, covariance, residual_squares = self.solve(ratio)
        log_det = float(np.log1p(ratio * self.z.sum(axis=0)).sum())
        degrees_of_freedom = self.y.size - self.x.shape[1]
        return float(
            log_det - np.linalg.slogdet(covariance)[1] + degrees_of_freedom * log(max(residual_squares, 1e-300))
        )

    def _times_inverse(self, columns: FloatArray, *, ratio: float) -> FloatArray:
        """Return the inverse of 1 + ratio (same block), applied to columns."""
        sums = self.z.T @ columns
        shrunk = ratio / (1 + ratio * self.z.sum(axis=0))
        return np.asarray(columns - self.z @ (shrunk[:, None] * sums), dtype=np.float64)
