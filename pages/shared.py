"""What a link shows to someone outside the team: one lot's report or card, without signing in.

The only cookie is that of the reader's own pot, once they have asked for one.

An expired, revoked or invented link gives the same page in every form, status 404.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import wraps
from http import HTTPStatus
from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.template.loader import render_to_string
from django.utils import timezone
from django.utils.translation import get_language
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from api.http.conditional import id_from_path
from pages.browser import POLICY
from pages.cards import UnknownLanguageError, card_file, card_for, card_page, photo_address
from pages.my_pot import own_pot
from pages.reports import article, file_of_report, logo_below, photos_below, picture, render_around
from tastings.actions.shares import count_view
from tastings.queries.logos import logo_file
from tastings.queries.records import record_for
from tastings.queries.report_state import report_state
from tastings.queries.reports import picture_of_lot, report_content
from tastings.queries.shares import for_outsiders, guest_of, share_with
from teams.errors import NotFound
from teams.replica import read_from_replica
from teams.row_security import act_for
from teams.time_zones import zone_named

if TYPE_CHECKING:
    from tastings.maths.guide.pots import PotRequest
    from tastings.models import Share
    from tastings.queries.reports import ReportContent
    from teams.models import Member


def shared(view: Callable[..., HttpResponseBase]) -> Callable[..., HttpResponseBase]:
    """Open the share that an address names; keep the answer out of caches, search engines and other sites' logs."""

    @wraps(view)
    def guarded(request: HttpRequest, share_token: str, **kwargs: object) -> HttpResponseBase:
        try:
            share = share_with(share_token, now=timezone.now())
            act_for([share.team_id])  # until the request ends
            with timezone.override(zone_named(share.team.time_zone)):
                response = view(request, share, share_token, **kwargs)
        except (NotFound, UnknownLanguageError):
            response = HttpResponse(render_to_string("pages/closed.html", {"public": True}), status=404)
        else:
            counts = kwargs.get("form") is not None and request.method == "GET"
            if counts and response.status_code == HTTPStatus.OK:
                count_view(share.id)
        response["Content-Security-Policy"] = POLICY
        response["Cache-Control"] = "no-store"
        response["X-Robots-Tag"] = "noindex, nofollow"
        response["Referrer-Policy"] = "no-referrer"
        return response

    return guarded


@shared
@require_safe
def look(request: HttpRequest, share: Share, token: str, form: str) -> HttpResponseBase:
    """Show what was shared, in one of its forms; ``""`` is the page."""
    guest, address = guest_of(share), f"/shared/{token}"
    if share.shows == "card":
        return _card(request, guest, share, form=form, address=address)
    return _report(request, guest, share, form=form, address=address)


def _card(request: HttpRequest, guest: Member, share: Share, *, form: str, address: str) -> HttpResponseBase:
    own, lang = own_pot(request), request.GET.get("lang", share.lang)
    card = card_for(guest, record_for(guest, "lot", share.lot_id), lang=lang, own=own.pot, public=True)
    if form == "":
        actions = {_("Print"): f"{address}.pdf?lang={card.text.lang}"}
        return card_page(
            card,
            own=own,
            address=address,
            actions=actions,
            photo=photo_address(address, card),
            logo=logo_below(address, card.logo),
        )
    if form not in ("md", "pdf"):
        raise NotFound
    link = request.build_absolute_uri(f"{address}/")
    return card_file(request, guest, card=card, form=form, name=f"card-{card.text.lang}", link=link)


def _report(request: HttpRequest, guest: Member, share: Share, *, form: str, address: str) -> HttpResponseBase:
    own = own_pot(request)
    if form == "":
        state = (report_state(guest, share.lot_id, now=timezone.now()), share.names)
        lang = str(get_language()) if "lang" in request.GET else ""
        name, written = article(
            state,
            lambda: _content(guest, share, address=address, own=own.pot),
            own=own,
            address=address,
            lang=lang,
            actions={_("Print"): f"{address}.pdf{f'?lang={lang}' if lang else ''}"},
        )
        response = HttpResponse(render_around(written, name=name, public=True))
        own.remember(response)
        return response
    content = _content(guest, share, address=address, own=own.pot)
    return file_of_report(request, guest, content, form=form, name="report")


def _content(guest: Member, share: Share, *, address: str, own: PotRequest | None) -> ReportContent:
    """Return a report's content for a guest: without tasters unless allowed, with photos of leaf and liquor only."""
    now = timezone.now()
    today = timezone.localdate(now)
    content = read_from_replica(
        lambda: report_content(guest, record_for(guest, "lot", share.lot_id), today=today, own=own),
        state=lambda: report_state(guest, share.lot_id, now=now),
    )
    content = for_outsiders(content, with_tastings=share.names)
    photos = [photo for photo in content.photos if photo.of != "other"]
    return replace(content, photos=photos_below(address, photos), logo_href=logo_below(address, content.logo))


@shared
@require_safe
def photo(request: HttpRequest, share: Share, token: str, photo_id: str) -> HttpResponseBase:  # noqa: ARG001 - the shape of a view
    """Give the thumbnail of a photo in a shared report or on a shared card."""
    file = picture_of_lot(guest_of(share), lot=share.lot_id, photo=id_from_path(photo_id), leaf_and_liquor=True)
    return picture(request, file)


@shared
@require_safe
def logo(request: HttpRequest, share: Share, token: str) -> HttpResponseBase:  # noqa: ARG001 - the shape of a view
    """Give the picture of the merchant's logo."""
    return picture(request, logo_file(share.team_id))
