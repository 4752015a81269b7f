"""Pages for the browser: signing in, the list of lots, a lot's report."""

from __future__ import annotations

from collections.abc import Callable
from functools import wraps
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.contrib.auth import views as login_views
from django.contrib.auth.views import redirect_to_login
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import render
from django.urls import path
from django.views.decorators.http import require_safe
from django.views.generic import RedirectView
from rest_framework.exceptions import AuthenticationFailed, NotAuthenticated
from rest_framework.request import Request

from api.auth import BearerAuthentication
from api.conditional import id_in_address
from tastings.queries.developments import development_for, labels_of, lots_with_figures, sessions_shown
from tastings.queries.records import record_for
from tastings.reports.page import WIDE, render_lots, render_report
from tastings.reports.sheet import curves_csv
from tastings.reports.svg import strength_chart
from teams.errors import NotAllowed, NotHere, WrongState
from teams.queries.people import memberships_of

if TYPE_CHECKING:
    from teams.models import Member

_POLICY = (
    "default-src 'none'; style-src 'self'; img-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
)
Page = Callable[..., HttpResponseBase]


def page(view: Page) -> Page:
    """Send a view's page with a policy that lets nothing from elsewhere in; who is not signed in is asked to."""

    @wraps(view)
    def guarded(request: HttpRequest, *args: object, **kwargs: object) -> HttpResponseBase:
        try:
            response = view(request, *args, **kwargs)
        except NotHere:
            response = render(request, "tastings/absent.html", status=404)
        except (NotAllowed, WrongState) as refused:
            response = render(request, "tastings/refused.html", {"why": refused.detail}, status=refused.status)
        except (AuthenticationFailed, NotAuthenticated):
            response = redirect_to_login(request.get_full_path())
        response["Content-Security-Policy"] = _POLICY
        response["Cache-Control"] = "private, no-cache"
        return response

    return guarded


def places_of(request: HttpRequest) -> list[Member]:
    """Return the memberships of who asks: by bearer token the one it is for, by browser session all of the login's."""
    if request.META.get("HTTP_AUTHORIZATION"):
        found = BearerAuthentication().authenticate(Request(request))
        if found is not None:
            return [found[1].member]
    if not request.user.is_authenticated:
        raise NotAuthenticated
    return memberships_of(request.user)


@page
@require_safe
def lots(request: HttpRequest) -> HttpResponse:
    """Show the team's lots with their curves, those that match ``q``."""
    places = places_of(request)
    q = request.GET.get("q", "")[:200].replace("\x00", "")
    found = [lot for member in places for lot in lots_with_figures(member, q=q)]
    return HttpResponse(render_lots(found, q=q, request=request))


@page
@require_safe
def report(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Show how one lot develops."""
    told = _told(request, lot_id)
    downloads = {"Curve as SVG": f"/lots/{lot_id}/report.svg", "Figures as CSV": f"/lots/{lot_id}/report.csv"}
    return HttpResponse(render_report(**told, downloads=downloads, request=request))


@page
@require_safe
def report_svg(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Give the strength curve as a drawing of its own."""
    told = _told(request, lot_id)
    tasted = [{**one, "taster": told["tasters"].get(one["taster"], "")} for one in told["tasted"]]
    drawing = strength_chart(told["development"], tasted, width=WIDE)
    return _file(drawing, lot_id, kind="image/svg+xml", ending="svg")


@page
@require_safe
def report_csv(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Give the curves as a table."""
    return _file(curves_csv(_told(request, lot_id)["development"]), lot_id, kind="text/csv", ending="csv")


def _file(text: str, lot_id: str, *, kind: str, ending: str) -> HttpResponse:
    name = f"leafspan-{lot_id[:36]}.{ending}"
    return HttpResponse(
        text,
        content_type=f"{kind}; charset=utf-8",
        headers={"Content-Disposition": f'inline; filename="{name}"', "X-Content-Type-Options": "nosniff"},
    )


def _told(request: HttpRequest, lot_id: str) -> dict[str, Any]:
    """Return what the report tells of a lot, in every form of it."""
    places = places_of(request)
    lot = id_in_address(lot_id)
    member = _owner(places, lot)
    figures = development_for(member, lot)
    sessions = sessions_shown(member, lot)
    return {
        "lot": record_for(member, "lot", lot).fields,
        "development": figures.body,
        "tasted": figures.tasted,
        "tasters": {str(s["taster"]): str(s["taster_name"]) for s in sessions},
        "sessions": sessions,
        "labels": labels_of(member),
    }


def _owner(places: list[Member], lot: UUID) -> Member:
    for member in places:
        try:
            record_for(member, "lot", lot)
        except NotHere:
            continue
        return member
    raise NotHere


class SignIn(login_views.LoginView):
    """Ask for name and password."""

    template_name = "tastings/sign_in.html"
    redirect_authenticated_user = True


urlpatterns = [
    path("", RedirectView.as_view(pattern_name="lots-page")),
    path("lots/", lots, name="lots-page"),
    path("lots/<str:lot_id>/report/", report, name="report"),
    path("lots/<str:lot_id>/report.svg", report_svg),
    path("lots/<str:lot_id>/report.csv", report_csv),
    path("sign-in/", page(SignIn.as_view()), name="sign-in"),
    path("sign-out/", page(login_views.LogoutView.as_view()), name="sign-out"),
]
