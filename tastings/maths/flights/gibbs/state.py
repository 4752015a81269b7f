"""The unknowns of the mixed model, in many chains side by side."""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.gibbs import priors
from tastings.maths.flights.gibbs.design import Design

N_CHAINS = 32


@dataclass(slots=True)
class State:
    """One draw of every unknown in every chain. Lengths are shares of the scale."""

    lot: FloatArray  # float64[n_chains, n_lots]: lots' differences from the common level
    sitting: FloatArray  # float64[n_chains, n_sittings]: level of each sitting
    mean: FloatArray  # float64[n_chains]: mean of the tasters' levels
    slope: FloatArray  # float64[n_chains, 2]: change from cup to cup, and of the first cup beside that
    gain: FloatArray  # float64[n_chains, n_tasters]: share of a lot's difference that shows in a taster's scores
    carry_over: FloatArray  # float64[n_chains]: share of the previous lot's difference that is still tasted
    # float64[n_chains, n_repeats]: a taster's own taste for a lot, where the taster had it more than once
    taste: FloatArray
    noise_factor: FloatArray  # float64[n_chains, n_tasters]: a taster's noise variance over that of a usual taster
    # lot_sd, shift_sd, sitting_sd, gain_sd, taste_sd, noise_sd, float64[n_chains]: standard deviations: between lots,
    # tasters, one taster's sittings, gains and tastes, and of the noise
    lot_sd: FloatArray
    shift_sd: FloatArray
    sitting_sd: FloatArray
    gain_sd: FloatArray
    taste_sd: FloatArray
    noise_sd: FloatArray

    @classmethod
    def start(cls, design: Design, rng: Generator) -> "State":
        """Return where the chains begin: standard deviations scattered around their priors, no taste, gains of 1."""

        def scattered(usual: float, log_sd: float = 0.3) -> FloatArray:
            return np.asarray(usual * np.exp(log_sd * rng.standard_normal(N_CHAINS)), dtype=np.float64)

        lot_sd = scattered(priors.LOT_SD, 0.5)
        shift_sd, sitting_sd = scattered(priors.SHIFT_SD), scattered(priors.SITTING_SD)
        taste_sd, noise_sd, gain_sd = (
            scattered(priors.TASTE_SD),
            scattered(priors.NOISE_SD),
            scattered(priors.GAIN_SD),
        )
        return cls(
            lot=np.zeros((N_CHAINS, design.n_lots)),
            sitting=np.zeros((N_CHAINS, design.n_sittings)),
            mean=np.zeros(N_CHAINS),
            slope=np.zeros((N_CHAINS, 2)),
            gain=np.ones((N_CHAINS, design.n_tasters)),
            carry_over=0.1 * rng.standard_normal(N_CHAINS),
            taste=np.zeros((N_CHAINS, design.repeats.n)),
            noise_factor=np.ones((N_CHAINS, design.n_tasters)),
            lot_sd=lot_sd,
            shift_sd=shift_sd,
            sitting_sd=sitting_sd,
            gain_sd=gain_sd,
            taste_sd=taste_sd,
            noise_sd=noise_sd,
        )

    def group_weight(self, design: Design) -> FloatArray:
        """Return 1 / variance by weight group, float64[n_chains, n_groups].

        The noise of a lot that its taster had once has the taste for it in it.
        """
        noise, taste = self.noise_sd**2, self.taste_sd**2
        by_repeats = np.stack([1 / (noise + taste), 1 / noise], axis=1)
        return np.asarray(
            by_repeats[:, design.group_repeats] / self.noise_factor[:, design.group_taster], dtype=np.float64
        )

    def lot_signal(self, design: Design, lot: FloatArray) -> FloatArray:
        """Return what lots contribute to each cup before the gain, float64[n_chains, n_cups]."""
        return np.asarray(
            lot @ design.z_lot.T + self.carry_over[:, None] * (lot @ design.z_previous.T), dtype=np.float64
        )

    def residual_with_taste(self, design: Design) -> FloatArray:
        """Return the scores less all but taste and noise, float64[n_chains, n_cups]."""
        fitted = self.gain[:, design.taster] * self.lot_signal(design, self.lot)
        return np.asarray(self._without_sitting_and_slope(design) - fitted, dtype=np.float64)

    def residual_with_lots(self, design: Design) -> FloatArray:
        """Return the scores less all but lots and noise, float64[n_chains, n_cups]."""
        return np.asarray(self._without_sitting_and_slope(design) - self.taste @ design.repeats.z.T, dtype=np.float64)

    def _without_sitting_and_slope(self, design: Design) -> FloatArray:
        return np.asarray(design.y - self.sitting[:, design.sitting] - self.slope @ design.x.T, dtype=np.float64)
