"""The team's lots in the browser: the list with its search, and some of them compared."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.decorators.http import require_safe

from api.http.conditional import id_from_path
from lots.schemas import LOT
from pages.browser import chosen_member, memberships_in, of_chosen_team, page, show_times_of
from tastings.queries.comparisons import MOST_GROUPS, compare_lots
from tastings.queries.developments import labels_of
from tastings.queries.lot_search import PROFILES, SORTS, LotFilters, lists_state, lots_named, lots_page
from tastings.queries.next_tastings import tasting_plan
from tastings.queries.readiness import readiness_for
from tastings.reports.comparison import ComparisonPage, comparison_page, tick_again
from tastings.reports.lot_list import lot_list
from tastings.wording.counts import counted
from tastings.wording.development import next_session_sentence
from tastings.wording.labels import STATUSES, label
from tastings.wording.readiness import rest_words
from teams.errors import NotFound
from teams.replica import read_from_replica

if TYPE_CHECKING:
    from collections.abc import Collection
    from uuid import UUID

_CHOICES = {field.name: field.choices or () for field in LOT.fields if field.name in ("kind", "status")}
_LONGEST_QUERY = 200
_LATEST_YEAR = 9999
_MOST_PAGES = 1_000_000


def filters_of(query: QueryDict) -> LotFilters:
    """Read the list's filters from the query; an unknown value, as in an old address, is ignored."""

    def one_of(name: str, choices: Collection[str], *, default: str = "") -> str:
        value = str(query.get(name, ""))
        return value if value in choices else default

    return LotFilters(
        q=str(query.get("q", ""))[:_LONGEST_QUERY].replace("\x00", ""),
        kind=one_of("kind", _CHOICES["kind"]),
        status=one_of("status", _CHOICES["status"]),
        profile=one_of("profile", PROFILES),
        year=_count(query.get("year"), most=_LATEST_YEAR) or None,
        sort=one_of("sort", SORTS, default=LotFilters().sort),
        page=_count(query.get("page"), most=_MOST_PAGES) or 1,
    )


def _count(text: object, *, most: int) -> int:
    """Return a whole number from 1 to ``most``; 0 for anything else."""
    written = str(text)
    if not (written.isascii() and written.isdigit()) or len(written) > len(str(most)):
        return 0
    number = int(written)
    return number if number <= most else 0


def ticked_in(query: QueryDict) -> list[UUID]:
    """Return the lots that were ticked, each once; ``lots=a&lots=b``, or ``lots=a,b`` as the API has it."""
    names = [name.strip() for text in query.getlist("lots") for name in str(text).split(",")]
    return list(dict.fromkeys(id_from_path(name) for name in names if name))


@page
@require_safe
def lots(request: HttpRequest) -> HttpResponse:
    """Show the lots of the team that the caller works for."""
    memberships, filters = of_chosen_team(request, memberships_in(request)), filters_of(request.GET)
    ticked = ticked_in(request.GET)[:MOST_GROUPS]
    shown = lot_list(
        read_from_replica(lambda: lots_page(memberships, filters), state=lambda: lists_state(memberships)),
        filters=filters,
        ticked=lots_named(memberships, ticked) if ticked else [],
    )
    may_write = any(member.may_write for member in memberships)
    return render(request, "pages/lots.html", {"page": shown, "may_write": may_write})


@page
@require_safe
def compare(request: HttpRequest) -> HttpResponse:
    """Show two to six lots of one team side by side."""
    memberships, ticked = memberships_in(request), ticked_in(request.GET)
    lots = lots_named(memberships, ticked[: MOST_GROUPS + 1])
    if len(lots) < min(len(ticked), MOST_GROUPS + 1):
        raise NotFound
    teams = {lot.team_id for lot in lots}
    members = [member for member in memberships if member.team_id in teams]
    why = _why_not(len(ticked), len(members))
    if why:
        shown = ComparisonPage(again=tick_again([str(lot.id) for lot in lots[:MOST_GROUPS]]), why=why)
    else:
        compared = compare_lots(members[0], ticked)
        show_times_of(members[0].team)
        today = timezone.localdate()
        rested = {lot: readiness_for(members[0], lot, today=today, level=None).readiness for lot in ticked}
        rests = {str(lot): rest_words(rest) for lot, rest in rested.items() if rest is not None}
        shown = comparison_page(compared, lots=lots, labels=labels_of(members[0]), rests=rests)
    return render(request, "pages/compare.html", {"page": shown})


@page
@require_safe
def next_tastings(request: HttpRequest) -> HttpResponse:
    """Show which lots to taste next, and what that would settle."""
    plan = tasting_plan(chosen_member(request))
    rows = [
        {
            "name": tasting.name or _("Lot without a name"),
            "href": f"/lots/{tasting.lot}/report/",
            "sentence": next_session_sentence(tasting.next),
            "status": label(STATUSES, tasting.status),
            "sessions": counted(tasting.sessions, "session"),
        }
        for tasting in plan.tastings
    ]
    left = plan.open_lots - len(rows)
    text = ngettext("%(n)s more lot has an open question.", "%(n)s more lots have an open question.", left) % {
        "n": left
    }
    return render(request, "pages/next_tastings.html", {"rows": rows, "more": text if left else ""})


def _why_not(n_ticked: int, n_teams: int) -> str:
    """Return why lots cannot be compared; empty text when they can."""
    if n_ticked == 0:
        return _("Tick two to six lots to compare them; none was ticked.")
    if n_ticked == 1:
        return _("Tick two to six lots to compare them; only one was ticked.")
    if n_ticked > MOST_GROUPS:
        return _("At most six lots can be compared at once.")
    if n_teams > 1:
        return _("These lots belong to different teams, whose tasters cannot be brought to one scale.")
    return ""
