"""Telling the colour of the liquor in a photo, from a region of liquor and one of something white."""

import json
from collections.abc import Mapping
from datetime import datetime
from functools import cache
from pathlib import Path
from uuid import UUID

import numpy as np
from django.db import transaction
from django.utils.translation import gettext as _

from lots.models.wire import TO_WIRE
from lots.schema import Fault, Field, Unfit, clean, gettext_noop
from lots.wording import problem_of
from tastings.actions.photos import may_write
from tastings.actions.picture import pixels_of
from tastings.errors import NotYet
from tastings.maths.arrays import PixelArray
from tastings.maths.colour.liquor import REASONS, LiquorColour, Region, Term, liquor_colour
from tastings.models import Photo
from tastings.queries.photos import file_of, photo_row
from teams.errors import Invalid, NotHere, Problem
from teams.models import Member

METHOD = "1"
"""Of `tastings.maths.colour.liquor` and the terms: raised when either changes what it says."""
_TERMS = Path(__file__).resolve().parents[1] / "data" / "liquor_colours.json"
REGIONS = ("white", "liquor")
REGION_FIELDS = (
    Field(name="x", kind="number", low=0, high=1, required=True, about="left edge, of the width"),
    Field(name="y", kind="number", low=0, high=1, required=True, about="upper edge, of the height"),
    Field(name="width", kind="number", above=0, high=1, required=True),
    Field(name="height", kind="number", above=0, high=1, required=True),
)

_Box = dict[str, float]


@cache
def liquor_terms() -> tuple[Term, ...]:
    """Return the words for a liquor's colour."""
    told = json.loads(_TERMS.read_text("utf-8"))["terms"]
    return tuple(Term(**{**term, "lab": tuple(term["lab"])}) for term in told)


def measure_colour(member: Member, *, photo: UUID, sent: Mapping[str, object], now: datetime) -> None:
    """Tell the liquor's colour and keep it with the photo; an earlier one is replaced.

    Parameters
    ----------
    member : Member
        Who asks; must be allowed to write.
    photo : UUID
        A photo that is kept.
    sent : mapping
        ``white`` and ``liquor``, each with x, y, width and height. [fractions of the upright picture, 0 to 1]
    now : datetime
        The moment.

    Raises
    ------
    NotHere, NotAllowed, NotYet
        No such photo, a role that only reads, a photo that is not kept.
    Invalid
        A region does not hold, or the two overlap.
    """
    row = photo_row(member, photo)
    may_write(member)
    boxes = _regions(sent)
    if row.state != Photo.State.KEPT:
        raise NotYet
    try:
        pixels = pixels_of(file_of(member, photo, thumbnail=False).path.read_bytes())
    except FileNotFoundError as error:
        raise NotHere from error
    found = liquor_colour(
        white=_cut(pixels, boxes["white"]),
        liquor=_cut(pixels, boxes["liquor"]),
        terms=liquor_terms(),
        generator=np.random.default_rng(photo.int),
    )
    told = {
        **_shown(found),
        "regions": boxes,
        "method": METHOD,
        "by": str(member.user_id),
        "at": TO_WIRE["moment"](now),
    }
    with transaction.atomic():
        if not Photo.objects.filter(id=photo, state=Photo.State.KEPT, removed_at=None).update(colour=told):
            raise NotHere


def _regions(sent: Mapping[str, object]) -> dict[str, _Box]:
    problems = [
        Problem(name[:80], "unknown_field", _("is not part of this body")) for name in sent if name not in REGIONS
    ]
    boxes: dict[str, _Box] = {}
    for name in REGIONS:
        region = sent.get(name)
        if not isinstance(region, dict):
            problems.append(
                Problem(name, "required" if region is None else "type", _("must be x, y, width and height"))
            )
            continue
        box, faults = _box(region)
        problems += [problem_of(f"{name}.{field}"[:80], fault) for field, fault in faults]
        boxes[name] = box
    if not problems and _overlap(boxes["white"], boxes["liquor"]):
        problems.append(Problem("white", "overlap", _("lies over the liquor")))
    if problems:
        raise Invalid(problems=problems)
    return boxes


def _box(region: Mapping[str, object]) -> tuple[_Box, list[tuple[str, Fault]]]:
    known = {field.name for field in REGION_FIELDS}
    unknown = Fault("unknown_field", gettext_noop("is not part of a region"))
    faults = [(name, unknown) for name in region if name not in known]
    box: _Box = {}
    for field in REGION_FIELDS:
        try:
            box[field.name] = float(str(clean(field, region.get(field.name))))
        except Unfit as error:
            faults.append((field.name, error.fault))
    if not faults:
        for start, length in (("x", "width"), ("y", "height")):
            if box[start] + box[length] > 1 + 1e-9:
                faults.append((length, Fault("range", gettext_noop("reaches beyond the picture"))))
    return box, faults


def _overlap(one: _Box, other: _Box) -> bool:
    return all(
        one[start] < other[start] + other[length] and other[start] < one[start] + one[length]
        for start, length in (("x", "width"), ("y", "height"))
    )


def _cut(pixels: PixelArray, box: _Box) -> PixelArray:
    height, width = pixels.shape[:2]
    top, left = round(box["y"] * height), round(box["x"] * width)
    bottom, right = round((box["y"] + box["height"]) * height), round((box["x"] + box["width"]) * width)
    return pixels[top:bottom, left:right]


def _shown(found: LiquorColour) -> dict[str, object]:
    return {
        "verdict": "cannot_tell" if found.lab is None else "told",
        "reason": found.reason or None,
        "detail": REASONS.get(found.reason, ""),
        "illuminant": "D65, 2 degree observer",
        "lab": _lab(found.lab),
        "sd": _lab(found.sd),
        "terms": [
            {
                "key": likeness.term.key,
                "label": likeness.term.label,
                "pinyin": likeness.term.pinyin or None,
                "characters": likeness.term.characters or None,
                "delta_e": round(likeness.delta_e, 2),
                "probability": round(likeness.probability, 3),
            }
            for likeness in found.terms
        ],
        "white": _seen(found.white),
        "liquor": _seen(found.liquor),
    }


def _lab(values: tuple[float, float, float] | None) -> dict[str, float] | None:
    return None if values is None else {name: round(value, 2) for name, value in zip("lab", values, strict=True)}


def _seen(region: Region | None) -> dict[str, object] | None:
    if region is None:
        return None
    return {"lab": _lab(region.lab), "pixels": region.pixels, "clipped": round(region.clipped, 4)}
