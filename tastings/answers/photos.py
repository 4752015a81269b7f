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

    a: float = field(metadata=help_text("a*: from green (below 0) to red"))
    b: float = field(metadata=help_text("b*: from blue (below 0) to yellow"))
    l: float = field(metadata=help_text("L*: from black (0) to white (100)"))  # noqa: E741 - L*, as its key is


@dataclass(frozen=True, slots=True)
class LiquorTerm:
    """A word for the colour."""

    key: str = field(metadata=help_text("short name that programs use"))
    label: str = field(metadata=help_text("what people read"))
    pinyin: str | None = field(metadata=help_text("the Chinese term in letters; null without one"))
    delta_e: float = field(metadata=help_text("CIEDE2000 to the term's place"))
    characters: str | None = field(metadata=help_text("the Chinese term; null without one"))
    probability: float = field(metadata=help_text("that this term is the nearest"))


@dataclass(frozen=True, slots=True)
class PhotoRegionSeen:
    """What was seen in a region."""

    lab: Lab = field(metadata=help_text("as photographed, not corrected"))
    pixels: int = field(metadata=help_text("how many were measured"))
    clipped: float = field(metadata=help_text("share of pixels with a channel at its end"))


@dataclass(frozen=True, slots=True)
class PhotoRegion:
    """A rectangle of the upright picture."""

    x: float = field(metadata=help_text("left edge, of the picture's width"))
    y: float = field(metadata=help_text("upper edge, of the picture's height"))
    width: float = field(metadata=help_text("of the picture's width"))
    height: float = field(metadata=help_text("of the picture's height"))


@dataclass(frozen=True, slots=True)
class PhotoRegions:
    """Where the white and the liquor are."""

    white: PhotoRegion = field(metadata=help_text("something white beside the liquor"))
    liquor: PhotoRegion = field(metadata=help_text("the liquor"))


@dataclass(frozen=True, slots=True, kw_only=True)
class LiquorColour:
    """The colour of the liquor in a photo, or why it cannot be measured."""

    at: str = field(metadata=help_text("when it was measured"))
    by: UUID = field(metadata=help_text("login of who measured it"))
    sd: Lab | None = field(metadata=help_text("standard deviation of each"))
    lab: Lab | None = field(metadata=help_text("CIELAB; the white beside it counts as 100, 0, 0"))
    terms: list[LiquorTerm] = field(metadata=help_text("the most probable first; the first two always"))
    white: PhotoRegionSeen | None = field(
        metadata=help_text("what was seen of the white; null when a region is too small")
    )
    detail: str = field(metadata=help_text("why it cannot be measured, in words; else empty"))
    liquor: PhotoRegionSeen | None = field(
        metadata=help_text("what was seen of the liquor; null when a region is too small")
    )
    method: str = field(metadata=help_text("version of the method"))
    reason: Reason | None = field(
        metadata=help_text("; ".join(f"`{code}`: {reason}" for code, reason in COLOUR_REASONS.items()))
    )
    regions: PhotoRegions = field(metadata=help_text("where both are"))
    verdict: Literal["measured", "cannot_tell"] = field(metadata=help_text("whether there is a colour"))
    illuminant: str = field(metadata=help_text("light and observer of the CIELAB values"))


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
