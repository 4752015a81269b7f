"""What is known of the model's unknowns before any cup. Lengths are shares of the scale."""

import numpy as np

from tastings.maths.arrays import FloatArray

LOT_SD, SHIFT_SD, SITTING_SD, TASTE_SD = 0.1, 0.12, 0.04, 0.05
"""A point of ten between lots and between tasters' levels, half a point of taste, and little between one taster's
sittings (common practice, no source). Half-normal but for lots, whose standard deviation is Rayleigh's, with no weight
at 0: candidates are never all alike, and a few cups that happen to agree must not say so (Chung and others 2013,
Psychometrika 78:685-709, from memory, high)."""
NOISE_SD, NOISE_LOG_SD = 0.08, 1.0
"""Log-normal: its median, and the standard deviation of its logarithm."""
GAIN_SD = 0.25
"""Half-normal of the spread of gains around 1."""
CARRY_OVER_SD = 0.25
MEAN_SD = 0.3
SLOPE_SD = np.array([0.012, 0.04])
"""Of the change from cup to cup, and of the first cup's difference."""
NOISE_DEGREES_OF_FREEDOM = 12.0
"""How alike tasters' noise is: a variance counts beforehand as if estimated from so many cups."""
LEAST_GAIN, MOST_GAIN = 0.2, 3.0

SD_GRID: FloatArray = np.exp(np.linspace(np.log(0.004), np.log(0.6), 72))
"""Values a standard deviation may have, at even distances of the logarithm; 0.004 is below any rounding."""
GAIN_SD_GRID: FloatArray = 2.5 * SD_GRID
"""The same for the spread of gains: 0.01 to 1.5."""
LOT_SD_LOG_PRIOR: FloatArray = 2 * np.log(SD_GRID) - 0.5 * (SD_GRID / LOT_SD) ** 2
"""Rayleigh density of the logarithm of the lots' standard deviation, on the grid."""
NOISE_SD_LOG_PRIOR: FloatArray = -0.5 * (np.log(SD_GRID / NOISE_SD) / NOISE_LOG_SD) ** 2


def half_normal_log_prior(scale: float) -> FloatArray:
    """Return the log density of the logarithm of a half-normal standard deviation, on the grid."""
    return np.asarray(np.log(SD_GRID) - 0.5 * (SD_GRID / scale) ** 2, dtype=np.float64)
