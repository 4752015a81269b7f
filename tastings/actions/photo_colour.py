"""Measuring the colour of the liquor in a photo, from a region of liquor and one of something white."""

from dataclasses import replace
from datetime import datetime
from uuid import UUID

import numpy as np
from django.db import transaction

from lots.schema import format_utc_short
from tastings.actions.image_processing import pixels_of
from tastings.actions.photo_permissions import check_may_change_photo, record_photo_correction
from tastings.errors import PhotoNotReady
from tastings.figures import to_stored
from tastings.maths.arrays import PixelArray
from tastings.maths.colour.liquor import Lab, LiquorColour, RegionColour, liquor_colour
from tastings.maths.colour.measured import COLOUR_METHOD, Box, MeasuredColour, Regions
from tastings.maths.colour.terms import liquor_terms
from tastings.models import Photo
from tastings.queries.photos import photo_file
from teams.errors import NotFound
from teams.models import Member


def measure_colour(member: Member, *, photo: UUID, regions: Regions, now: datetime) -> None:
    """Measure the liquor's colour and store it with the photo; an earlier one is replaced.

    Raise NotFound, NotAllowed if the member may not change the photo, PhotoNotReady if it is not stored yet.
    """
    row = check_may_change_photo(member, photo)
    if row.state != Photo.State.STORED:
        raise PhotoNotReady
    try:
        pixels = pixels_of(photo_file(member, photo, thumbnail=False).read())
    except FileNotFoundError as error:
        raise NotFound from error
    colour = _rounded(
        liquor_colour(
            white=_crop(pixels, regions.white),
            liquor=_crop(pixels, regions.liquor),
            terms=tuple(liquor_terms().values()),
            rng=np.random.default_rng(photo.int),
        )
    )
    measured = MeasuredColour(
        reason=colour.reason,
        lab=colour.lab,
        sd=colour.sd,
        terms=colour.terms,
        white=colour.white,
        liquor=colour.liquor,
        regions=regions,
        method=COLOUR_METHOD,
        by=str(member.user_id),
        at=format_utc_short(now),
    )
    with transaction.atomic():
        rows = Photo.objects.filter(id=photo, state=Photo.State.STORED, removed_at=None)
        if not rows.update(colour=to_stored(measured, decimals=None)):
            raise NotFound
        record_photo_correction(member, row, fields=["colour"], now=now)


def _crop(pixels: PixelArray, box: Box) -> PixelArray:
    height, width = pixels.shape[:2]
    top, left = round(box.y * height), round(box.x * width)
    bottom, right = round((box.y + box.height) * height), round((box.x + box.width) * width)
    return pixels[top:bottom, left:right]


def _rounded(colour: LiquorColour) -> LiquorColour:
    """Round to the decimals that mean something: 2 of a colour, 3 of a probability, 4 of a share of pixels."""
    return replace(
        colour,
        lab=colour.lab and _rounded_lab(colour.lab),
        sd=colour.sd and _rounded_lab(colour.sd),
        terms=tuple(
            replace(term, delta_e=round(term.delta_e, 2), probability=round(term.probability, 3))
            for term in colour.terms
        ),
        white=_rounded_region(colour.white),
        liquor=_rounded_region(colour.liquor),
    )


def _rounded_lab(lab: Lab) -> Lab:
    return Lab(round(lab.l, 2), round(lab.a, 2), round(lab.b, 2))


def _rounded_region(region: RegionColour | None) -> RegionColour | None:
    return region and replace(region, lab=_rounded_lab(region.lab), clipped=round(region.clipped, 4))
