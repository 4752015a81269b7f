"""What lots of a blind flight are worth, drawn from what is possible after its cups.

A score is modelled as::

    sitting + gain x (lot + carry-over x previous lot) + position + first cup + taste for the lot + noise

Lots are drawn around a common level, a taster's sittings around the taster's shift, gains around 1. A taster's own
taste for a lot can be told from noise only by a second cup of it. Noise differs between tasters. Carry-over is the
share of the previous lot's difference from the common level that is still tasted, below 0 where a good cup makes the
next one look worse. Spreads are unknown and are drawn too, so that what is said of lots allows for not knowing them.

The draws are a Gibbs sampler's (Gelman and others, Bayesian Data Analysis, 3rd ed., chapters 11 and 15, from memory,
high), many short chains side by side: lots, sittings, position and level together; each spread on a grid; the spread
of lots a second time with the lots in units of it (Yu and Meng 2011, J. Comput. Graph. Stat. 20:531-570, from memory,
high), without which few cups would make the chains slow.
"""

from dataclasses import dataclass

import numpy as np
from numpy.random import Generator

from tastings.maths.arrays import FloatArray
from tastings.maths.flights.cups import Tray
from tastings.maths.flights.gibbs import Chains

N_SETTLING, N_KEPT = 50, 150


@dataclass(frozen=True, slots=True)
class Draws:
    """What is possible, one row for each draw.

    Parameters
    ----------
    level : float64[n_draws]
        What the team gives a lot of the common level at the middle of a sitting. [points]
    lot : float64[n_draws, n_lots]
        Lots' differences from the common level. [points]
    shift : float64[n_draws, n_tasters]
        What a taster's sittings lie above the team. [points]
    gain : float64[n_draws, n_tasters]
    carry : float64[n_draws]
        Share of the previous lot still tasted.
    position, first : float64[n_draws]
        Change from cup to cup, and of the first cup beside that. [points]
    lot_sd, shift_sd, sitting_sd, gain_sd, taste_sd, noise_sd : float64[n_draws]
        Spreads; noise of a usual taster. [points; of gains, none]
    noise_of : float64[n_draws, n_tasters]
        Each taster's noise. [points]
    """

    level: FloatArray
    lot: FloatArray
    shift: FloatArray
    gain: FloatArray
    carry: FloatArray
    position: FloatArray
    first: FloatArray
    lot_sd: FloatArray
    shift_sd: FloatArray
    sitting_sd: FloatArray
    gain_sd: FloatArray
    taste_sd: FloatArray
    noise_sd: FloatArray
    noise_of: FloatArray

    def worth(self) -> FloatArray:
        """Return what the team would give each lot, float64[n_draws, n_lots]. [points]."""
        return np.asarray(self.level[:, None] + self.gain.mean(axis=1)[:, None] * self.lot, dtype=np.float64)


def draw(cups: Tray, *, scale: float, chance: Generator) -> Draws:
    """Draw what is possible after the cups; at least one is needed."""
    chains = Chains(cups, scale=scale, chance=chance)
    kept: list[tuple[FloatArray, ...]] = []
    for step in range(N_SETTLING + N_KEPT):
        chains.step()
        if step >= N_SETTLING:
            kept.append(chains.state())
    return Draws(*(np.concatenate(parts) for parts in zip(*kept, strict=True)))
