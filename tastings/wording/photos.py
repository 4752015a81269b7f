"""Texts for refused photos and for the colour of liquor."""

from collections.abc import Mapping

from django.utils.functional import Promise
from django.utils.translation import gettext_lazy, pgettext

from tastings.maths.colour.liquor import Reason, Term

REFUSALS: Mapping[str, Promise] = {
    "wrong_hash": gettext_lazy(
        "the bytes that came are not those of the SHA-256 announced: make a new photo and send it again"
    ),
    "not_an_image": gettext_lazy("no JPEG, PNG, WebP or HEIC"),
    "too_many_pixels": gettext_lazy("more than 50 megapixels"),
    "broken_image": gettext_lazy("begins like an image and cannot be read to its end"),
}
"""Sentences on why a photo is refused, by code."""
COLOUR_REASONS: Mapping[Reason, Promise] = {
    "white_small": gettext_lazy("the white region is too small: mark a larger one"),
    "liquor_small": gettext_lazy("the liquor region is too small: mark a larger one"),
    "white_clipped": gettext_lazy("the white region is overexposed: take the photo darker"),
    "white_dark": gettext_lazy("the white region is too dark: more light, or mark something white"),
    "white_coloured": gettext_lazy("the white region is far from white: change the light, or mark something white"),
    "liquor_brighter": gettext_lazy("the liquor is brighter than the white: a reflection, or the regions are swapped"),
}
"""Sentences on why a colour cannot be measured, by code."""


def term_label(term: Term) -> str:
    """Return the word for a liquor's colour."""
    return pgettext("liquor colour", term.label)
