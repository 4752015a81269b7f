"""The page on which the person who started the server makes its first team; open while there is none."""

from __future__ import annotations

from secrets import compare_digest

from django import forms
from django.conf import settings
from django.contrib.auth import login
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path, reverse
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.known_browser import set_known_browser_cookie
from pages.accounts import add_problems, one_time_url, render_form, text_field
from pages.time_zone_field import TimeZoneField
from teams.actions.people import create_first_team
from teams.errors import Invalid, NotFound
from teams.row_security import acting_for_login, has_team


class FirstTeamForm(forms.Form):
    """A team, its first shop, and the login of its owner."""

    name = forms.CharField(label=gettext_lazy("Name of the team"), max_length=120)
    shop = forms.CharField(label=gettext_lazy("Name of the first shop"), max_length=120)
    time_zone = TimeZoneField()
    username = text_field(gettext_lazy("Your user name"), autocomplete="username", max_length=80)
    password = text_field(gettext_lazy("Password"), autocomplete="new-password", secret=True)


class FirstTeam(View):
    """The page behind the address that the start of the server prints."""

    def get(self, request: HttpRequest, start_code: str) -> HttpResponse:
        """Ask for team, shop and login."""
        _require_open(start_code)
        return self._render(request, FirstTeamForm())

    def post(self, request: HttpRequest, start_code: str) -> HttpResponse:
        """Make them and sign in."""
        _require_open(start_code)
        form = FirstTeamForm(request.POST)
        if form.is_valid():
            try:
                owner = create_first_team(**{name: value for name, value in form.cleaned_data.items() if value})
            except Invalid as refused:
                add_problems(form, refused)
            else:
                with acting_for_login(owner.user_id):
                    login(request, owner.user)
                response = redirect(f"{reverse('email')}?first=1")  # so that a forgotten password can be set anew
                set_known_browser_cookie(response, owner.user)
                return response
        return self._render(request, form)

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        intro = [
            _("There is no team on this server yet. You become its owner, who invites the others."),
            _("The password has at least 8 characters."),
        ]
        heading = _("Make the first team")
        return render_form(request, form, title=heading, heading=heading, intro=intro, button=heading)


def _require_open(start_code: str) -> None:
    """Raise NotFound for a wrong code, or when there is a team already."""
    code = settings.START_CODE
    if not code or not compare_digest(code.encode(), start_code.encode()) or has_team():
        raise NotFound


urlpatterns = [path("start/<str:start_code>/", one_time_url(FirstTeam.as_view()), name="start")]
