"""Answers that ask to come again later: while the database is away, and after too many requests to pages."""

from datetime import timedelta

from django.conf import settings
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from api.http import problems
from api.http.auth import SIGNED_IN, bearer_token, client_ip, valid_token
from api.http.cells import TeamMoved, TeamMoving
from api.http.database_away import RETRY_AFTER_S, DatabaseAway
from api.http.middleware import Middleware
from api.http.throttles import COUNTED, requests_of
from pages.browser import POLICY, shows_pages
from teams.errors import Refused, Throttled

_API, _METRICS, _SHARED = "/api/", "/metrics", "/shared/"


class RequestLimit(Middleware):
    """At most ``API_REQUESTS_PER_MINUTE`` requests to pages by one login, together with those to the API.

    Who is not signed in is counted by address, with requests to the API that carry no token.
    """

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, or ask to come again later."""
        if request.path_info.startswith(_METRICS):
            return self.answer(request)
        if bearer_token(request) is not None and request.path_info.startswith(_API):
            return self._answer_program(request)
        return _refuse_if_too_many(request, _key(request)) or self.answer(request)

    def _answer_program(self, request: HttpRequest) -> HttpResponseBase:
        """Answer, and count what the API has not counted: it was refused, or answered from what is stored."""
        response = self.answer(request)
        if COUNTED in request.META:
            return response
        login = request.META.get(SIGNED_IN)
        return _refuse_if_too_many(request, login or _by_address(request)) or response


def _refuse_if_too_many(request: HttpRequest, key: str | None) -> HttpResponseBase | None:
    """Count a request; return the answer to one too many, else None."""
    if key is None:
        return None
    number, wait_s = requests_of.count(key)
    if number <= settings.API_REQUESTS_PER_MINUTE:
        return None
    why = _("These were too many requests. Try again in %(seconds)d seconds.") % {"seconds": wait_s}
    return _later(request, Throttled(wait=timedelta(seconds=wait_s)), why=why, wait_s=wait_s)


def _key(request: HttpRequest) -> str | None:
    """Return the key under which a request is counted, the address without a valid token; None if the API counts it."""
    if bearer_token(request) is not None:
        token = valid_token(request)
        return _by_address(request) if token is None else str(token.member.user_id)
    by_program = request.path_info.startswith(_API)
    is_shared = request.path_info.startswith(_SHARED)  # the same for everyone, so no cookie is read
    if not is_shared and settings.SESSION_COOKIE_NAME in request.COOKIES and request.user.is_authenticated:
        request.META[SIGNED_IN] = str(request.user.pk)
        return None if by_program else str(request.user.pk)
    return _by_address(request)


def _by_address(request: HttpRequest) -> str:
    return f"address {client_ip(request)}"


def database_away(request: HttpRequest) -> HttpResponseBase:
    """Answer while the database is away."""
    why = _("The database is starting again. Nothing was lost; try again in a few seconds.")
    return _later(request, DatabaseAway(), why=why, wait_s=RETRY_AFTER_S)


def team_elsewhere(request: HttpRequest, refused: TeamMoving | TeamMoved) -> HttpResponseBase:
    """Answer while a team is being moved, or name the cell where it lives."""
    if isinstance(refused, TeamMoved):
        return problems.problem_response(refused)
    why = _("Your team is moving to another server. Nothing was lost; try again in a few seconds.")
    return _later(request, refused, why=why, wait_s=refused.wait_s)


def _later(request: HttpRequest, refused: Refused, *, why: str, wait_s: int) -> HttpResponseBase:
    """Answer a browser with a page that needs no database, and a program with a problem document."""
    response: HttpResponse
    if shows_pages(request) and not request.path_info.startswith(_API):
        response = HttpResponse(render_to_string("pages/later.html", {"why": why}), status=refused.status)
        response["Content-Security-Policy"] = POLICY
    else:
        response = problems.problem_response(refused)
    response["Retry-After"] = str(wait_s)
    response["Cache-Control"] = "no-store"
    return response
