"""What the report tells beside the curves: the agreement, ageing, photos. Each is put into words. Pure."""

from collections import defaultdict
from collections.abc import Mapping, Sequence
from datetime import date
from statistics import fmean
from typing import Any

import numpy as np

from tastings.maths.colour.cielab import srgb_of
from tastings.reports.facts import day_of
from tastings.reports.words import counted, isolated, listed, one_decimal, percent, signed, two_decimals

PHOTO_OF = {
    "dry_leaf": "Dry leaf",
    "wet_leaf": "Wet leaf",
    "liquor": "Liquor",
    "spent_leaf": "Spent leaf",
    "other": "Photo",
}


def agreement_section(
    tasted: Sequence[Mapping[str, Any]],
    points: Sequence[Mapping[str, Any]],
    *,
    people: Mapping[str, str],
    panel: Mapping[str, Any] | None,
) -> list[str]:
    """Say how well the tasters agree on strength: on this lot, and over the team's lots.

    Parameters
    ----------
    tasted : sequence of mappings
        As in :func:`tastings.reports.page.report_context`; ``adjusted`` is on the panel's scale. [points]
    points : sequence of mappings
        The lot's strength curve.
    people : mapping
        Names by taster id.
    panel : mapping or None
        The team's row for strength of ``GET /panel``: ``tasters``, ``lots``, ``icc_single``, ``icc_mean``,
        ``kendall_w``.
    """
    means = {int(point["infusion"]): float(point["mean"]) for point in points}
    off: dict[str, list[float]] = defaultdict(list)
    for rating in tasted:
        if (
            rating.get("descriptor") == "strength"
            and rating.get("adjusted") is not None
            and rating["infusion"] in means
        ):
            off[str(rating.get("taster"))].append(float(rating["adjusted"]) - means[rating["infusion"]])
    said = []
    if off:
        ratings = [value for values in off.values() for value in values]
        said.append(
            f"On this lot, {counted(len(ratings), 'strength rating')} of {counted(len(off), 'taster')}, brought to the"
            f" even brew, lie {one_decimal(fmean(map(abs, ratings)))} points from the curve on average."
        )
    if len(off) > 1:
        each = sorted((people.get(taster, taster), fmean(values)) for taster, values in off.items())
        said.append(f"On average above or below it: {listed(f'{isolated(n)} {signed(v)}' for n, v in each)} points.")
    row = panel or {}
    if row.get("icc_single") is not None:
        said.append(
            f"Over {counted(int(row['lots']), 'lot')} that {counted(int(row['tasters']), 'taster')} all rated, the"
            f" intraclass correlation of strength is {two_decimals(row['icc_single'])} for one taster's rating and"
            f" {two_decimals(row['icc_mean'])} for the mean of them (1: the teas alone decide)."
        )
        if row.get("kendall_w") is not None:
            said.append(
                f"They put the lots in the same order to {two_decimals(row['kendall_w'])} (Kendall's W, 0 to 1)."
            )
    elif off:
        said.append("How the tasters agree over several lots is not known yet: too few lots were rated by all of them.")
    return said


def ageing_section(lot: Mapping[str, Any], readiness: Mapping[str, Any] | None) -> list[str]:
    """Say how the roast has rested, when it is expected to be ready, and how liking moves with time.

    Parameters
    ----------
    lot : mapping
        The lot's facts.
    readiness : mapping or None
        The answer of ``GET …/readiness``.
    """
    if readiness is None:
        return []
    found = readiness
    if not found.get("roasted_on"):
        if lot.get("roast") in (None, "none"):
            return []
        return ["When it was roasted is not noted, so how it has rested cannot be told."]
    said = [f"Roasted on {day_of(date.fromisoformat(str(found['roasted_on'])))}. {found['reason']}"]
    today = found.get("today")
    if today:
        said.append(
            f"Roast today, {counted(int(today['day']), 'day')} on: {one_decimal(today['mean'])}"
            f" ({one_decimal(today['low'])} to {one_decimal(today['high'])})."
        )
    expected = found.get("expected") or {}
    ends = [day_of(date.fromisoformat(expected[f])) if expected.get(f) else "" for f in ("date", "low", "high")]
    if any(ends):
        on = f"about {ends[0]}" if ends[0] else "later than two years from today, if at all"
        early = f"not before {ends[1]}" if ends[1] else ""
        late = f"not after {ends[2]}" if ends[2] else ""
        span = listed(filter(None, (early, late)))
        level = one_decimal(found["level"])
        said.append(f"Expected under {level}: {on}" + (f" ({span}, with {percent(0.9)} each)." if span else "."))
    liking = found.get("liking")
    if liking:
        said.append(
            f"Liking moves by {signed(liking['per_30_days'], places=2)} points in 30 days"
            f" ({signed(liking['low'], places=2)} to {signed(liking['high'], places=2)})."
        )
    if found.get("next"):
        said.append(str(found["next"]))
    return said


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
