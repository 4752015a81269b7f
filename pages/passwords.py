"""The page on which a login changes its password, and the button that signs it out everywhere."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy

from api.http.auth import client_ip
from api.http.known_browser import caller_from_cookie
from pages.account import AccountAction, login_in
from pages.form_page import PlainFormPage, text_field
from teams.actions.passwords import change_password, sign_out_everywhere

if TYPE_CHECKING:
    from collections.abc import Mapping

    from teams.models import User


class PasswordForm(forms.Form):
    """The present password and a new one. The name goes along unseen, so that password managers know whose it is."""

    username = forms.CharField(required=False, widget=forms.HiddenInput({"autocomplete": "username"}))
    password = text_field(gettext_lazy("Present password"), autocomplete="current-password", secret=True)
    new_password = text_field(gettext_lazy("New password"), autocomplete="new-password", secret=True)


class PasswordPage(PlainFormPage):
    """Changing the password."""

    form_class = PasswordForm
    heading = button = gettext_lazy("Change the password")
    intro = [gettext_lazy("At least 8 characters. Every other device and browser is signed out.")]
    back = ("account", gettext_lazy("Your account"))
    login: User

    def open(self) -> None:
        """Find the login."""
        self.login = login_in(self.request)

    def get_initial(self) -> dict[str, object]:
        """Name the login."""
        return {"username": self.login.username}

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Change it; every other device and browser is signed out."""
        changed = change_password(
            self.login,
            password=str(sent["password"]),
            new_password=str(sent["new_password"]),
            caller=caller_from_cookie(self.request),
            now=timezone.now(),
        )
        update_session_auth_hash(self.request, changed)
        return redirect("account")


class SignOutEverywhere(AccountAction):
    """Signing every device and browser out, this one too."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Sign out."""
        login = login_in(request)
        sign_out_everywhere(login, address=client_ip(request), now=timezone.now())
        request.session.flush()
        return redirect("sign-in")
