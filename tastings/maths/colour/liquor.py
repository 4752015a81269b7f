"""The colour of a liquor in a photo that has something white beside it: CIELAB, its uncertainty, the trade's word.

The white region gives light and exposure of the scene at once: whatever it shows is taken for white, and the liquor
is adapted along with it (Bradford) to D65. So L* is relative to that white: the cup or paper itself counts as 100.

Each region is cut into 4 by 4 blocks. A block speaks by the median of its pixels, a region by the mean of its blocks
after the three darkest and the three brightest are left out: a reflection or a leaf in a corner does not count. How far
the blocks differ says how far the region can be trusted; pixels are not counted one by one, since neighbours say the
same. Added to this is what a photo cannot show: cameras render colours to please, whites are not all the same white,
and a channel at its end hides how far beyond it the colour lies.
"""

from dataclasses import dataclass
from typing import Literal

import numpy as np

from tastings.maths.arrays import FloatArray, PixelArray
from tastings.maths.colour.cielab import D65, adaptation, ciede2000, lab_of, linear, xyz_of

SMALLEST_SIDE = 12
"""Least pixels of a region's side. [pixels]"""
_BLOCKS, _LEFT_OUT, _DRAWS = 4, 3, 500
_FULL, _EMPTY = 254, 1
_MOST_WHITE_CLIPPED = 0.10
_DARKEST_WHITE = 0.10
_MOST_COLOURED_WHITE = 40.0
_BRIGHTEST_LIQUOR = 1.10
_CAMERA_SD = np.array([2.5, 2.0, 3.0])
"""How far a phone's picture lies from the scene, in L*, a*, b*. Own value, no source."""
_WHITE_SD = np.array([1.5, 0.7, 1.2])
"""How far one cup's or paper's white lies from another's. Own value, no source."""
_TINT_SHARE = 0.10
"""Share of the chroma removed by the adaptation that stays uncertain. Own value, no source."""
_BEYOND_FULL, _BEYOND_EMPTY = 0.15, -0.02
"""How far beyond its end a clipped channel may lie, in linear light. Own values, no source."""

Reason = Literal["white_small", "liquor_small", "white_clipped", "white_dark", "white_coloured", "liquor_brighter"]
"""Why a colour cannot be measured: a region has too few pixels; the white is overexposed, too dark or far from white;
the liquor is brighter than the white."""


@dataclass(frozen=True, slots=True)
class Lab:
    """A colour in CIELAB under D65, or a standard deviation of each of its three values."""

    l: float  # noqa: E741 - L*, 0 to 100
    a: float
    b: float

    @property
    def values(self) -> tuple[float, float, float]:
        """L*, a*, b*."""
        return self.l, self.a, self.b


@dataclass(frozen=True, slots=True)
class Term:
    """A word for a liquor's colour and where it lies in CIELAB."""

    key: str
    label: str
    lab: tuple[float, float, float]
    pinyin: str = ""
    characters: str = ""


@dataclass(frozen=True, slots=True)
class TermMatch:
    """How near a liquor is to a term (CIEDE2000), and how probably that term is the nearest."""

    key: str
    delta_e: float
    probability: float


@dataclass(frozen=True, slots=True, kw_only=True)
class RegionColour:
    """What was seen in a region: colour as photographed, size, and the share of pixels with a clipped channel."""

    lab: Lab
    pixels: int
    clipped: float


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquorColour:
    """A liquor's colour; without ``lab`` it could not be measured, for the reason given."""

    reason: Reason | None = None
    lab: Lab | None = None
    sd: Lab | None = None
    terms: tuple[TermMatch, ...] = ()
    white: RegionColour | None = None
    liquor: RegionColour | None = None


def liquor_colour(
    *, white: PixelArray, liquor: PixelArray, terms: tuple[Term, ...], rng: np.random.Generator
) -> LiquorColour:
    """Tell the colour of a liquor against the white beside it.

    Parameters
    ----------
    white, liquor : uint8[height, width, 3]
        The two regions of one photo, encoded as sRGB.
    terms : tuple of Term
        The words to choose from.
    rng : numpy.random.Generator
        For resampling blocks and for the probabilities.

    Returns
    -------
    LiquorColour
        ``lab`` under D65, relative to the white; ``sd`` of each of the three [same units]; ``terms`` from the most to
        the least probable, those with a probability of at least 0.05 and always the first two; ``probability`` is the
        share of colours, drawn from the uncertainty, to which the term is nearest by CIEDE2000.

    Notes
    -----
    Source: own definition over CIE 15, the Bradford adaptation and CIEDE2000 (`tastings.maths.colour.cielab`). Its
    constants are own values without a source; they stand at the top of this module.
    """
    if min(white.shape[:2]) < SMALLEST_SIDE:
        return LiquorColour(reason="white_small")
    if min(liquor.shape[:2]) < SMALLEST_SIDE:
        return LiquorColour(reason="liquor_small")
    white_blocks, liquor_blocks = _blocks(white), _blocks(liquor)
    seen_white, seen_liquor = _trimmed(white_blocks), _trimmed(liquor_blocks)
    white_region = _region(white, seen_white, clipped=_clipped(white, low=False))
    liquor_region = _region(liquor, seen_liquor, clipped=_clipped(liquor, low=True))
    if reason := _reason(seen_white, seen_liquor, clipped=white_region.clipped):
        return LiquorColour(reason=reason, white=white_region, liquor=liquor_region)
    lab = _against(seen_white, seen_liquor)
    spread = _resampled(white_blocks, liquor_blocks, rng)
    beyond = _extrapolated(liquor, seen_white, seen_liquor) - lab
    tint = _TINT_SHARE * _chroma(seen_white)
    unseen = _CAMERA_SD**2 + _WHITE_SD**2 + np.array([0.0, tint**2, tint**2])
    covariance = np.cov(spread, rowvar=False) + np.outer(beyond, beyond) + np.diag(unseen)
    return LiquorColour(
        lab=_lab(lab),
        sd=_lab(np.sqrt(np.diag(covariance))),
        terms=_likely(lab, covariance, terms=terms, rng=rng),
        white=white_region,
        liquor=liquor_region,
    )


def _lab(values: FloatArray) -> Lab:
    return Lab(*(float(value) for value in values))


def _blocks(region: PixelArray) -> FloatArray:
    """Return the medians of 4 by 4 blocks, in linear light: float64[16, 3]."""
    rows = np.array_split(region, _BLOCKS, axis=0)
    blocks = [block for row in rows for block in np.array_split(row, _BLOCKS, axis=1)]
    medians = np.array([np.median(block.reshape(-1, 3), axis=0) for block in blocks])
    return linear(medians / 255)


def _trimmed(blocks: FloatArray) -> FloatArray:
    """Return the mean over the second last axis without the three darkest and the three brightest blocks."""
    order = np.argsort(xyz_of(blocks)[..., 1], axis=-1)[..., _LEFT_OUT:-_LEFT_OUT]
    return np.asarray(np.take_along_axis(blocks, order[..., None], axis=-2).mean(axis=-2), dtype=np.float64)


def _clipped(region: PixelArray, *, low: bool) -> float:
    at_end = region >= _FULL
    if low:
        at_end = at_end | (region <= _EMPTY)
    return float(at_end.any(axis=-1).mean())


def _region(region: PixelArray, seen: FloatArray, *, clipped: float) -> RegionColour:
    return RegionColour(lab=_lab(lab_of(xyz_of(seen))), pixels=region.shape[0] * region.shape[1], clipped=clipped)


def _chroma(seen_white: FloatArray) -> float:
    """Return the chroma of the white as photographed, at an exposure that makes its Y 1."""
    xyz = xyz_of(seen_white)
    lab = lab_of(xyz / xyz[1])
    return float(np.hypot(lab[1], lab[2]))


def _reason(seen_white: FloatArray, seen_liquor: FloatArray, *, clipped: float) -> Reason | None:
    bright, liquor_bright = (float(xyz_of(seen)[1]) for seen in (seen_white, seen_liquor))
    if clipped > _MOST_WHITE_CLIPPED:
        return "white_clipped"
    if bright < _DARKEST_WHITE:
        return "white_dark"
    if _chroma(seen_white) > _MOST_COLOURED_WHITE:
        return "white_coloured"
    if liquor_bright > _BRIGHTEST_LIQUOR * bright:
        return "liquor_brighter"
    return None


def _against(seen_white: FloatArray, seen_liquor: FloatArray) -> FloatArray:
    """Return CIELAB under D65 of a liquor against a white, both in linear sRGB."""
    return lab_of(xyz_of(seen_liquor) @ adaptation(seen=xyz_of(seen_white), target=D65).T)


def _resampled(white_blocks: FloatArray, liquor_blocks: FloatArray, rng: np.random.Generator) -> FloatArray:
    """Return CIELAB of regions put together from blocks drawn with replacement: float64[draws, 3]."""
    n = _BLOCKS**2
    whites, liquors = (_trimmed(blocks[rng.integers(n, size=(_DRAWS, n))]) for blocks in (white_blocks, liquor_blocks))
    return np.array([_against(white, liquor) for white, liquor in zip(whites, liquors, strict=True)])


def _extrapolated(liquor: PixelArray, seen_white: FloatArray, seen_liquor: FloatArray) -> FloatArray:
    """Return the colour as it would be were the clipped channels as far beyond their ends as they may be."""
    full = (liquor >= _FULL).mean(axis=(0, 1))
    empty = (liquor <= _EMPTY).mean(axis=(0, 1))
    return _against(seen_white, seen_liquor + full * _BEYOND_FULL + empty * _BEYOND_EMPTY)


def _likely(
    lab: FloatArray, covariance: FloatArray, *, terms: tuple[Term, ...], rng: np.random.Generator
) -> tuple[TermMatch, ...]:
    positions = np.array([term.lab for term in terms])
    drawn = rng.multivariate_normal(lab, covariance, size=8 * _DRAWS)
    nearest = ciede2000(drawn[:, None, :], positions[None, :, :]).argmin(axis=1)
    probability = np.bincount(nearest, minlength=len(terms)) / len(drawn)
    away = ciede2000(lab, positions)
    order = sorted(range(len(terms)), key=lambda i: (-probability[i], away[i]))
    likely = [i for rank, i in enumerate(order) if rank < 2 or probability[i] >= 0.05]
    return tuple(TermMatch(terms[i].key, float(away[i]), float(probability[i])) for i in likely)
