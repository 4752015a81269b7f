"""What a browser sees of an address that is not there, a form without its token, and an error of ours.

A program gets the problem document of `api.http.problems` instead.
"""

import sys

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils.translation import gettext as _

from api.http import problems
from api.http.cells import cell_refusal
from api.http.database_away import is_database_away
from pages.browser import POLICY, shows_pages
from pages.later import database_away, team_elsewhere


def handler404(request: HttpRequest, exception: Exception) -> HttpResponse:
    """Answer a request for an address that does not exist."""
    if not shows_pages(request):
        return problems.handler404(request, exception)
    why = _("The address may be mistyped, or what was here has moved.")
    return _page(request, heading=_("There is no page here"), why=why, status=404)


def csrf_failure(request: HttpRequest, reason: str = "") -> HttpResponse:
    """Answer a form that came without the browser's CSRF token."""
    if not shows_pages(request):
        return problems.csrf_failure(request, reason)
    why = _(
        "The form was open for too long, or the browser sends no cookies. Go back, load the page again and send it."
    )
    return _page(request, heading=_("This form was not accepted"), why=why, status=403)


def handler500(request: HttpRequest) -> HttpResponseBase:
    """Answer after an error: 503 while the database is away, and where a team lives that is not here."""
    if (refused := cell_refusal(sys.exc_info()[1])) is not None:
        return team_elsewhere(request, refused)
    if is_database_away(sys.exc_info()[1]):
        return database_away(request)
    if not shows_pages(request):
        return problems.handler500(request)
    why = _("It is our fault, and it is in the log. Nothing was half saved. Go back and try again.")
    return _page(request, heading=_("Something broke on our side"), why=why, status=500)


def _page(request: HttpRequest, *, heading: str, why: str, status: int) -> HttpResponse:
    """Answer with a page that needs no database."""
    around = {"heading": heading, "why": why, "is_api": request.path_info.startswith("/api/")}
    response = HttpResponse(render_to_string("pages/failed.html", around), status=status)
    response["Content-Security-Policy"] = POLICY
    response["Cache-Control"] = "no-store"
    return response
