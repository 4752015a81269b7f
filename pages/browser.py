"""Headers of every page, and the memberships of the caller."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING

from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponseBase
from django.shortcuts import render
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.request import Request

from api.http.auth import BearerAuthentication
from api.http.problems import problem_response
from tastings.errors import WrongState
from teams.errors import NotAllowed, NotFound, PreconditionFailed
from teams.queries.people import memberships_of
from teams.row_security import act_for, act_for_login, limit_changes_to

if TYPE_CHECKING:
    from teams.models import Member

POLICY = (
    "default-src 'none'; style-src 'self'; font-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none';"
    " frame-ancestors 'none'"
)
Page = Callable[..., HttpResponseBase]


def page(view: Page, *, cache: str = "private, no-cache") -> Page:
    """Send a view's page with a policy that lets nothing from elsewhere in.

    A browser that is not signed in is asked to; a program gets a problem document for this and every other refusal.
    """

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        try:
            response = view(request, *args, **kwargs)
        except (NotFound, NotAllowed, PreconditionFailed, WrongState, AuthenticationFailed, NotAuthenticated) as error:
            response = _refusal_page(request, error) if shows_pages(request) else problem_response(error)
        response["Content-Security-Policy"] = POLICY
        response["Cache-Control"] = cache
        return response

    return guarded


def shows_pages(request: HttpRequest) -> bool:
    """Whether a browser asks for a page: it accepts HTML by name and sends no token."""
    return "text/html" in request.headers.get("Accept", "") and "Authorization" not in request.headers


def _refusal_page(request: HttpRequest, error: Exception) -> HttpResponseBase:
    match error:
        case NotFound():
            return render(request, "pages/absent.html", status=404)
        case NotAllowed() | PreconditionFailed() | WrongState():
            return render(request, "pages/refused.html", {"why": error.detail}, status=error.status)
        case _:
            return redirect_to_login(request.get_full_path())


def memberships_in(request: HttpRequest) -> list[Member]:
    """Return the memberships of who asks: by bearer token the one it is for, by browser session all of the login's."""
    if request.META.get("HTTP_AUTHORIZATION"):
        found = BearerAuthentication().authenticate(Request(request))
        if found is not None:
            return [found[1].member]
    if not request.user.is_authenticated:
        raise NotAuthenticated
    act_for_login(request.user.id)
    memberships = memberships_of(request.user)
    act_for(member.team_id for member in memberships)  # until the request ends
    limit_changes_to(next((member.limited_to for member in memberships if not member.decides), None))
    return memberships
