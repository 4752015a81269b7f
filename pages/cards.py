"""A lot's card for customers: as a page, as Markdown and as a PDF of A6."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils import timezone
from django.views.decorators.http import require_safe

from pages.browser import page
from pages.reports import links_to, member_with, sent_file, set_file
from tastings.queries.reports import families_of, told_of
from tastings.reports.card import card_facts, card_markdown, card_paper, render_card
from tastings.reports.catalogue import UnknownLanguageError, catalogue, languages
from tastings.reports.page import render_around

if TYPE_CHECKING:
    from collections.abc import Mapping

    from tastings.queries.records import Record
    from teams.models import Member


def card_told(member: Member, lot: Record, *, lang: str) -> dict[str, Any]:
    """Return what the card says in a language.

    Raises
    ------
    UnknownLanguageError
        There is no catalogue of it.
    """
    catalogue(lang)  # first, so that an unknown language costs nothing
    told = told_of(member, lot, today=timezone.now().date())
    wanted = {name: told[name] for name in ("lot", "development", "guide", "labels")}
    return card_facts(**wanted, families=families_of(member), lang=lang)


def card_page(
    facts: Mapping[str, Any], *, beside: str, request: HttpRequest | None = None, public: bool = False, links: str = ""
) -> HttpResponse:
    """Answer with the card as a page; its other forms lie beside an address."""
    lang = facts["lang"]
    downloads = {"PDF (A6)": f"{beside}.pdf?lang={lang}", "Markdown": f"{beside}.md?lang={lang}"}
    others = {str(catalogue(code).words["language"]): f"{beside}/?lang={code}" for code in languages() if code != lang}
    written = render_card(facts, downloads=downloads, others=others)
    around = render_around(written, name=facts["name"], request=request, public=public, lang=lang, links=links)
    return HttpResponse(around)


def card_file(request: HttpRequest, member: Member, *, facts: Mapping[str, Any], form: str, name: str) -> HttpResponse:
    """Answer with the card as Markdown or PDF."""
    if form == "md":
        return sent_file(card_markdown(facts), f"{name}.md", kind="text/markdown; charset=utf-8")
    told = card_paper(facts)
    return set_file(request, member, layout="card", form=form, told=told, name=f"{name}.{form}")


@page
@require_safe
def card(request: HttpRequest, lot_id: str, form: str = "") -> HttpResponse:
    """Give the card in ``lang``, English unless said; 404 for a language that nobody has written down."""
    member, lot = member_with(request, lot_id)
    try:
        facts = card_told(member, lot, lang=request.GET.get("lang", "en"))
    except UnknownLanguageError:
        why = f"Cards are written in these languages: {', '.join(languages())}."
        return render(request, "pages/refused.html", {"why": why}, status=404)
    if form:
        return card_file(request, member, facts=facts, form=form, name=f"{lot.id}-{facts['lang']}")
    return card_page(facts, beside=f"/lots/{lot.id}/card", request=request, links=links_to(member, lot.id))


urlpatterns = [
    path("lots/<str:lot_id>/card/", card),
    path("lots/<str:lot_id>/card.md", card, {"form": "md"}),
    path("lots/<str:lot_id>/card.pdf", card, {"form": "pdf"}),
]
