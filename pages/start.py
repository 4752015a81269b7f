"""The page on which the person who started the server makes its first team; open while there is none."""

from __future__ import annotations

from secrets import compare_digest
from typing import TYPE_CHECKING

from django import forms
from django.conf import settings
from django.contrib.auth import login
from django.http import HttpResponse
from django.shortcuts import redirect
from django.urls import reverse
from django.utils.translation import gettext_lazy

from api.http.known_browser import set_known_browser_cookie
from pages.form_page import PlainFormPage, text_field
from pages.time_zone_field import TimeZoneField
from teams.actions.people import create_first_team
from teams.errors import NotFound
from teams.row_security import acting_for_login, has_team

if TYPE_CHECKING:
    from collections.abc import Mapping


class FirstTeamForm(forms.Form):
    """A team, its first shop, and the login of its owner."""

    name = forms.CharField(label=gettext_lazy("Name of the team"), max_length=120)
    shop = forms.CharField(label=gettext_lazy("Name of the first shop"), max_length=120)
    time_zone = TimeZoneField()
    username = text_field(gettext_lazy("Your user name"), autocomplete="username", max_length=80)
    password = text_field(gettext_lazy("Password"), autocomplete="new-password", secret=True)


class FirstTeam(PlainFormPage):
    """The page behind the address that the start of the server prints."""

    form_class = FirstTeamForm
    heading = button = gettext_lazy("Make the first team")
    intro = [
        gettext_lazy("There is no team on this server yet. You become its owner, who invites the others."),
        gettext_lazy("The password has at least 8 characters."),
    ]

    def open(self) -> None:
        """Refuse a wrong code, and any when there is a team already."""
        code = settings.START_CODE
        if not code or not compare_digest(code.encode(), self.kwargs["start_code"].encode()) or has_team():
            raise NotFound

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Make team, shop and login, and sign in."""
        owner = create_first_team(**{name: str(value) for name, value in sent.items() if value})
        with acting_for_login(owner.user_id):
            login(self.request, owner.user)
        response = redirect(f"{reverse('email')}?first=1")  # so that a forgotten password can be set anew
        set_known_browser_cookie(response, owner.user)
        return response
