"""A person's own account: signing a phone in, and the devices that are signed in."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

import segno
from django import forms
from django.conf import settings
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.safestring import SafeString, mark_safe
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.conditional import id_from_path
from api.http.sign_in_links import code_url, spelled
from pages.browser import memberships_in
from pages.form_page import set_choices
from tastings.queries.shares import waiting_shares
from tastings.wording.numbers import day
from tastings.wording.people import ROLES
from teams.actions.people import sign_out_device
from teams.actions.sign_in_codes import CODE_LIFETIME, create_sign_in_code
from teams.errors import NotAllowed
from teams.queries.people import tokens_of

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member, User


def mail_is_printed() -> bool:
    """Whether this server has no mail server, so that its mails are only printed where the worker runs."""
    return settings.EMAIL_BACKEND.endswith(".console.EmailBackend")


class PhoneForm(forms.Form):
    """For which of the login's teams a phone is signed in."""

    team = forms.ChoiceField(label=gettext_lazy("For which team"))

    def __init__(self, memberships: list[Member], data: QueryDict | None = None) -> None:
        super().__init__(data)
        set_choices(self, "team", [(str(member.team_id), member.team.name) for member in memberships])
        if len(memberships) == 1:
            self.fields["team"].required, self.fields["team"].widget = False, forms.HiddenInput()


class Account(View):
    """The account of whoever is signed in."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it."""
        memberships = memberships_in(request)
        login, now = login_of(request, memberships), timezone.now()
        context = {
            "login": login,
            "mail_is_printed": mail_is_printed(),
            "memberships": [{"team": member.team.name, "role": ROLES[member.role]} for member in memberships],
            "n_waiting_links": sum(len(waiting_shares(member, now=now)) for member in memberships),
            "form": PhoneForm(memberships) if memberships else None,
            "devices": [_device(token) for token in tokens_of(login.id, now=now)],
        }
        return render(request, "pages/own_account.html", context)


class AccountAction(View):
    """What a button of the account does, by POST."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Lead to the account: somebody who was signed out when pressing the button comes back here."""
        memberships_in(request)
        return redirect("account")


class SignPhoneIn(AccountAction):
    """A code that signs a phone in."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Make a code and show it, to be scanned and to be typed."""
        memberships = memberships_in(request)
        form = PhoneForm(memberships, request.POST)
        if not memberships or not form.is_valid():
            raise NotAllowed(_("this login is in no team"))
        chosen = next((row for row in memberships if str(row.team_id) == form.cleaned_data["team"]), memberships[0])
        code, _expires_at = create_sign_in_code(chosen, now=timezone.now())
        minutes = int(CODE_LIFETIME.total_seconds() // 60)
        context = {
            "team": chosen.team,
            "code": spelled(code),
            "square": qr_code(code_url(request, code)),
            "minutes": minutes,
        }
        return render(request, "pages/phone_code.html", context)


class Devices(AccountAction):
    """Signing one device out."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Sign it out at once."""
        login = login_in(request)
        sign_out_device(login.id, id_from_path(request.POST.get("device", "")))
        return redirect("account")


def qr_code(text: str) -> SafeString:
    """Return a QR code as SVG, black on white with the quiet zone of four modules that ISO/IEC 18004 asks for."""
    code = segno.make(text, error="m", micro=False)
    return mark_safe(code.svg_inline(border=4, dark="#000", light="#fff", omitsize=True))  # noqa: S308 - squares only


def login_in(request: HttpRequest) -> User:
    """Return who asks; raise NotAuthenticated for nobody."""
    return login_of(request, memberships_in(request))


def login_of(request: HttpRequest, memberships: list[Member]) -> User:
    """Return who asks: by bearer token its login, otherwise that of the browser's session."""
    return memberships[0].user if memberships else cast("User", request.user)


def _device(token: DeviceToken) -> dict[str, str]:
    """Describe one device."""
    return {
        "id": str(token.id),
        "name": token.device,
        "used": day(token.last_used_at or token.created_at),
        "ends": day(token.expires_at),
    }
