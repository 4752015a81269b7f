"""The page of one session: how it was brewed and what was noted, pour by pour."""

from collections.abc import Mapping, Sequence
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string

from tastings.reports.facts import session_row
from tastings.reports.sections import photo_rows
from tastings.reports.words import figure, one_decimal, plain
from tastings.wording.numbers import duration

ENDINGS = {"spent": "The leaf was spent at the end.", "stopped": "Stopped before the leaf was spent."}


def session_context(  # noqa: PLR0913 - one argument for each kind of record that the page shows
    *,
    lot: Mapping[str, Any],
    session: Mapping[str, Any],
    pours: Sequence[Mapping[str, Any]],
    notes: Sequence[Mapping[str, Any]],
    labels: Mapping[str, str],
    photos: Sequence[Mapping[str, Any]],
) -> dict[str, Any]:
    """Build what the session's template shows, from records under the contract's field names."""
    row = session_row(session, {})
    facts = [
        row["brew"],
        f"water: {session['water']}" if session.get("water") else "",
        f"{figure(session['altitude_m'])} m above the sea" if session.get("altitude_m") is not None else "",
        f"room at {figure(session['room_c'])} °C" if session.get("room_c") is not None else "",
        {"True": "vessel warmed", "False": "vessel not warmed"}.get(str(session.get("warmed")), ""),
    ]
    return {
        "name": str(lot.get("name") or ""),
        "day": row["day"],
        "taster": row["taster"],
        "shop": row["shop"],
        "facts": [fact for fact in facts if fact],
        "ending": ENDINGS.get(str(session.get("ending")), ""),
        "remarks": str(session.get("remarks") or ""),
        "pours": [_pour(pour, labels) for pour in pours],
        "notes": _noted(notes, labels),
        "photos": photo_rows(photos),
    }


def _pour(pour: Mapping[str, Any], labels: Mapping[str, str]) -> dict[str, Any]:
    return {
        "number": "Rinse" if pour["number"] == 0 else str(pour["number"]),
        "steep": duration(pour["steep_s"]),
        "pour": duration(pour["pour_s"]) if pour.get("pour_s") else "",
        "kettle": f"{figure(pour['kettle_c'])} °C",
        "notes": _noted(pour["notes"], labels),
        "remarks": str(pour.get("remarks") or ""),
    }


def _noted(notes: Sequence[Mapping[str, Any]], labels: Mapping[str, str]) -> list[dict[str, str]]:
    return [
        {
            "word": plain(note["key"], labels),
            "moment": str(note["moment"]).replace("_", " "),
            "points": "" if note["intensity"] is None else one_decimal(note["intensity"]),
            "text": str(note["text"]),
        }
        for note in notes
    ]


def render_session(*, lot_href: str, request: HttpRequest | None = None, **told: Any) -> str:  # noqa: ANN401
    """Write the page; see :func:`session_context`."""
    return render_to_string("pages/session.html", {**session_context(**told), "lot_href": lot_href}, request=request)
