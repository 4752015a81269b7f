"""A lot's card for customers: as a page, as Markdown and as a PDF of one A6 page."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING
from urllib.parse import urlencode

import segno
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.utils import timezone, translation
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from pages.browser import page, shows_pages
from pages.my_pot import OwnPot, own_pot
from pages.reports import document_file, logo_below, member_with, photos_below, render_around, sent_file
from tastings.queries.developments import families_of
from tastings.queries.reports import PhotoFacts, ReportContent, report_content
from tastings.queries.shares import for_outsiders, shares_to, token_of
from tastings.reports.card import Card, CardExtras, card_document, card_markdown, card_of
from tastings.reports.document import chart_payload
from tastings.reports.marks import both_widths
from tastings.reports.svg import strength_chart
from teams.errors import NotFound

if TYPE_CHECKING:
    from django.utils.safestring import SafeString

    from tastings.maths.curve.development import Development
    from tastings.maths.guide.pots import PotRequest
    from tastings.queries.records import Record
    from teams.models import Member

LONGEST_PRICE = 40


class UnknownLanguageError(ValueError):
    """There is no catalogue of this language."""


@dataclass(frozen=True, slots=True)
class WrittenCard:
    """A card in one language, with the figures of its curve and the tea's photo."""

    text: Card
    figures: Development
    photo: PhotoFacts | None
    logo: str
    """Name on the disk of the merchant's logo, or nothing."""


def card_for(member: Member, lot: Record, *, lang: str, own: PotRequest | None, public: bool = False) -> WrittenCard:
    """Return the card in a language, a public one without internal code; raise UnknownLanguageError for another."""
    if lang not in dict(settings.LANGUAGES):  # first, so that an unknown language costs nothing
        raise UnknownLanguageError(lang)
    content = report_content(member, lot, today=timezone.localdate(), own=own)
    if public:
        content = for_outsiders(content, with_tastings=False)
    with translation.override(lang):
        text = card_of(content, families=families_of(member))
    return WrittenCard(text, content.development.figures, _photo(content), content.logo)


def _photo(content: ReportContent) -> PhotoFacts | None:
    """Return the first photo of leaf or liquor; anything else may show what no customer should see."""
    return next((photo for photo in content.photos if photo.of != "other"), None)


def card_page(
    card: WrittenCard,
    *,
    own: OwnPot,
    address: str,
    request: HttpRequest | None = None,
    price: str = "",
    **around: object,
) -> HttpResponse:
    """Answer with the card as a page, a public one without a request; its files carry the ``price``."""
    text = card.text
    query = _file_query(text.lang, price=price)
    downloads = {"PDF (A6)": f"{address}.pdf?{query}", "Markdown": f"{address}.md?{query}"}
    with translation.override(text.lang):
        figures = card.figures
        chart = both_widths(lambda width: strength_chart(figures, (), width=width))
        drawn = chart if figures.curve_of("strength") else None
        written = render_card(text, downloads=downloads, pot=own, lang=text.lang, chart=drawn, price=price, **around)
        whole = render_around(written, name=text.name, request=request, public=request is None)
    response = HttpResponse(whole, headers={"Content-Language": text.lang})
    own.remember(response)
    return response


def _file_query(lang: str, *, price: str) -> str:
    """Return the query of a card's file: its language, and the price that is to be printed."""
    return urlencode({"lang": lang, **({"price": price} if price else {})})


def render_card(card: Card, **around: object) -> SafeString:
    """Write the card for a page; ``around`` are its links, its curve and the form of the pot."""
    return render_to_string("pages/card.html", {"card": card, **around})


def card_file(  # noqa: PLR0913 - who asks, for which card in which form, and what is printed on it
    request: HttpRequest, member: Member, *, card: WrittenCard, form: str, name: str, link: str, price: str = ""
) -> HttpResponse:
    """Answer with the card and its ``price`` as Markdown or PDF, the PDF with a QR code of ``link``."""
    text, photo = card.text, card.photo
    with translation.override(text.lang):
        if form == "md":
            response = sent_file(card_markdown(text, price=price), f"{name}.md", kind="text/markdown; charset=utf-8")
        else:
            extras = CardExtras(
                chart=chart_payload(card.figures, ()) if card.figures.curve_of("strength") else None,
                photo=f"{photo.file}.jpg" if photo else "",
                logo=f"{card.logo}.jpg" if card.logo else "",
                qr=[list(row) for row in segno.make(link, error="m", micro=False).matrix] if link else (),
                price=price,
            )
            document = card_document(text, extras)
            response = document_file(request, member, layout="card", form=form, payload=document, name=f"{name}.{form}")
    response["Content-Language"] = text.lang
    return response


@page
@require_safe
def card(request: HttpRequest, lot_id: str, form: str = "") -> HttpResponse:
    """Show the card in ``lang``, else in the reader's language; 404 for a language that has no catalogue."""
    member, lot = member_with(request, lot_id)
    own = own_pot(request)
    try:
        written = card_for(member, lot, lang=request.GET.get("lang") or translation.get_language() or "en", own=own.pot)
    except UnknownLanguageError:
        why = _("Cards are written in these languages: %(languages)s.") % {
            "languages": ", ".join(code for code, _name in settings.LANGUAGES)
        }
        if not shows_pages(request):
            raise NotFound(why) from None
        return render(request, "pages/refused.html", {"why": why}, status=404)
    price = request.GET.get("price", "").replace("\x00", "")[:LONGEST_PRICE]
    link, lang = _newest_link(request, member, lot), written.text.lang
    if form:
        return card_file(request, member, card=written, form=form, name=f"{lot.id}-{lang}", link=link, price=price)
    query = _file_query(lang, price=price)
    actions = {
        _("Print"): f"/lots/{lot.id}/card.pdf?{query}",
        **({_("Share"): f"/lots/{lot.id}/links/"} if member.decides else {}),
        _("Report"): f"/lots/{lot.id}/report/",
    }
    return card_page(
        written,
        own=own,
        address=f"/lots/{lot.id}/card",
        request=request,
        actions=actions,
        photo=photo_address(f"/lots/{lot.id}", written),
        logo=logo_below(f"/lots/{lot.id}", written.logo),
        prices=True,
        price=price,
        qr=bool(link),
    )


def photo_address(address: str, card: WrittenCard) -> str:
    """Return where a page finds the tea's photo; empty without one."""
    return photos_below(address, [card.photo])[0].href if card.photo else ""


def _newest_link(request: HttpRequest, member: Member, lot: Record) -> str:
    """Return the address of the newest open link to the lot, for those who may give links; empty without one."""
    if not member.decides:
        return ""
    open_shares, _waiting, _ended = shares_to(member, lot.id, now=timezone.now())
    return request.build_absolute_uri(f"/shared/{token_of(open_shares[0].id)}/") if open_shares else ""
