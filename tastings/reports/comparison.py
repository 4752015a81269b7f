"""From a comparison of lots to its page: curves, and for each pair who outlasts, is stronger, is liked more."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from tastings.reports.lot_list import lot_row
from tastings.reports.page import NARROW, WIDE
from tastings.reports.side_by_side import LETTERS, curves_chart, lot_mark
from tastings.reports.svg import curve_of
from tastings.reports.words import counted, isolated, percent, plain, signed

SURE = 0.6
"""From this probability on a sentence says which of two it is; below, that one cannot tell yet."""
NOT_TELLING = "cannot be told"


def comparison_context(
    comparison: Mapping[str, Any], *, lots: Sequence[Mapping[str, Any]], labels: Mapping[str, str]
) -> dict[str, Any]:
    """Build what the page of a comparison shows.

    Parameters
    ----------
    comparison : mapping
        As the API gives it: ``groups`` by lot, and ``pairs``.
    lots : sequence of mappings
        The lots as a list shows them, in the order of the groups.
    labels : mapping
        Descriptor labels by key.
    """
    groups = {group["name"]: group for group in comparison["groups"]}
    rows = [
        {**lot_row({**lot, "development": groups[lot["id"]]}), "letter": LETTERS[i], "mark": SafeString(lot_mark(i)),
         "evidence": counted(groups[lot["id"]]["evidence"]["sessions"], "session")}
        for i, lot in enumerate(lots)
    ]  # fmt: skip
    by_id = {row["id"]: row for row in rows}
    return {
        "rows": rows,
        "charts": [
            {
                "title": title,
                "id": key,
                "wide": SafeString(_chart(groups, rows, key=key, title=title, width=WIDE)),
                "narrow": SafeString(_chart(groups, rows, key=key, title=title, width=NARROW)),
            }
            for key, title in (("strength", "Strength"), ("liking", "Liking"))
            if any(curve_of(group, key) for group in groups.values())
        ],
        "pairs": [
            pair_row(pair, first=by_id[pair["first"]], second=by_id[pair["second"]], labels=labels)
            for pair in comparison["pairs"]
        ],
        "first_infusions": comparison["first_infusions"],
        "again": "&".join(f"lots={lot['id']}" for lot in lots),
    }


def _chart(
    groups: Mapping[str, Mapping[str, Any]], rows: Sequence[Mapping[str, Any]], *, key: str, title: str, width: int
) -> str:
    curves = [curve_of(groups[row["id"]], key) for row in rows]
    return curves_chart(curves, names=[row["name"] for row in rows], of=title, width=width)


def pair_row(
    pair: Mapping[str, Any],
    *,
    first: Mapping[str, Any],
    second: Mapping[str, Any],
    labels: Mapping[str, str],
) -> dict[str, Any]:
    """Put two lots' comparison into sentences and into a line of the table.

    Parameters
    ----------
    pair : mapping
        One of the comparison's ``pairs``.
    first, second : mapping
        ``name`` and ``letter`` of the lots.
    labels : mapping
        Descriptor labels by key.
    """
    chance = pair["probability"]
    same = first["name"] == second["name"]  # as a sample and what was bought after it often are
    one, other = (isolated(lot["name"]) + (f" ({lot['letter']})" if same else "") for lot in (first, second))
    shared = int(pair["shared_tasters"])
    return {
        "first": first,
        "second": second,
        "sentences": [
            lasting_sentence(chance["outlasts"], chance["outlasted"], one=one, other=other),
            more_sentence(chance["stronger"], one=one, other=other, words=("is stronger", "is the stronger")),
            more_sentence(chance["liked_more"], one=one, other=other, words=("is liked more", "is liked more")),
        ],
        "shared": f"{counted(shared, 'taster')} tasted both."
        if shared
        else "Nobody tasted both, which leaves more in doubt.",
        "chances": [_chance(chance[key]) for key in ("outlasts", "outlasted", "stronger", "liked_more")],
        "differences": [
            {
                "label": plain(found["descriptor"], labels),
                "mean": signed(found["mean"]),
                "span": f"{signed(found['low'])} to {signed(found['high'])}",
                "more": percent(found["probability_more"]),
            }
            for found in pair["differences"]
        ],
    }


def lasting_sentence(outlasts: float | None, outlasted: float | None, *, one: str, other: str) -> str:
    """Say which of two lots has more steeps worth drinking, and how sure that is.

    Parameters
    ----------
    outlasts, outlasted : float or None
        Probability that the first has more, or fewer; what is missing to 1 is the probability of as many.
    one, other : str
        The lots' names.
    """
    if outlasts is None or outlasted is None:
        return "Which of them lasts longer cannot be told: strength was not rated in both."
    same = max(0.0, 1.0 - outlasts - outlasted)
    for chance, longer, shorter in ((outlasts, one, other), (outlasted, other, one)):
        if chance >= SURE:
            return f"{longer} outlasts {shorter} with {percent(chance)} probability."
    if same >= SURE:
        return f"They last as many steeps, with {percent(same)} probability."
    return (
        f"Which of them lasts longer cannot be told yet: {one} with {percent(outlasts)} probability, "
        f"{other} with {percent(outlasted)}, as many steeps with {percent(same)}."
    )


def more_sentence(chance: float | None, *, one: str, other: str, words: tuple[str, str]) -> str:
    """Say which of two lots has more of something.

    Parameters
    ----------
    chance : float or None
        Probability that the first has more; None unless both were rated.
    one, other : str
        The lots' names.
    words : tuple of str
        How to say it of a lot, and in "which of them …".
    """
    if chance is None:
        return f"Which of them {words[1]} cannot be told: it was not rated in both."
    for probability, more in ((chance, one), (1.0 - chance, other)):
        if probability >= SURE:
            return f"{more} {words[0]} with {percent(probability)} probability."
    return f"Which of them {words[1]} cannot be told yet: {one} with {percent(chance)} probability."


def _chance(probability: float | None) -> str:
    return NOT_TELLING if probability is None else percent(probability)


def render_comparison(context: Mapping[str, Any], *, request: HttpRequest | None = None) -> str:
    """Write the page that compares lots; see :func:`comparison_context`."""
    return render_to_string("pages/compare.html", dict(context), request=request)
