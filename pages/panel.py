"""How the team's tasters use the scale and how far they agree."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.views.generic import View

from pages.browser import chosen_member
from pages.record_forms import NOTHING
from tastings.maths.brewing.brews import TasterScale
from tastings.maths.panel.joining import joining
from tastings.queries.developments import labels_of
from tastings.queries.panels import panel_of, tasters_shown
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import day, listed, one_decimal, signed
from tastings.wording.panel import (
    SURE_SD,
    WordScale,
    coefficient,
    joining_sentence,
    panel_sentence,
    rankings,
    repeats_sentence,
    scale_differences,
)
from teams.queries.people import members_of

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.maths.panel.joining import Joining
    from tastings.queries.panels import PanelFigures, TasterRow

STRENGTH = "strength"
_LEADING = (STRENGTH, "liking")
_WIDTH, _SHOWN_POINTS = 120.0, 2.0
"""Length of the line that shows a taster's level, and how many points it has on either side of the panel's."""


class PanelPage(View):
    """The panel as a whole; of single tasters only those whom the caller may see."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it, the caller first."""
        member = chosen_member(request)
        panel, labels = panel_of(member.team_id), labels_of(member)
        people = members_of(member)
        names = {str(person.user_id): str(person.user) for person in people}
        tasting = [str(person.user_id) for person in people if person.may_write and person.left_at is None]
        me = str(member.user_id)
        shown = sorted(tasters_shown(member, panel), key=lambda user: (user != me, names.get(user, "").casefold()))
        context = {
            "team": member.team.name,
            "computed": day(panel.computed_at) if panel.computed_at else "",
            "finish_line": one_decimal(panel.line.mean),
            "agreements": _agreements(panel, labels),
            "words": [_word(panel, key, labels) for key in _in_order(panel.descriptors)],
            "tasters": [
                {"name": names.get(user, ""), "is_me": user == me, **_taster(panel, user, labels)} for user in shown
            ],
            "joining": [
                {"name": names[user], "is_me": user == me, **_joining(panel, user)}
                for user in sorted(tasting, key=lambda user: (user != me, names[user].casefold()))
                if (user == me or member.sees_all_tasters) and not _progress(panel, user).known
            ],
            "sees_all": member.sees_all_tasters,
        }
        return render(request, "pages/panel.html", context)


def _progress(panel: PanelFigures, taster: str) -> Joining:
    """Return how far the strength scale of somebody is known, who may not have tasted yet."""
    return joining(panel.scales.get(STRENGTH, {}).get(taster) or TasterScale())


def _joining(panel: PanelFigures, taster: str) -> dict[str, object]:
    progress = _progress(panel, taster)
    return {"done": progress.done, "needed": progress.needed, "sentence": joining_sentence(progress)}


def _in_order(keys: Mapping[str, object]) -> list[str]:
    """Return the descriptors, those that every cup is rated for first."""
    return sorted(keys, key=lambda key: (_LEADING.index(key) if key in _LEADING else len(_LEADING), key))


def _agreements(panel: PanelFigures, labels: Mapping[str, str]) -> list[tuple[str, str]]:
    """Return how far the tasters agree, each degree with the words for which it is so."""
    words: dict[str, list[str]] = {}
    for key in _in_order(panel.descriptors):
        agreed = panel.descriptors[key].agreement
        words.setdefault(panel_sentence(agreed.single, lots=agreed.lots), []).append(descriptor_label(key, labels))
    return [(listed(of_words), sentence) for sentence, of_words in words.items()]


def _word(panel: PanelFigures, key: str, labels: Mapping[str, str]) -> dict[str, object]:
    agreement = panel.descriptors[key].agreement
    return {
        "label": descriptor_label(key, labels),
        "tasters": len(agreement.tasters),
        "lots": agreement.lots,
        "single": coefficient(agreement.single),
        "mean": coefficient(agreement.mean),
    }


def _taster(panel: PanelFigures, taster: str, labels: Mapping[str, str]) -> dict[str, object]:
    """Return what is to be known of a taster, and the figures of each word behind it."""
    by_key = {row.descriptor: row for row in panel.rows_of(taster)}
    rows = [by_key[key] for key in _in_order(by_key)]
    words = [
        WordScale(descriptor_label(row.descriptor, labels), row.scale, row.figures.agreement, row.figures.lots)
        for row in rows
    ]
    again = [row.figures.repeatability_sd for row in rows if row.figures.repeatability_sd is not None]
    return {
        "differences": scale_differences(words),
        "again": repeats_sentence(again),
        "rows": [_row(row, labels) for row in rows],
        "rankings": rankings(words),
    }


def _row(row: TasterRow, labels: Mapping[str, str]) -> dict[str, object]:
    sd = row.figures.repeatability_sd
    return {
        "label": descriptor_label(row.descriptor, labels),
        "level": signed(row.scale.offset),
        "again": NOTHING if sd is None else one_decimal(sd),
        "sessions": row.figures.sessions,
        "lots": row.figures.lots,
        "line": _line(row.scale),
    }


def _line(scale: TasterScale) -> dict[str, float]:
    """Return where the level and its 80 % interval stand on the line, 0 to `_WIDTH`, cut off at its ends."""
    half = SURE_SD * scale.offset_sd
    low, at, high = (_place(scale.offset + by) for by in (-half, 0.0, half))
    return {"low": low, "at": at, "width": high - low}


def _place(points: float) -> float:
    inside = min(max(points, -_SHOWN_POINTS), _SHOWN_POINTS)
    return round(_WIDTH * (inside + _SHOWN_POINTS) / (2 * _SHOWN_POINTS), 1)
