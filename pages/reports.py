"""A lot's report and card in the browser and as files, and what they link to."""

from __future__ import annotations

import hashlib
from dataclasses import replace
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpRequest, HttpResponse, HttpResponseNotModified
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from api.http.conditional import id_from_path
from api.http.problems import problem_response
from pages.browser import membership_with, page, read_as_member, shows_pages
from pages.my_pot import OwnPot, own_pot
from tastings.actions.documents import request_document
from tastings.errors import DocumentFailed
from tastings.queries.cache import LRUCache
from tastings.queries.logos import logo_file
from tastings.queries.report_state import ReportState, report_state, report_state_of
from tastings.queries.reports import picture_of_lot, report_content
from tastings.queries.sessions import session_content
from tastings.reports.curves_csv import curves_csv
from tastings.reports.document import report_document
from tastings.reports.marks import DESK_PX
from tastings.reports.page import report_page, with_names
from tastings.reports.session import session_page
from tastings.reports.svg import strength_chart
from tastings.reports.typeset import digest_of
from teams.errors import NotFound
from teams.replica import read_from_replica

if TYPE_CHECKING:
    from collections.abc import Callable, Hashable, Mapping, Sequence

    from django.utils.safestring import SafeString

    from tastings.maths.guide.pots import PotRequest
    from tastings.queries.photos import ServedFile
    from tastings.queries.records import Record
    from tastings.queries.reports import PhotoFacts, ReportContent
    from teams.models import Member

AGAIN_S = 2
WAITS_FOR = "Leafspan-Waits-For"
"""Header that names team and document to the web server, which waits without a thread: `config.web.documents`."""
_FORMS = {"pdf": "application/pdf", "png": "image/png"}


_by_state: LRUCache[tuple[str, SafeString]] = LRUCache(100)
"""A lot's name and its rendered report by the state of its content, which is quick to find."""
_by_content: LRUCache[tuple[str, SafeString]] = LRUCache(100)
"""Articles by the digest of their content, since a push to another lot of the team changes the state too."""


def member_with(request: HttpRequest, lot_id: str) -> tuple[Member, Record]:
    """Return the caller's membership of the lot's team, and the lot; raise NotFound when they have none."""
    return membership_with(request, "lot", lot_id)


def _content(request: HttpRequest, lot_id: str) -> tuple[Member, UUID, ReportContent]:
    """Return what the report of a lot is written from, for a member of its team."""
    member, lot = member_with(request, lot_id)
    return member, lot.id, _content_with_links(member, lot, own=own_pot(request).pot)


def _content_with_links(member: Member, lot: Record, *, own: PotRequest | None) -> ReportContent:
    now = timezone.now()
    today = timezone.localdate(now)
    content = read_from_replica(
        lambda: report_content(member, lot, today=today, own=own),
        state=lambda: report_state(member, lot.id, now=now),
    )
    return replace(
        content,
        sessions=tuple(replace(session, href=f"/lots/{lot.id}/sessions/{session.id}/") for session in content.sessions),
        photos=photos_below(f"/lots/{lot.id}", content.photos),
        logo_href=logo_below(f"/lots/{lot.id}", content.logo),
    )


def photos_below(address: str, photos: Sequence[PhotoFacts]) -> tuple[PhotoFacts, ...]:
    """Return the photos with the addresses of their pictures."""
    return tuple(replace(photo, href=f"{address}/photos/{photo.id}.jpg") for photo in photos)


def logo_below(address: str, logo: str) -> str:
    """Return the address of a logo's picture, a new one for each picture; empty without a logo."""
    return f"{address}/logo.jpg?{logo[:12]}" if logo else ""


@page
@require_safe
def report(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Show how one lot develops."""
    member, state = _state(request, lot_id)
    lot, own = id_from_path(lot_id), own_pot(request)
    table = reverse("table")
    name, written = article(
        state,
        lambda: _content_with_links(*member_with(request, lot_id), own=own.pot),
        own=own,
        address=f"/lots/{lot}/report",
        actions={
            **({_("Start tasting"): f"{table}#/pot/lot/{lot}"} if member.may_write else {}),
            _("Card"): f"/lots/{lot}/card/",
            **({_("Share"): f"/lots/{lot}/links/"} if member.decides else {}),
            _("Print"): f"/lots/{lot}/report.pdf",
            **({_("Edit or buy"): reverse("record", args=["lot", lot])} if member.may_write else {}),
        },
    )
    response = HttpResponse(render_around(written, name=name, request=request))
    own.remember(response)
    return response


def _state(request: HttpRequest, lot_id: str) -> tuple[Member, ReportState]:
    """Return the caller's membership and the state of the report's content; for a browser in one statement."""
    now = timezone.now()
    if request.user.is_authenticated and not request.META.get("HTTP_AUTHORIZATION"):
        return report_state_of(request.user.id, id_from_path(lot_id), now=now)
    return read_as_member(request, lambda member: report_state(member, id_from_path(lot_id), now=now))


def article(  # noqa: PLR0913 - whose report, in which pot, with what to do next
    state: Hashable,
    read: Callable[[], ReportContent],
    *,
    own: OwnPot,
    address: str,
    lang: str = "",
    actions: Mapping[str, str],
) -> tuple[str, SafeString]:
    """Return the lot's name and its report, read and written anew only when something may have changed.

    It has links to its other forms, whose addresses begin with ``address``. It is cached by language and pot, unless
    the form of the pot is not valid, and by ``state``: that of `report_state` and whatever else decides what ``read``
    returns, such as for whom. ``lang`` is the language of the address, to stay in, empty for the reader's own;
    ``actions`` are addresses of what can be done next, by name.
    """
    query = f"?lang={lang}" if lang else ""
    downloads = {
        _("PDF"): f"{address}.pdf{query}",
        _("Picture"): f"{address}.png{query}",
        _("Curve as SVG"): f"{address}.svg{query}",
        _("Figures as CSV"): f"{address}.csv{query}",
    }
    around = {"downloads": downloads, "actions": actions, "pot": own, "lang": lang}

    def render(content: ReportContent) -> tuple[str, SafeString]:
        return content.lot.name, render_article(content, **around)

    def written() -> tuple[str, SafeString]:
        content = read()
        around_it = (downloads, actions, own.pot, get_language(), timezone.get_current_timezone_name())
        digest = hashlib.sha256(repr((content, *around_it)).encode()).digest()
        return _by_content.get_or_compute(digest, lambda: render(content))

    if own.has_errors:
        return render(read())
    key = (get_language(), state, own.pot, *downloads.items(), *actions.items())
    return _by_state.get_or_compute(key, written)


def render_article(content: ReportContent, **around: object) -> SafeString:
    """Write the report itself, without the page around it; ``around`` are its links and the form of the pot."""
    return render_to_string("pages/article.html", {"page": report_page(content), **around})


def render_around(article: SafeString, *, name: str, request: HttpRequest | None = None, public: bool = False) -> str:
    """Write the page around a report or card; a public one links nowhere."""
    around = {"article": article, "name": name or _("Lot without a name"), "public": public}
    return render_to_string("pages/report.html", around, request=request)


def sent_file(content: str | bytes, name: str, *, kind: str) -> HttpResponse:
    """Answer with a file that a browser shows or saves."""
    return HttpResponse(
        content,
        content_type=kind,
        headers={"Content-Disposition": f'inline; filename="leafspan-{name}"', "X-Content-Type-Options": "nosniff"},
    )


@page
@require_safe
def report_file(request: HttpRequest, lot_id: str, form: str) -> HttpResponse:
    """Give the report in one of its forms."""
    member, lot, content = _content(request, lot_id)
    return file_of_report(request, member, content, form=form, name=str(lot))


def file_of_report(
    request: HttpRequest, member: Member, content: ReportContent, *, form: str, name: str
) -> HttpResponse:
    """Answer with a report as PDF, with its first page as a picture, its curve as SVG or its figures as CSV."""
    figures, file = content.development.figures, f"{name}.{form}"
    match form:
        case "svg":
            drawing = strength_chart(figures, with_names(figures.tasted, content.tasters), width=DESK_PX)
            return sent_file(drawing, file, kind="image/svg+xml; charset=utf-8")
        case "csv":
            return sent_file(curves_csv(figures), file, kind="text/csv; charset=utf-8")
        case "pdf" | "png":
            payload = report_document(content)
            return document_file(request, member, layout="report", form=form, payload=payload, name=file)
        case _:
            raise NotFound


def document_file(  # noqa: PLR0913 - who asks, for what and under which name
    request: HttpRequest, member: Member, *, layout: str, form: str, payload: Mapping[str, object], name: str
) -> HttpResponse:
    """Answer with a document if it is made, else with 202 and ``Retry-After``.

    The web server waits a while for the worker before it lets a 202 out; a browser gets a page that asks again.
    """
    digest = digest_of(layout, form, payload)
    tag = f'"{digest[:32]}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    document = request_document(
        member.team_id, digest=digest, layout=layout, form=form, payload=payload, now=timezone.now()
    )
    if document.content is not None:
        answer = sent_file(bytes(document.content), name, kind=_FORMS[form])
        answer["ETag"] = tag
        return answer
    if document.failure:
        if not shows_pages(request):
            return problem_response(DocumentFailed())
        return HttpResponse(render_to_string("pages/unset.html", {"failed": True}), status=500)
    again = render_to_string("pages/unset.html", {"again_s": AGAIN_S}) if shows_pages(request) else ""
    headers = {"Retry-After": str(AGAIN_S), WAITS_FOR: f"{member.team_id}/{document.id}"}
    return HttpResponse(again, status=202, headers=headers)


@page
@require_safe
def session(request: HttpRequest, lot_id: str, session_id: str) -> HttpResponse:
    """Show one session behind the figures: how it was brewed and what was noted, pour by pour."""
    member, record = member_with(request, lot_id)
    lot = record.id
    content = session_content(member, lot=lot, session=id_from_path(session_id))
    content = replace(content, photos=photos_below(f"/lots/{lot}", content.photos))
    context = {
        "page": session_page(content),
        "lot_href": f"/lots/{lot}/report/",
        "correct_href": f"/records/session/{id_from_path(session_id)}/",
    }
    return render(request, "pages/session.html", context)


@page
@require_safe
def photo(request: HttpRequest, lot_id: str, photo_id: str) -> HttpResponse:
    """Give the thumbnail of a photo of the lot or of one of its sessions."""
    member, lot = member_with(request, lot_id)
    return picture(request, picture_of_lot(member, lot=lot.id, photo=id_from_path(photo_id)))


@page
@require_safe
def logo(request: HttpRequest, lot_id: str) -> HttpResponse:
    """Give the picture of the logo of the lot's team."""
    member, _lot = member_with(request, lot_id)
    return picture(request, logo_file(member.team_id))


def picture(request: HttpRequest, served: ServedFile) -> HttpResponse:
    """Answer with a photo's thumbnail; raise NotFound when it was deleted."""
    tag = f'"{served.tag[:32]}"'
    if request.headers.get("If-None-Match") == tag:
        return HttpResponseNotModified(headers={"ETag": tag})
    try:
        answer = sent_file(served.read(), "photo.jpg", kind="image/jpeg")
    except FileNotFoundError as error:
        raise NotFound from error
    answer["ETag"] = tag
    return answer
