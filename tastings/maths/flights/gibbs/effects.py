"""The block of lot effects, sittings, mean and slopes, which are jointly normal given everything else.

With ``theta`` these unknowns in that order, the scores and the priors give ``precision @ theta = rhs`` for its mean.
When every score and every prior mean is first perturbed by a draw of its own noise, the solution is a draw of theta.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray, IndexArray
from tastings.maths.flights.gibbs.design import Design
from tastings.maths.flights.gibbs.priors import MEAN_SD, SLOPE_SD
from tastings.maths.flights.gibbs.state import N_CHAINS, State


def draw_effects(design: Design, state: State, rng: Generator) -> None:
    """Draw ``lot``, ``sitting``, ``mean`` and ``slope`` together."""
    at = _Places.of(design)
    weight = state.group_weight(design)
    precision = _likelihood_precision(design, state, weight=weight, at=at)
    rhs = _likelihood_rhs(design, state, weight=weight, at=at, rng=rng)
    _add_lot_and_slope_prior(precision, rhs, state=state, at=at, rng=rng)
    _add_sitting_prior(precision, rhs, design=design, state=state, at=at, rng=rng)
    theta: FloatArray = np.asarray(np.linalg.solve(precision, rhs[:, :, None])[:, :, 0], dtype=np.float64)
    state.lot, state.sitting = theta[:, at.lots], theta[:, at.sittings]
    state.mean, state.slope = theta[:, at.mean], theta[:, at.slopes]


@dataclass(frozen=True, slots=True)
class _Places:
    """Where each kind of unknown stands in theta."""

    lots: slice
    sittings: slice
    mean: int
    slopes: slice
    size: int

    @classmethod
    def of(cls, design: Design) -> "_Places":
        n_lots, mean = design.n_lots, design.n_lots + design.n_sittings
        return cls(slice(n_lots), slice(n_lots, mean), mean, slice(mean + 1, mean + 3), mean + 3)

    def diagonal(self, part: slice) -> IndexArray:
        return np.arange(part.start or 0, part.stop)


def _likelihood_precision(design: Design, state: State, *, weight: FloatArray, at: _Places) -> FloatArray:
    """Return what the scores contribute to the precision, float64[n_chains, size, size]."""
    sums, n_lots, n_sittings = design.sums, design.n_lots, design.n_sittings
    gain, carry = state.gain[:, design.group_taster], state.carry_over[:, None, None]
    slopes_only = np.s_[:, :, 1:]
    precision = np.zeros((N_CHAINS, at.size, at.size))

    by_gain2 = weight * gain**2
    precision[:, at.lots, at.lots] = carry * (by_gain2 @ sums.lot_previous).reshape(-1, n_lots, n_lots)
    lots = at.diagonal(at.lots)
    precision[:, lots, lots] += by_gain2 @ sums.lot_lot + state.carry_over[:, None] ** 2 * (
        by_gain2 @ sums.previous_previous
    )

    by_gain = weight * gain
    lot_slope = np.tensordot(by_gain, sums.lot_x1[slopes_only], 1) + carry * np.tensordot(
        by_gain, sums.previous_x1[slopes_only], 1
    )
    precision[:, at.lots, at.slopes] = lot_slope
    precision[:, at.slopes, at.lots] = lot_slope.transpose(0, 2, 1)

    lot_group = by_gain[:, None, :] * (sums.lot_x1[:, :, 0].T + carry * sums.previous_x1[:, :, 0].T)
    lot_sitting = lot_group.reshape(N_CHAINS, n_lots, n_sittings, 2).sum(axis=3)
    precision[:, at.lots, at.sittings] = lot_sitting
    precision[:, at.sittings, at.lots] = lot_sitting.transpose(0, 2, 1)

    group_x1 = weight[:, :, None] * sums.x1_x1[:, 0, :]
    sitting_x1 = group_x1.reshape(N_CHAINS, n_sittings, 2, 3).sum(axis=2)
    sittings = at.diagonal(at.sittings)
    precision[:, sittings, sittings] = sitting_x1[:, :, 0]
    precision[:, at.sittings, at.slopes] = sitting_x1[slopes_only]
    precision[:, at.slopes, at.sittings] = sitting_x1[slopes_only].transpose(0, 2, 1)

    precision[:, at.slopes, at.slopes] = np.tensordot(weight, sums.x1_x1[:, 1:, 1:], 1)
    return precision


def _likelihood_rhs(design: Design, state: State, *, weight: FloatArray, at: _Places, rng: Generator) -> FloatArray:
    """Return what the scores, perturbed, contribute to the right-hand side, float64[n_chains, size]."""
    weight = weight[:, design.group]
    scores = design.y - state.taste @ design.repeats.z.T
    weighted = weight * scores + np.sqrt(weight) * rng.standard_normal(weight.shape)
    by_gain = weighted * state.gain[:, design.taster]
    rhs = np.zeros((N_CHAINS, at.size))
    rhs[:, at.lots] = by_gain @ design.z_lot + state.carry_over[:, None] * (by_gain @ design.z_previous)
    rhs[:, at.sittings] = weighted @ design.z_sitting
    rhs[:, at.slopes] = weighted @ design.x
    return rhs


def _add_lot_and_slope_prior(
    precision: FloatArray, rhs: FloatArray, *, state: State, at: _Places, rng: Generator
) -> None:
    """Add the priors of lots and slopes, each independent around 0."""
    lots, slopes = at.diagonal(at.lots), at.diagonal(at.slopes)
    precision[:, lots, lots] += state.lot_sd[:, None] ** -2
    rhs[:, at.lots] += rng.standard_normal((N_CHAINS, lots.size)) / state.lot_sd[:, None]
    precision[:, slopes, slopes] += SLOPE_SD**-2
    rhs[:, at.slopes] += rng.standard_normal((N_CHAINS, 2)) / SLOPE_SD


def _add_sitting_prior(  # noqa: PLR0913 - the system of equations, and what its prior comes from
    precision: FloatArray, rhs: FloatArray, *, design: Design, state: State, at: _Places, rng: Generator
) -> None:
    """Add the prior of sittings around the mean: those of one taster share the taster's shift, which is summed out.

    A taster's n sittings have covariance ``sitting_sd^2 I + shift_sd^2 J``; its inverse is known in closed form.
    """
    n_sittings, z = design.n_sittings, design.z_sitting_taster
    n_of_taster = z.sum(axis=0)[design.sitting_taster]
    sitting_variance, shift_variance = state.sitting_sd[:, None] ** 2, state.shift_sd[:, None] ** 2
    off_diagonal = shift_variance / (sitting_variance + n_of_taster * shift_variance) / sitting_variance
    same_taster = z @ z.T
    prior_precision = np.eye(n_sittings) / sitting_variance[:, :, None] - same_taster * off_diagonal[:, :, None]
    row_sum = 1 / (sitting_variance + n_of_taster * shift_variance)
    precision[:, at.sittings, at.sittings] += prior_precision
    precision[:, at.sittings, at.mean] = precision[:, at.mean, at.sittings] = -row_sum
    precision[:, at.mean, at.mean] = row_sum.sum(axis=1) + MEAN_SD**-2

    perturbation = state.sitting_sd[:, None] * rng.standard_normal((N_CHAINS, n_sittings))
    shift = state.shift_sd[:, None] * rng.standard_normal((N_CHAINS, design.n_tasters))
    perturbation += shift[:, design.sitting_taster]
    prior_rhs = np.einsum("cst,ct->cs", prior_precision, perturbation)
    rhs[:, at.sittings] += prior_rhs
    rhs[:, at.mean] += rng.standard_normal(N_CHAINS) / MEAN_SD - prior_rhs.sum(axis=1)
