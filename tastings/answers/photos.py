"""The colour of the liquor in a photo, as the API answers it.

The fields stand in the order in which the database keeps the keys of stored JSON.
"""

from dataclasses import dataclass, field
from typing import Literal
from uuid import UUID

from tastings.answers.copying import answer_from
from tastings.answers.help_text import help_text
from tastings.maths.colour import liquor, measured
from tastings.maths.colour.liquor import Reason
from tastings.maths.colour.terms import liquor_terms
from tastings.wording.photos import COLOUR_REASONS, term_label

ILLUMINANT = "D65, 2 degree observer"


@dataclass(frozen=True, slots=True)
class Lab:
    """CIELAB under D65, or a standard deviation of each value."""

    a: float
    b: float
    l: float  # noqa: E741 - L*, as its key is


@dataclass(frozen=True, slots=True)
class LiquorTerm:
    """A word for the colour."""

    key: str
    label: str
    pinyin: str | None
    delta_e: float = field(metadata=help_text("CIEDE2000 to the term's place"))
    characters: str | None
    probability: float = field(metadata=help_text("that this term is the nearest"))


@dataclass(frozen=True, slots=True)
class PhotoRegionSeen:
    """What was seen in a region."""

    lab: Lab = field(metadata=help_text("as photographed, not corrected"))
    pixels: int
    clipped: float = field(metadata=help_text("share of pixels with a channel at its end"))


@dataclass(frozen=True, slots=True)
class PhotoRegion:
    """A rectangle of the upright picture."""

    x: float = field(metadata=help_text("left edge, of the picture's width"))
    y: float = field(metadata=help_text("upper edge, of the picture's height"))
    width: float
    height: float


@dataclass(frozen=True, slots=True)
class PhotoRegions:
    """Where the white and the liquor are."""

    white: PhotoRegion
    liquor: PhotoRegion


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquorColour:
    """The colour of the liquor in a photo, or why it cannot be measured."""

    at: str
    by: UUID
    sd: Lab | None = field(metadata=help_text("standard deviation of each"))
    lab: Lab | None = field(metadata=help_text("CIELAB; the white beside it counts as 100, 0, 0"))
    terms: list[LiquorTerm] = field(metadata=help_text("the most probable first; the first two always"))
    white: PhotoRegionSeen | None
    detail: str
    liquor: PhotoRegionSeen | None
    method: str
    reason: Reason | None = field(
        metadata=help_text("; ".join(f"`{code}`: {reason}" for code, reason in COLOUR_REASONS.items()))
    )
    regions: PhotoRegions
    verdict: Literal["measured", "cannot_tell"]
    illuminant: str


def colour_answer(colour: measured.MeasuredColour) -> LiquorColour:
    """Return the answer of a stored colour."""
    return answer_from(
        LiquorColour,
        colour,
        by=UUID(colour.by),
        sd=_lab(colour.sd),
        lab=_lab(colour.lab),
        terms=[_term(match) for match in colour.terms],
        white=_seen(colour.white),
        detail=str(COLOUR_REASONS[colour.reason]) if colour.reason else "",
        liquor=_seen(colour.liquor),
        regions=PhotoRegions(
            answer_from(PhotoRegion, colour.regions.white), answer_from(PhotoRegion, colour.regions.liquor)
        ),
        verdict="cannot_tell" if colour.lab is None else "measured",
        illuminant=ILLUMINANT,
    )


def _lab(lab: liquor.Lab | None) -> Lab | None:
    return None if lab is None else answer_from(Lab, lab)


def _term(match: liquor.TermMatch) -> LiquorTerm:
    term = liquor_terms()[match.key]
    pinyin, characters = term.pinyin or None, term.characters or None
    return answer_from(LiquorTerm, match, label=term_label(term), pinyin=pinyin, characters=characters)


def _seen(region: liquor.RegionColour | None) -> PhotoRegionSeen | None:
    return None if region is None else answer_from(PhotoRegionSeen, region, lab=_lab(region.lab))
