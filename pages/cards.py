"""A lot's card for customers: as a page, as Markdown and as a PDF of A6."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.template.loader import render_to_string
from django.urls import path
from django.utils import timezone, translation
from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.views.decorators.http import require_safe

from api.http.addresses import with_either_slash
from pages.browser import page, shows_pages
from pages.my_pot import OwnPot, own_pot
from pages.reports import document_file, member_with, render_around, sent_file
from tastings.queries.reports import families_of, report_content
from tastings.queries.shares import for_outsiders
from tastings.reports.card import Card, card_document, card_markdown, card_of
from teams.errors import NotFound


class UnknownLanguageError(ValueError):
    """There is no catalogue of this language."""


if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.maths.guide.pots import Pot
    from tastings.queries.records import Record
    from teams.models import Member


def card_for(member: Member, lot: Record, *, lang: str, own: Pot | None, public: bool = False) -> Card:
    """Return the card in a language; a public one has no internal code.

    Raises
    ------
    UnknownLanguageError
        Cards are not written in this language.
    """
    if lang not in dict(settings.LANGUAGES):  # first, so that an unknown language costs nothing
        raise UnknownLanguageError(lang)
    content = report_content(member, lot, today=timezone.now().date(), own=own)
    if public:
        content = for_outsiders(content, with_tastings=False)
    with translation.override(lang):
        return card_of(content, families=families_of(member))


def card_page(
    card: Card,
    *,
    own: OwnPot,
    beside: str,
    request: HttpRequest | None = None,
    actions: Mapping[str, str] | None = None,
) -> HttpResponse:
    """Answer with the card as a page, a public one without a request; its other forms lie beside an address."""
    downloads = {"PDF (A6)": f"{beside}.pdf?lang={card.lang}", "Markdown": f"{beside}.md?lang={card.lang}"}
    with translation.override(card.lang):
        written = render_card(card, downloads=downloads, actions=actions, pot=own, lang=card.lang)
        around = render_around(written, name=card.name, request=request, public=request is None)
    response = HttpResponse(around, headers={"Content-Language": card.lang})
    own.remember(response)
    return response


def render_card(card: Card, **around: object) -> SafeString:
    """Write the card for a page; ``around`` are its links and the form of the pot."""
    return render_to_string("pages/card.html", {"card": card, **around})


def card_file(request: HttpRequest, member: Member, *, card: Card, form: str, name: str) -> HttpResponse:
    """Answer with the card as Markdown or PDF."""
    with translation.override(card.lang):
        if form == "md":
            response = sent_file(card_markdown(card), f"{name}.md", kind="text/markdown; charset=utf-8")
        else:
            document = card_document(card)
            response = document_file(request, member, layout="card", form=form, payload=document, name=f"{name}.{form}")
    response["Content-Language"] = card.lang
    return response


@page
@require_safe
def card(request: HttpRequest, lot_id: str, form: str = "") -> HttpResponse:
    """Show the card in ``lang``, else in the reader's language; 404 for a language that has no catalogue."""
    member, lot = member_with(request, lot_id)
    own = own_pot(request)
    try:
        found = card_for(member, lot, lang=request.GET.get("lang") or translation.get_language() or "en", own=own.pot)
    except UnknownLanguageError:
        why = _("Cards are written in these languages: %(languages)s.") % {
            "languages": ", ".join(code for code, _name in settings.LANGUAGES)
        }
        if not shows_pages(request):
            raise NotFound(why) from None
        return render(request, "pages/refused.html", {"why": why}, status=404)
    if form:
        return card_file(request, member, card=found, form=form, name=f"{lot.id}-{found.lang}")
    actions = {
        _("Print"): f"/lots/{lot.id}/card.pdf?lang={found.lang}",
        **({_("Share"): f"/lots/{lot.id}/links/"} if member.decides else {}),
        _("Report"): f"/lots/{lot.id}/report/",
    }
    return card_page(found, own=own, beside=f"/lots/{lot.id}/card", request=request, actions=actions)


urlpatterns = [
    *with_either_slash([path("lots/<str:lot_id>/card/", card)]),
    path("lots/<str:lot_id>/card.md", card, {"form": "md"}),
    path("lots/<str:lot_id>/card.pdf", card, {"form": "pdf"}),
]
