"""Pages for the e-mail address of a login: setting it, and verifying it by a mailed link."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.auth import client_ip
from api.http.known_browser import caller_from_cookie
from api.http.resets import mail_verification_again, set_email
from pages.account import AccountAction, login_in, mail_is_printed
from pages.accounts import render_message
from pages.form_page import PlainFormPage, add_retry_after, text_field, too_many_attempts
from teams.actions.emails import valid_verification, verify_email
from teams.errors import Throttled

if TYPE_CHECKING:
    from collections.abc import Mapping

    from teams.models import User


class EmailForm(forms.Form):
    """An address, and the password of the login."""

    email = forms.CharField(
        label=gettext_lazy("E-mail address, empty for none"),
        max_length=254,
        required=False,
        widget=forms.EmailInput({"autocomplete": "email"}),
    )
    password = text_field(gettext_lazy("Password"), autocomplete="current-password", secret=True)


class EmailPage(PlainFormPage):
    """The address for a forgotten password; after the first team is made it may be left for later (``?first``)."""

    form_class = EmailForm
    heading = gettext_lazy("E-mail address")
    button = gettext_lazy("Set the address")
    login: User

    def open(self) -> None:
        """Find the login."""
        self.login = login_in(self.request)
        is_first = "first" in self.request.GET
        self.back = ("team", _("Later: go to your team")) if is_first else ("account", _("Your account"))
        first = [_("Your team is made, and you are signed in. One thing is worth doing now:")]
        printed = [_("No mail server is set up here: mails stand in the worker's log, where the operator reads them.")]
        self.intro = [
            *(first if is_first else []),
            _("If you forget your password, a link to set a new one is mailed there."),
            _("We mail a link to confirm the address; until you open it, the address is not used."),
            *(printed if mail_is_printed() else []),
        ]

    def get_initial(self) -> dict[str, object]:
        """Show the present address."""
        return {"email": self.login.email}

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Set it and have a link mailed there."""
        email, password, caller = str(sent["email"]), str(sent["password"]), caller_from_cookie(self.request)
        set_email(self.request, self.login, email=email, password=password, caller=caller)
        return redirect("account")


class MailAgain(AccountAction):
    """Another link for an address that is not verified."""

    def post(self, request: HttpRequest) -> HttpResponse:
        """Have it mailed."""
        login = login_in(request)
        try:
            if login.email:  # the button is there beside an address only; it may have been removed since
                mail_verification_again(request, login)
        except Throttled as refused:
            message = render_message(
                request, heading=_("Too many mails"), sentence=too_many_attempts(refused), login=login
            )
            return add_retry_after(message, refused)
        return redirect("account")


class VerifyEmail(View):
    """The page behind a mailed link. A button confirms, since programs that look at mail open links by themselves."""

    def get(self, request: HttpRequest, verification_token: str) -> HttpResponse:
        """Ask to confirm the address."""
        verification = valid_verification(verification_token, user=login_in(request), now=timezone.now())
        context = {"email": verification.email, "login": verification.user}
        return render(request, "pages/verify_email.html", context)

    def post(self, request: HttpRequest, verification_token: str) -> HttpResponse:
        """Confirm it."""
        verify_email(verification_token, user=login_in(request), address=client_ip(request), now=timezone.now())
        return redirect("account")
