"""The arrival check: an arrived lot beside the sample it was bought on, word by word."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import reverse
from django.utils.http import urlencode
from django.utils.translation import gettext as _
from django.views.generic import View

from pages.reports import member_with
from pages.triangles import first_sentence
from tastings.maths.comparison.arrival import NOTICEABLE, Compared
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS
from tastings.queries.arrivals import LotArrival, arrival_check_for, lots_bought_on
from tastings.queries.developments import labels_of
from tastings.queries.records import names_of_lots
from tastings.wording.arrival import compared_sentence, evidence_sentence, next_tasting, no_sample, reason
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import day, number, number_range, one_decimal, percent, signed

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.queries.records import Record
    from teams.models import Member

_WIDTH, _SHOWN_POINTS = 240.0, 4.0
"""Length of the line that shows a difference, and how many points it has on either side of no difference."""


class ArrivalPage(View):
    """One lot against its sample; of a sample, the lots that were bought on it."""

    def get(self, request: HttpRequest, lot_id: str) -> HttpResponse:
        """Show it."""
        member, lot = member_with(request, lot_id)
        names = names_of_lots(member)
        context = {
            "lot": lot.id,
            "name": lot.fields["name"],
            "bought": lots_bought_on(member, lot.id),
            "may": member.may_write,
            **_check(member, lot, names),
        }
        return render(request, "pages/arrival.html", context)


def _check(member: Member, lot: Record, names: Mapping[str, str]) -> dict[str, object]:
    arrival, labels = arrival_check_for(member, lot.id), labels_of(member)
    check = arrival.check
    if arrival.sample is None or check is None:
        return {"verdict": no_sample()}
    return {
        "sample": {"id": arrival.sample, "name": names.get(str(arrival.sample), "")},
        "verdict": reason(check, labels=labels),
        "next": next_tasting(check),
        "evidence": evidence_sentence(check),
        "rows": [_row(row, labels) for row in check.compared],
        "not_compared": [descriptor_label(key, labels) for key in check.not_compared],
        "cups": FIRST_INFUSIONS,
        "noticeable": number(NOTICEABLE),
        "band": {"low": _place(-NOTICEABLE), "width": _place(NOTICEABLE) - _place(-NOTICEABLE)},
        "tests": [
            {"id": test.id, "on": day(test.held_on), "sentence": first_sentence(test)}
            for test in arrival.triangle_tests
        ],
        "actions": _actions(member, arrival),
    }


def _actions(member: Member, arrival: LotArrival) -> dict[str, str]:
    table, written_down = reverse("table"), urlencode({"lot": str(arrival.lot), "purpose": "arrival"})
    writes = {
        _("Taste the arrived lot"): f"{table}#/pot/lot/{arrival.lot}/arrival",
        _("Taste the sample"): f"{table}#/pot/lot/{arrival.sample}",
        _("Write a session down"): f"{reverse('new-record', args=['session'])}?{written_down}",
    }
    return {**(writes if member.may_write else {}), _("Triangle tests"): reverse("triangles", args=[arrival.lot])}


def _row(row: Compared, labels: Mapping[str, str]) -> dict[str, object]:
    low, at, high = _place(row.low), _place(row.difference), _place(row.high)
    return {
        "label": descriptor_label(row.descriptor, labels),
        "sample": one_decimal(row.sample),
        "arrived": one_decimal(row.arrived),
        "difference": signed(row.difference),
        "span": number_range(signed(row.low), signed(row.high)),
        "sentence": compared_sentence(row),
        "chance": percent(row.p_adjusted),
        "line": {"low": low, "at": at, "width": high - low},
    }


def _place(points: float) -> float:
    """Return where a difference stands on the line, 0 to `_WIDTH`, cut off at its ends."""
    inside = min(max(points, -_SHOWN_POINTS), _SHOWN_POINTS)
    return round(_WIDTH * (inside + _SHOWN_POINTS) / (2 * _SHOWN_POINTS), 1)
