"""The photos of a report or session: of what, which cup, which colour of liquor. Pure."""

from dataclasses import dataclass

import numpy as np
from django.utils.translation import gettext as _

from tastings.maths.colour.cielab import srgb_of
from tastings.maths.colour.liquor import Lab
from tastings.maths.colour.measured import MeasuredColour
from tastings.maths.colour.terms import liquor_terms
from tastings.queries.reports import PhotoFacts
from tastings.wording.labels import PHOTO_SUBJECTS, label
from tastings.wording.numbers import day, percent
from tastings.wording.photos import term_label

N_TERMS = 2


@dataclass(frozen=True, slots=True)
class PhotoRow:
    """One photo with its caption; ``swatch`` is the liquor's colour for the screen, empty when it was not measured."""

    href: str
    file: str
    width: int
    height: int
    caption: str
    swatch: str
    colour: str


def photo_row(photo: PhotoFacts) -> PhotoRow:
    """Write one photo: of what, which cup, and the colour of the liquor where it was measured."""
    colour = photo.colour
    caption = [
        label(PHOTO_SUBJECTS, photo.of),
        _("cup %(number)s") % {"number": photo.number} if photo.number else "",
        day(photo.day),
    ]
    return PhotoRow(
        href=photo.href,
        file=photo.file,
        width=photo.width,
        height=photo.height,
        caption=", ".join(filter(None, caption)),
        swatch="" if colour is None or colour.lab is None else colour_hex(colour.lab),
        colour="" if colour is None or colour.lab is None else _liquor(colour),
    )


def colour_hex(lab: Lab) -> str:
    """Return CIELAB under D65 as a colour for the screen, the nearest there is."""
    return "#" + "".join(f"{round(255 * v):02x}" for v in srgb_of(np.array(lab.values)))


def _liquor(colour: MeasuredColour) -> str:
    terms = [
        f"{term_label(liquor_terms()[match.key])} ({percent(match.probability)})" for match in colour.terms[:N_TERMS]
    ]
    if len(terms) > 1:
        return _("Liquor: %(first)s or %(second)s") % {"first": terms[0], "second": terms[1]}
    return _("Liquor: %(first)s") % {"first": "".join(terms)}
