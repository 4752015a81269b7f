"""A lot's report and card in the browser and as files, and what they link to."""

from __future__ import annotations

import hashlib
import json
import time
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.template.loader import render_to_string
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from api.http.conditional import id_from_path
from pages.browser import page, places_of
from tastings.actions.documents import reload_document, request_document
from tastings.queries.cache import LRUCache
from tastings.queries.records import record_for
from tastings.queries.report_state import report_state, report_state_of
from tastings.queries.reports import picture_of_lot, told_of
from tastings.queries.sessions import session_told
from tastings.reports.curves_csv import curves_csv
from tastings.reports.document import report_paper
from tastings.reports.page import WIDE, named, render_around, render_article
from tastings.reports.session import render_session
from tastings.reports.svg import strength_chart
from tastings.reports.typeset import digest_of
from teams.errors import NotFound

if TYPE_CHECKING:
    from collections.abc import Callable, Mapping

    from django.utils.safestring import SafeString

    from tastings.queries.photos import ServedFile
    from tastings.queries.records import Record
    from teams.models import Member

WAIT_S = 4.0
"""So long a request for a document waits for the worker; then it is to come again."""
AGAIN_S = 2
_LOOK_EVERY_S = 0.04
_FORMS = {"pdf": "application/pdf", "png": "image/png"}


_by_state: LRUCache[tuple[str, SafeString]] = LRUCache(100)
"""A lot's name and its report as it was last written, by the state of what it tells, which is quick to find."""
_by_digest: LRUCache[tuple[str, SafeString]] = LRUCache(100)
"""The same by the digest of all that it tells, since a push to another lot of the team changes the state too."""


def member_with(request: HttpRequest, lot_id: str) -> tuple[Member, Record]:
    """Return the caller's place in the lot's team, and the lot; raise NotHere when they have none."""
    places, lot = places_of(request), id_from_path(lot_id)
    for member in places:
        try:
            return member, record_for(member, "lot", lot)
        except NotFound:
            continue
    raise NotFound


def _told(request: HttpRequest, lot_id: str) -> tuple[Member, UUID, dict[str, Any]]:
    """Return what the report tells of a lot to a member of its team."""
    member, lot = member_with(request, lot_id)
    return member, lot.id, _told_with_links(member, lot)


def _told_with_links(member: Member, lot: Record) -> dict[str, Any]:
    told = told_of(member, lot, today=timezone.now().date())
    told["sessions"] = [{**s, "href": f"/lots/{lot.id}/sessions/{s['id']}/"} for s in told["sessions"]]
    told["photos"] = [{**p, "href": f"/lots/{lot.id}/photos/{p['id']}.jpg"} for p in told["photos"]]
    return told


@page
@require_safe
def report(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Show how one lot develops."""
    member, state = _state(request, lot_id)
    lot = id_from_path(lot_id)
    name, written = article(
        state,
        lambda: _told_with_links(*member_with(request, lot_id)),
        beside=f"/lots/{lot}/report",
        card=f"/lots/{lot}/card/",
    )
    return HttpResponse(render_around(written, name=name, request=request, links=links_to(member, lot)))


def _state(request: HttpRequest, lot_id: str) -> tuple[Member, tuple[object, ...]]:
    """Return the caller's place and the state of what the report tells; for a browser in one statement."""
    today = timezone.now().date()
    if request.user.is_authenticated and not request.META.get("HTTP_AUTHORIZATION"):
        return report_state_of(request.user.id, id_from_path(lot_id), today=today)
    places, lot = places_of(request), id_from_path(lot_id)
    for member in places:
        try:
            return member, report_state(member, lot, today=today)
        except NotFound:
            continue
    raise NotFound


def links_to(member: Member, lot: UUID) -> str:
    """Return the address of the page of links to a lot, for who may give them; else nothing."""
    return f"/lots/{lot}/links/" if member.decides else ""


def article(
    state: tuple[object, ...], tell: Callable[[], Mapping[str, Any]], *, beside: str, card: str = ""
) -> tuple[str, SafeString]:
    """Return the lot's name and its report, told and written anew only when something may have changed.

    It has links to its other forms, which lie beside an address, and to the card.

    Parameters
    ----------
    state
        As `report_state` gives it, and whatever else decides what ``tell`` tells, such as for whom.
    """
    names = {"PDF": "pdf", "Picture": "png", "Curve as SVG": "svg", "Figures as CSV": "csv"}
    downloads = {name: f"{beside}.{ending}" for name, ending in names.items()}
    downloads |= {"Card for customers": card} if card else {}

    def written() -> tuple[str, SafeString]:
        told = tell()
        digest = hashlib.sha256(json.dumps([told, downloads], default=str).encode()).digest()
        return _by_digest.get_or_compute(
            digest, lambda: (str(told["lot"]["name"]), render_article(downloads=downloads, **told))
        )

    return _by_state.get_or_compute((*state, *downloads.values()), written)


@page
@require_safe
def report_svg(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Give the strength curve as a drawing of its own."""
    _, lot, told = _told(request, lot_id)
    return curve_file(told, lot)


@page
@require_safe
def report_csv(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Give the curves as a table."""
    _, lot, told = _told(request, lot_id)
    return figures_file(told, lot)


def curve_file(told: Mapping[str, Any], name: object) -> HttpResponse:
    """Answer with the strength curve as SVG."""
    drawing = strength_chart(told["development"], named(told["tasted"], told["tasters"]), width=WIDE)
    return sent_file(drawing, f"{name}.svg", kind="image/svg+xml; charset=utf-8")


def figures_file(told: Mapping[str, Any], name: object) -> HttpResponse:
    """Answer with the figures as CSV."""
    return sent_file(curves_csv(told["development"]), f"{name}.csv", kind="text/csv; charset=utf-8")


def sent_file(content: str | bytes, name: str, *, kind: str) -> HttpResponse:
    """Answer with a file that a browser shows or saves."""
    return HttpResponse(
        content,
        content_type=kind,
        headers={
            "Content-Disposition": f'inline; filename="leafspan-{name}"',
            "X-Content-Type-Options": "nosniff",
        },
    )


@page
@require_safe
def report_file(request: HttpRequest, lot_id: str, form: str) -> HttpResponse:
    """Give the whole report as a PDF, or its first page as a picture."""
    member, lot, told = _told(request, lot_id)
    return set_file(request, member, layout="report", form=form, told=report_paper(**told), name=f"{lot}.{form}")


def set_file(  # noqa: PLR0913 - who asks, for what and under which name
    request: HttpRequest, member: Member, *, layout: str, form: str, told: Mapping[str, Any], name: str
) -> HttpResponse:
    """Answer with a document: at once when it was made before, else once a worker has made it.

    While that takes longer than `WAIT_S`, 202 with ``Retry-After``, and a page that asks again by itself.
    """
    digest = digest_of(layout, form, told)
    tag = f'"{digest[:32]}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    found = request_document(member.team_id, digest=digest, layout=layout, form=form, payload=told, now=timezone.now())
    until = time.monotonic() + WAIT_S
    while found.content is None and not found.failure and time.monotonic() < until:
        time.sleep(_LOOK_EVERY_S)
        found = reload_document(found.id) or found
    if found.content is not None:
        answer = sent_file(bytes(found.content), name, kind=_FORMS[form])
        answer["ETag"] = tag
        return answer
    if found.failure:
        return HttpResponse(render_to_string("pages/unset.html", {"failed": True}), status=500)
    again = render_to_string("pages/unset.html", {"again_s": AGAIN_S})
    return HttpResponse(again, status=202, headers={"Retry-After": str(AGAIN_S)})


@page
@require_safe
def session(request: HttpRequest, lot_id: str, session_id: str) -> HttpResponse:
    """Show one session behind the figures: how it was brewed and what was noted, pour by pour."""
    member, found = member_with(request, lot_id)
    lot = found.id
    told = session_told(member, lot=lot, session=id_from_path(session_id))
    photos = [{**p, "href": f"/lots/{lot}/photos/{p['id']}.jpg"} for p in told["photos"]]
    return HttpResponse(render_session(**{**told, "photos": photos}, lot_href=f"/lots/{lot}/report/", request=request))


@page
@require_safe
def photo(request: HttpRequest, lot_id: str, photo_id: str) -> HttpResponse:
    """Give the thumbnail of a photo of the lot or of one of its sessions."""
    member, lot = member_with(request, lot_id)
    return picture(request, picture_of_lot(member, lot=lot.id, photo=id_from_path(photo_id)))


def picture(request: HttpRequest, served: ServedFile) -> HttpResponse:
    """Answer with a photo's thumbnail; raise NotHere when it was let go of."""
    tag = f'"{served.tag[:32]}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    try:
        answer = sent_file(served.path.read_bytes(), "photo.jpg", kind="image/jpeg")
    except FileNotFoundError as error:
        raise NotFound from error
    answer["ETag"] = tag
    return answer


urlpatterns = [
    path("lots/<str:lot_id>/report/", report, name="report"),
    path("lots/<str:lot_id>/report.svg", report_svg),
    path("lots/<str:lot_id>/report.csv", report_csv),
    path("lots/<str:lot_id>/report.pdf", report_file, {"form": "pdf"}),
    path("lots/<str:lot_id>/report.png", report_file, {"form": "png"}),
    path("lots/<str:lot_id>/sessions/<str:session_id>/", session),
    path("lots/<str:lot_id>/photos/<str:photo_id>.jpg", photo),
]
