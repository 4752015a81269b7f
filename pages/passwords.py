"""The page on which a login changes its password, and the button that signs it out everywhere."""

from __future__ import annotations

from django import forms
from django.contrib.auth import update_session_auth_hash
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.auth import client_ip
from api.http.known_browser import caller_from_cookie
from pages.account import AccountAction, login_of
from pages.accounts import render_form, text_field, with_refusal
from pages.browser import memberships_in, page
from teams.actions.passwords import change_password, sign_out_everywhere
from teams.errors import Invalid, Throttled


class PasswordForm(forms.Form):
    """The present password and a new one. The name goes along unseen, so that password managers know whose it is."""

    username = forms.CharField(required=False, widget=forms.HiddenInput({"autocomplete": "username"}))
    password = text_field(gettext_lazy("Present password"), autocomplete="current-password", secret=True)
    new_password = text_field(gettext_lazy("New password"), autocomplete="new-password", secret=True)


class PasswordPage(View):
    """Changing the password."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Ask for the present one and a new one."""
        login = login_of(request, memberships_in(request))
        return self._render(request, PasswordForm(initial={"username": login.username}))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Change it; every other device and browser is signed out."""
        login, form = login_of(request, memberships_in(request)), PasswordForm(request.POST)
        if not form.is_valid():
            return self._render(request, form)
        try:
            changed = change_password(
                login,
                password=form.cleaned_data["password"],
                new_password=form.cleaned_data["new_password"],
                caller=caller_from_cookie(request),
                now=timezone.now(),
            )
        except (Invalid, Throttled) as refused:
            return with_refusal(form, refused, lambda: self._render(request, form))
        update_session_auth_hash(request, changed)
        return redirect("account")

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        heading = _("Change the password")
        intro = [_("At least 8 characters. Every other device and browser is signed out.")]
        return render_form(
            request,
            form,
            title=heading,
            heading=heading,
            intro=intro,
            back=("account", _("Your account")),
            button=heading,
        )


class SignOutEverywhere(AccountAction):
    """Signing every device and browser out, this one too."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Sign out."""
        login = login_of(request, memberships_in(request))
        sign_out_everywhere(login, address=client_ip(request), now=timezone.now())
        request.session.flush()
        return redirect("sign-in")


urlpatterns = [
    path("account/password/", page(PasswordPage.as_view()), name="password"),
    path("account/everywhere/", page(SignOutEverywhere.as_view()), name="sign-out-everywhere"),
]
