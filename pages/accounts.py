"""Pages for signing in, joining a team by a one-time link, and forgotten passwords."""

from __future__ import annotations

from contextlib import suppress
from functools import wraps
from typing import TYPE_CHECKING

from django import forms
from django.contrib.auth import login
from django.contrib.auth import views as login_views
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from api.http.auth import client_ip
from api.http.known_browser import caller_from_cookie, set_known_browser_cookie
from api.http.resets import request_reset, reset_requested_text, set_email
from pages.browser import Page, memberships_in, page
from pages.form_page import PlainFormPage, add_retry_after, text_field, too_many_attempts
from teams.actions.invitations import Newcomer, accept_invitation
from teams.actions.login_throttle import Credentials
from teams.actions.people import token_digest
from teams.actions.resets import reset_password, valid_reset_link
from teams.actions.signing_in import sign_in_browser
from teams.errors import NotFound, NotSignedIn, Throttled
from teams.queries.access import valid_invitation
from teams.row_security import acting_for_login, has_team

if TYPE_CHECKING:
    from collections.abc import Mapping

    from teams.models import Invitation, User


def invited_as(role: str, *, shop: str) -> str:
    """Say what someone will be in the team."""
    sentences = {
        "owner": _("Shop: %(shop)s. Role: owner, who runs the team."),
        "buyer": _("Shop: %(shop)s. Role: buyer, who tastes and decides what is bought."),
        "taster": _("Shop: %(shop)s. Role: taster, who writes tasting notes."),
        "viewer": _("Shop: %(shop)s. Role: viewer, who reads."),
    }
    return sentences[role] % {"shop": shop}


class SignInForm(AuthenticationForm):
    """Name and password, checked as every sign-in is."""

    slowed: Throttled | None = None

    def clean(self) -> dict[str, object]:
        """Find the login."""
        username, password = (self.cleaned_data.get(name) for name in ("username", "password"))
        if username and password and self.request is not None:
            credentials, caller = Credentials(username=username, password=password), caller_from_cookie(self.request)
            try:
                self.user_cache = sign_in_browser(credentials, caller=caller, now=timezone.now())
            except NotSignedIn as refused:
                raise self.get_invalid_login_error() from refused
            except Throttled as refused:
                self.slowed = refused
                raise ValidationError(too_many_attempts(refused)) from refused
        return self.cleaned_data


class SignIn(login_views.LoginView):
    """Ask for name and password."""

    template_name = "pages/sign_in.html"
    authentication_form = SignInForm
    redirect_authenticated_user = True

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Say also when nobody can sign in yet."""
        return super().get_context_data(**context, has_no_team=not has_team())

    def form_valid(self, form: AuthenticationForm) -> HttpResponse:
        """Sign in and mark the browser as known."""
        with acting_for_login(form.get_user().id):
            response = super().form_valid(form)
        set_known_browser_cookie(response, form.get_user())
        return response

    def form_invalid(self, form: AuthenticationForm) -> HttpResponse:
        """Show what is wrong."""
        response = super().form_invalid(form)
        return add_retry_after(response, form.slowed) if isinstance(form, SignInForm) and form.slowed else response


class JoinForm(forms.Form):
    """A login, new or known."""

    username = text_field(gettext_lazy("User name"), autocomplete="username", max_length=80)
    password = text_field(gettext_lazy("Password"), autocomplete="current-password", secret=True)
    existing = forms.BooleanField(label=gettext_lazy("I have a login here already"), required=False)
    email = forms.EmailField(
        label=gettext_lazy("E-mail address of a new login"),
        required=False,
        max_length=254,
        widget=forms.EmailInput({"autocomplete": "email"}),
        help_text=gettext_lazy("For a link that sets a forgotten password anew. It can be left out."),
    )


class JoinPage(PlainFormPage):
    """The page behind an invitation's link, on which somebody joins the team."""

    form_class = JoinForm
    title = gettext_lazy("Join a team")
    button = gettext_lazy("Join")
    invitation: Invitation

    def open(self) -> None:
        """Find the invitation."""
        self.invitation = valid_invitation(token_digest(self.kwargs["invitation_token"]), now=timezone.now())
        self.heading = _("Join %(team)s") % {"team": self.invitation.team.name}
        self.intro = [
            invited_as(self.invitation.role, shop=self.invitation.shop.name),
            _("Choose a user name, and a password of at least 8 characters. Have you a login already? Tick the box."),
        ]

    def form_valid(self, form: forms.Form) -> HttpResponse:
        """Join the team."""
        try:
            return super().form_valid(form)
        except NotSignedIn:
            form.add_error(None, _("User name or password is wrong."))
            return self.form_invalid(form)

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Join the team, sign in, and have a new login's address verified."""
        email, password = str(sent["email"]), str(sent["password"])
        caller = caller_from_cookie(self.request)
        member, _token, _record = accept_invitation(
            token=self.kwargs["invitation_token"],
            newcomer=Newcomer(username=str(sent["username"]), password=password, existing=bool(sent["existing"])),
            device=None,
            caller=caller,
            now=timezone.now(),
        )
        with acting_for_login(member.user_id):
            login(self.request, member.user)
            if email and not member.user.email:
                with suppress(Throttled):  # the account asks for an address again
                    set_email(self.request, member.user, email=email, password=password, caller=caller)
        response = redirect("lots-page")
        set_known_browser_cookie(response, member.user)
        return response


class ForgottenPasswordForm(forms.Form):
    """Whose password is forgotten."""

    username = text_field(gettext_lazy("User name or e-mail address"), autocomplete="username", max_length=254)


class ForgottenPasswordPage(PlainFormPage):
    """The page for a forgotten password; what follows is the same for any name."""

    form_class = ForgottenPasswordForm
    title = gettext_lazy("Forgotten password")
    heading = gettext_lazy("Forgotten your password?")
    intro = [
        gettext_lazy("We mail a link to the verified address of your login. It holds for an hour."),
        gettext_lazy("Without such an address, ask an owner of your team to invite you anew under another user name."),
    ]
    button = gettext_lazy("Send the link")

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Accept the request."""
        request_reset(self.request, str(sent["username"]))
        return render_message(self.request, heading=_("Look into your mail"), sentence=reset_requested_text())


class ResetForm(forms.Form):
    """A new password. The user name goes along unseen, so that password managers know whose it is."""

    username = forms.CharField(required=False, widget=forms.HiddenInput({"autocomplete": "username"}))
    password = text_field(gettext_lazy("New password"), autocomplete="new-password", secret=True)


class PasswordResetPage(PlainFormPage):
    """The page behind a mailed link, on which a new password is set."""

    form_class = ResetForm
    title = gettext_lazy("New password")
    heading = gettext_lazy("A new password")
    button = gettext_lazy("Set the password")

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Say whose password it is; only a valid link tells."""
        login = valid_reset_link(self.kwargs["reset_token"], now=timezone.now()).user
        self.initial = {"username": login.username}
        self.intro = [
            _("For the login %(username)s; at least 8 characters. All its devices are signed out then.")
            % {"username": login.username}
        ]
        return super().get_context_data(**context)

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Set the password and ask to sign in."""
        token, address = self.kwargs["reset_token"], client_ip(self.request)
        reset_password(token=token, password=str(sent["password"]), address=address, now=timezone.now())
        sentence = _("Your password is set, and every device is signed out. Sign in with the new one.")
        return render_message(self.request, heading=_("Done"), sentence=sentence)


def render_message(request: HttpRequest, *, heading: str, sentence: str, login: User | None = None) -> HttpResponse:
    """Return a page that says what happened; it leads to the account of ``login``, else to signing in."""
    return render(request, "pages/message.html", {"heading": heading, "sentence": sentence, "login": login})


def one_time_url(view: Page) -> Page:
    """Return the same page for every invalid link; keep pages with a secret address out of caches and indexes.

    Their address goes to no other site either: ``Referrer-Policy: same-origin``, which all pages have. Stricter would
    make browsers send forms with ``Origin: null``, which looks like a forgery.
    """

    @page
    def opened(request: HttpRequest, **address: str) -> HttpResponseBase:
        try:
            return view(request, **address)
        except NotFound:
            return render(request, "pages/link_ended.html", status=404)

    @wraps(view)
    def unshared(request: HttpRequest, **address: str) -> HttpResponseBase:
        response = opened(request, **address)
        response["Cache-Control"] = "no-store"
        response["X-Robots-Tag"] = "noindex"
        return response

    return unshared


class SignOut(login_views.LogoutView):
    """Ends the browser's session; refused while its team is moved to another cell, which then has the session."""

    def post(self, request: HttpRequest, *args: object, **kwargs: object) -> HttpResponse:
        """Sign out."""
        if request.user.is_authenticated:
            memberships_in(request)  # the session is deleted acting for its teams
        return super().post(request, *args, **kwargs)
