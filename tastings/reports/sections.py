"""The photos of the report: of what, which cup, which colour of liquor. Pure."""

from collections.abc import Mapping, Sequence
from typing import Any

import numpy as np

from tastings.maths.colour.cielab import srgb_of
from tastings.reports.facts import day_of
from tastings.reports.words import percent

PHOTO_OF = {
    "dry_leaf": "Dry leaf",
    "wet_leaf": "Wet leaf",
    "liquor": "Liquor",
    "spent_leaf": "Spent leaf",
    "other": "Photo",
}


def colour_hex(lab: Mapping[str, float]) -> str:
    """Return CIELAB under D65 as a colour for the screen, the nearest there is."""
    return "#" + "".join(f"{round(255 * v):02x}" for v in srgb_of(np.array([lab["l"], lab["a"], lab["b"]])))


def photo_rows(photos: Sequence[Mapping[str, Any]]) -> list[dict[str, Any]]:
    """Write each photo: of what, which cup, and the colour of the liquor where it was told.

    Parameters
    ----------
    photos : sequence of mappings
        ``of``, ``number`` of the infusion or None, ``day``, ``href``, ``width``, ``height``, ``colour``.
    """
    rows = []
    for photo in photos:
        colour = photo.get("colour") or {}
        told = colour.get("verdict") == "told" and colour.get("lab")
        terms = (
            [f"{one['label']} ({percent(one['probability'])})" for one in (colour.get("terms") or ())[:2]]
            if told
            else []
        )
        cup = f", cup {photo['number']}" if photo.get("number") else ""
        what = PHOTO_OF.get(str(photo.get("of")), PHOTO_OF["other"])
        rows.append(
            {
                "href": photo.get("href"),
                "file": photo.get("file"),
                "width": photo.get("width"),
                "height": photo.get("height"),
                "caption": f"{what}{cup}" + (f", {day_of(photo['day'])}" if photo.get("day") else ""),
                "swatch": colour_hex(colour["lab"]) if told else "",
                "colour": f"Liquor: {' or '.join(terms)}" if told else "",
            }
        )
    return rows
