"""What is known of the model's unknowns before any cup. Lengths are shares of the scale."""

import numpy as np

from tastings.maths.arrays import FloatArray

LOT_SD, SHIFT_SD, SITTING_SD, TASTE_SD = 0.1, 0.12, 0.04, 0.05
"""A point of ten between lots and between tasters' levels, half a point of taste, and little between one taster's
sittings (common practice, no source). Half-normal but for lots, see :data:`LOT_SD_LOG_PRIOR`."""
ALIKE, ALIKE_LOT_SD = 0.4, 0.02
"""Probability that the lots of a flight are nearly alike before any cup, and the spread of such lots (own values)."""
NOISE_SD, NOISE_LOG_SD = 0.08, 1.0
"""Log-normal: its median, and the standard deviation of its logarithm."""
GAIN_SD = 0.25
"""Sd of the half-normal prior of the spread of gains around 1."""
CARRY_OVER_SD = 0.25
MEAN_SD = 0.3
SLOPE_SD = np.array([0.012, 0.04])
"""Prior sds of the change from cup to cup, and of the first cup's difference."""
NOISE_DEGREES_OF_FREEDOM = 12.0
"""How alike tasters' noise is: a variance counts beforehand as if estimated from so many cups."""
LEAST_GAIN, MOST_GAIN = 0.2, 3.0

SD_GRID: FloatArray = np.exp(np.linspace(np.log(0.004), np.log(0.6), 72))
"""Values a standard deviation may have, at even distances of the logarithm; 0.004 is below any rounding."""
GAIN_SD_GRID: FloatArray = 2.5 * SD_GRID
"""Values of the spread of gains: 0.01 to 1.5."""
NOISE_SD_LOG_PRIOR: FloatArray = -0.5 * (np.log(SD_GRID / NOISE_SD) / NOISE_LOG_SD) ** 2


def half_normal_log_prior(scale: float) -> FloatArray:
    """Return the log density of the logarithm of a half-normal standard deviation, on the grid."""
    return np.asarray(np.log(SD_GRID) - 0.5 * (SD_GRID / scale) ** 2, dtype=np.float64)


def _lot_sd_log_prior() -> FloatArray:
    """Mix the densities of lots that are nearly alike and of lots that differ."""
    rayleigh = 2 * np.log(SD_GRID) - 0.5 * (SD_GRID / LOT_SD) ** 2
    alike, different = (np.exp(log_p - log_p.max()) for log_p in (half_normal_log_prior(ALIKE_LOT_SD), rayleigh))
    return np.asarray(np.log(ALIKE * alike / alike.sum() + (1 - ALIKE) * different / different.sum()), dtype=np.float64)


LOT_SD_LOG_PRIOR: FloatArray = _lot_sd_log_prior()
"""Log prior of the logarithm of the lots' standard deviation, on the grid: half-normal for lots that are nearly alike,
for others Rayleigh's, with no weight at 0 (Chung and others 2013, Psychometrika 78:685-709, from memory, high). With
Rayleigh's alone one of several nearly equal lots was called best with 0.69 where 0.61 came true."""
