"""Headers of every page, and the memberships of the caller."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, TypeVar

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.exceptions import AuthenticationFailed, MethodNotAllowed, NotAuthenticated
from rest_framework.request import Request

from api.http.auth import BearerAuthentication
from api.http.conditional import id_from_path
from api.http.problems import problem_response
from tastings.errors import QuotaFull, WrongState
from tastings.queries.records import record_for
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import NotAllowed, NotFound, PreconditionFailed
from teams.queries.people import memberships_of
from teams.row_security import act_for, act_for_login, limit_changes_to
from teams.time_zones import zone_named

if TYPE_CHECKING:
    from tastings.queries.records import Record
    from teams.models import Member, Team

Found = TypeVar("Found")

POLICY = (
    "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none';"
    " frame-ancestors 'none'"
)
CHOSEN_TEAM, TEAMS = "team", "teams"
"""Keys in the session of a login in several teams: the id of the chosen team; the names of all teams by id."""
Page = Callable[..., HttpResponseBase]
_REFUSALS = (
    NotFound, NotAllowed, PreconditionFailed, WrongState, QuotaFull, AuthenticationFailed, NotAuthenticated,
)  # fmt: skip


def page(view: Page, *, cache: str = "private, no-cache") -> Page:
    """Send a view's page with a policy that lets nothing from elsewhere in.

    A browser that is not signed in is asked to; a program gets a problem document for this and every other refusal.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        try:
            with timezone.override(None):  # `show_times_of` is for this page only
                response = view(request, *args, **kwargs)
        except _REFUSALS as error:
            response = _refusal_page(request, error) if shows_pages(request) else problem_response(error)
        response["Content-Security-Policy"] = POLICY
        response["Cache-Control"] = cache
        return response

    return guarded


def reads_only(view: Page) -> Page:
    """Refuse methods that write with a problem document, as all addresses of the API do."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        if request.method not in ("GET", "HEAD"):
            return problem_response(MethodNotAllowed(str(request.method)))
        return view(request, *args, **kwargs)

    return guarded


def shows_pages(request: HttpRequest) -> bool:
    """Whether a browser asks for a page: it accepts HTML by name and sends no token."""
    return "text/html" in request.headers.get("Accept", "") and "Authorization" not in request.headers


def _refusal_page(request: HttpRequest, error: Exception) -> HttpResponseBase:
    match error:
        case NotFound():
            return render(request, "pages/absent.html", status=404)
        case NotAllowed() | PreconditionFailed() | WrongState() | QuotaFull():
            return render(request, "pages/refused.html", {"why": error.detail}, status=error.status)
        case _:
            return redirect_to_login(request.get_full_path())


def memberships_in(request: HttpRequest) -> list[Member]:
    """Return the caller's memberships: that of the bearer token, or all of the login of a browser session."""
    if request.META.get("HTTP_AUTHORIZATION"):
        signed_in = BearerAuthentication().authenticate(Request(request))
        if signed_in is not None:
            show_times_of(signed_in[1].member.team)
            return [signed_in[1].member]
    if not request.user.is_authenticated:
        raise NotAuthenticated
    act_for_login(request.user.id)
    memberships = memberships_of(request.user)
    act_for(member.team_id for member in memberships)  # until the request ends
    limit_changes_to(next((member.limited_to for member in memberships if not member.decides), None))
    _remember_teams(request, memberships)
    for chosen in of_chosen_team(request, memberships):
        show_times_of(chosen.team)
    return memberships


def _remember_teams(request: HttpRequest, memberships: list[Member]) -> None:
    """Store the teams of a login in several teams, so that pages offer the choice without reading them again."""
    teams = {str(member.team_id): member.team.name for member in memberships} if len(memberships) > 1 else {}
    if request.session.get(TEAMS, {}) != teams:
        request.session[TEAMS] = teams
    if teams and request.session.get(CHOSEN_TEAM) not in teams:
        request.session[CHOSEN_TEAM] = next(iter(teams))


def of_chosen_team(request: HttpRequest, memberships: list[Member]) -> list[Member]:
    """Return the membership of the team that the caller works for, or none for a caller in no team."""
    chosen = request.session.get(CHOSEN_TEAM) if request.user.is_authenticated else None
    return [member for member in memberships if str(member.team_id) == chosen] or memberships[:1]


def work_for(member: Member) -> Member:
    """Act for the team of this membership alone, and with its role, until the request ends."""
    act_for([member.team_id])
    limit_changes_to(member.limited_to)
    show_times_of(member.team)
    return member


def show_times_of(team: Team) -> None:
    """Show moments in the team's time zone, and read those of forms in it, until the page is written."""
    timezone.activate(zone_named(team.time_zone))


def chosen_member(request: HttpRequest) -> Member:
    """Return the caller's membership of the team that they work for: the one chosen, else the one joined first."""
    for chosen in of_chosen_team(request, memberships_in(request)):
        return work_for(chosen)
    raise NotAllowed(_("this login is in no team"))


def read_as_member(request: HttpRequest, read: Callable[[Member], Found]) -> tuple[Member, Found]:
    """Return the first of the caller's memberships for which ``read`` finds something, and what it finds.

    Raise NotFound if it raises that for each.
    """
    for member in memberships_in(request):
        show_times_of(member.team)
        try:
            return member, read(member)
        except NotFound:
            continue
    raise NotFound


def membership_with(request: HttpRequest, type_name: str, record_id: str) -> tuple[Member, Record]:
    """Return a record and the caller's membership of its team; raise NotFound when they may not see it."""

    def read(member: Member) -> Record:
        if type_name not in RECORD_SCHEMAS:
            raise NotFound
        return record_for(member, type_name, id_from_path(record_id))

    member, record = read_as_member(request, read)
    return work_for(member), record
