"""The page on which buyers and owners give links to a lot's report or card, see how often they were read, end them."""

from __future__ import annotations

from contextlib import suppress
from datetime import timedelta
from typing import TYPE_CHECKING

from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext, ngettext
from django.utils.translation import gettext_lazy as _
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.browser import memberships_in
from pages.reports import member_with
from tastings.actions.shares import give_share, keep_share, revoke_share
from tastings.queries.shares import is_open, share_for, shares_to, token_of, waiting_shares
from tastings.wording.numbers import clock, day
from teams.errors import Invalid, NotAllowed, NotFound

if TYPE_CHECKING:
    from datetime import datetime

    from tastings.models import Share
    from teams.models import Member

DAYS = {7: _("a week"), 30: _("30 days"), 90: _("90 days"), 365: _("a year")}
SHOWS = {"report": _("The report"), "card": _("The card for customers")}


class LinkForm(forms.Form):
    """What a link opens, and for how long."""

    shows = forms.ChoiceField(label=_("What the link opens"), choices=list(SHOWS.items()))
    lang = forms.ChoiceField(label=_("Language of the card"), choices=settings.LANGUAGES, initial="en")
    days = forms.TypedChoiceField(label=_("Ends after"), choices=list(DAYS.items()), coerce=int, initial=30)
    names = forms.BooleanField(label=_("Show who tasted it, where and when, and the statistics"), required=False)


class Links(View):
    """The links to one lot."""

    def get(self, request: HttpRequest, lot_id: str) -> HttpResponse:
        """List them, and ask for a new one."""
        return self._shown(request, lot_id, LinkForm())

    def post(self, request: HttpRequest, lot_id: str) -> HttpResponse:
        """Make one."""
        member, lot = member_with(request, lot_id)
        form = LinkForm(request.POST)
        if not form.is_valid():
            return self._shown(request, lot_id, form)
        now, chosen = timezone.now(), form.cleaned_data
        ends = (now + timedelta(days=chosen["days"])).isoformat()
        body = {"lot": str(lot.id), "expires_at": ends, **{name: chosen[name] for name in ("shows", "lang", "names")}}
        try:
            share = give_share(member, sent=body, now=now)
        except Invalid as error:  # the lot has gone meanwhile; the form offers nothing else that could be wrong
            raise NotFound from error
        return redirect(f"{request.path}?made={share.id}")

    def _shown(self, request: HttpRequest, lot_id: str, form: LinkForm) -> HttpResponse:
        member, lot = member_with(request, lot_id)
        now = timezone.now()
        open_shares, waiting, ended = shares_to(member, lot.id, now=now)
        context = {
            "made": request.GET.get("made", ""),
            "just_ended": any(str(share.id) == request.GET.get("ended") for share in ended),
            "lot": lot.id,
            "name": str(lot.fields["name"]),
            "form": form,
            "rows": [_row(request, share, now=now) for share in open_shares],
            "waiting": [_row(request, share, now=now) for share in waiting],
            "may_keep": member.runs_team,
            "ended": [_row(request, share, now=now) for share in ended],
        }
        return render(request, "pages/links.html", context, status=200 if not form.errors else 422)


class EndLink(View):
    """Ending one link."""

    def get(self, request: HttpRequest, lot_id: str, share_id: str) -> HttpResponse:  # noqa: ARG002 - of the address
        """Lead to the links: somebody who was signed out when ending one comes back here."""
        _, lot = member_with(request, lot_id)
        return redirect("links", lot.id)

    def post(self, request: HttpRequest, lot_id: str, share_id: str) -> HttpResponse:
        """End it at once; ending it again changes nothing."""
        member, lot = member_with(request, lot_id)
        share = share_for(member, id_from_path(share_id))
        if share.lot_id != lot.id:
            raise NotFound
        revoke_share(member, share=share.id, now=timezone.now())
        return redirect(f"/lots/{lot.id}/links/?ended={share.id}")


class WaitingLinks(View):
    """The links of people who may no longer give any: an owner keeps or ends each."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List them, of all teams that the caller owns."""
        now = timezone.now()
        rows = [
            {**_row(request, share, now=now), "lot": share.lot_id, "name": share.lot.name, "by": str(share.by)}
            for member in self._owned(request)
            for share in waiting_shares(member, now=now)
        ]
        return render(request, "pages/waiting_links.html", {"rows": rows})

    def post(self, request: HttpRequest) -> HttpResponse:
        """Keep or end one."""
        owned, share = self._owned(request), id_from_path(request.POST.get("share", ""))
        for member in owned:
            with suppress(NotFound):
                if request.POST.get("decision") == "keep":
                    keep_share(member, share=share, now=timezone.now())
                else:
                    revoke_share(member, share=share, now=timezone.now())
                return redirect("waiting-links")
        raise NotFound

    def _owned(self, request: HttpRequest) -> list[Member]:
        owned = [member for member in memberships_in(request) if member.runs_team]
        if not owned:
            raise NotAllowed(gettext("only an owner decides about these links"))
        return owned


def _row(request: HttpRequest, share: Share, *, now: datetime) -> dict[str, object]:
    """Describe one link; one that has ended has no address."""
    return {
        "id": str(share.id),
        "made": _("made on %(day)s at %(time)s") % {"day": day(share.created_at), "time": clock(share.created_at)},
        "what": _what(share),
        "ends": day(share.revoked_at or share.expires_at),
        "views": ngettext("read %(n)s time", "read %(n)s times", share.views) % {"n": share.views},
        "address": request.build_absolute_uri(f"/shared/{token_of(share.id)}/") if is_open(share, now=now) else "",
    }


def _what(share: Share) -> str:
    """Say what a link opens."""
    if share.shows == "card":
        language = dict(settings.LANGUAGES).get(share.lang, share.lang)
        return _("The card for customers (%(language)s)") % {"language": language}
    return str(_("The report, with tasters, shops and statistics") if share.names else SHOWS["report"])
