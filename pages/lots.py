"""The team's lots in the browser: the list with its search, and some of them compared."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse, QueryDict
from django.urls import path
from django.views.decorators.http import require_safe
from django.views.generic import RedirectView

from api.http.conditional import id_from_path
from lots.schemas import LOT
from pages.browser import page, places_of
from tastings.queries.comparisons import MOST_GROUPS, compare_lots
from tastings.queries.developments import labels_of
from tastings.queries.lot_search import PROFILES, SORTS, Wish, some_of, stock_of
from tastings.reports.comparison import comparison_context, render_comparison
from tastings.reports.lot_list import render_stock, stock_context
from teams.errors import NotFound

if TYPE_CHECKING:
    from collections.abc import Collection, Sequence
    from uuid import UUID

    from teams.models import Member

_CHOICES = {field.name: field.choices or () for field in LOT.fields if field.name in ("kind", "status")}
_LONGEST_QUERY = 200
_LATEST_YEAR = 9999
_MOST_PAGES = 1_000_000


def wish_of(asked: QueryDict) -> Wish:
    """Read what is asked of the list; a value that there is none of asks nothing, as an old or mistyped address may."""

    def one_of(name: str, known: Collection[str], *, otherwise: str = "") -> str:
        found = str(asked.get(name, ""))
        return found if found in known else otherwise

    return Wish(
        q=str(asked.get("q", ""))[:_LONGEST_QUERY].replace("\x00", ""),
        kind=one_of("kind", _CHOICES["kind"]),
        status=one_of("status", _CHOICES["status"]),
        profile=one_of("profile", PROFILES),
        year=_count(asked.get("year"), most=_LATEST_YEAR) or None,
        sort=one_of("sort", SORTS, otherwise=Wish().sort),
        page=_count(asked.get("page"), most=_MOST_PAGES) or 1,
    )


def _count(text: object, *, most: int) -> int:
    """Return a whole number from 1 to ``most``; 0 for anything else."""
    written = str(text)
    if not (written.isascii() and written.isdigit()) or len(written) > len(str(most)):
        return 0
    number = int(written)
    return number if number <= most else 0


def ticked_in(asked: QueryDict) -> list[UUID]:
    """Return the lots that were ticked, each once; ``lots=a&lots=b``, or ``lots=a,b`` as the API has it."""
    names = [name.strip() for text in asked.getlist("lots") for name in str(text).split(",")]
    return list(dict.fromkeys(id_from_path(name) for name in names if name))


@page
@require_safe
def lots(request: HttpRequest) -> HttpResponse:
    """Show the lots of the teams that someone is in."""
    places, wish = places_of(request), wish_of(request.GET)
    ticked = ticked_in(request.GET)[:MOST_GROUPS]
    kept = some_of(places, ticked) if ticked else []
    context = stock_context(stock_of(places, wish), wish=wish, kept=kept, with_team=len(places) > 1)
    return HttpResponse(render_stock(context, request=request))


@page
@require_safe
def compare(request: HttpRequest) -> HttpResponse:
    """Show two to six lots of one team side by side."""
    places, ticked = places_of(request), ticked_in(request.GET)
    found = some_of(places, ticked[: MOST_GROUPS + 1])
    if len(found) < min(len(ticked), MOST_GROUPS + 1):
        raise NotFound
    owners = [member for member in places if str(member.team_id) in {str(lot["team_id"]) for lot in found}]
    why = _why_not(len(ticked), owners)
    if why:
        again = "&".join(f"lots={lot['id']}" for lot in found[:MOST_GROUPS])
        return HttpResponse(render_comparison({"why": why, "again": again}, request=request))
    compared = compare_lots(owners[0], ticked).as_json()
    context = comparison_context(compared, lots=found, labels=labels_of(owners[0]))
    return HttpResponse(render_comparison(context, request=request))


def _why_not(n_ticked: int, owners: Sequence[Member]) -> str:
    """Return why lots cannot be compared; empty text when they can."""
    if n_ticked < 2:
        return f"Tick two to six lots to compare them; {'only one' if n_ticked else 'none'} was ticked."
    if n_ticked > MOST_GROUPS:
        return "At most six lots can be compared at once."
    if len(owners) > 1:
        return "These lots belong to different teams, whose tasters cannot be brought to one scale."
    return ""


urlpatterns = [
    path("", RedirectView.as_view(pattern_name="lots-page")),
    path("lots/", lots, name="lots-page"),
    path("compare/", compare, name="compare-page"),
]
