"""Pages for signing in, joining a team by a one-time link, and forgotten passwords."""

from __future__ import annotations

from collections.abc import Callable
from contextlib import suppress
from functools import wraps
from typing import TYPE_CHECKING, Any, cast

from django import forms
from django.contrib.auth import login
from django.contrib.auth import views as login_views
from django.contrib.auth.forms import AuthenticationForm
from django.core.exceptions import ValidationError
from django.http import HttpRequest, HttpResponse, HttpResponseBase
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy, ngettext
from django.views.generic import View

from api.http.auth import client_ip
from api.http.known_browser import caller_from_cookie, set_known_browser_cookie
from api.http.resets import request_reset, reset_requested_text, set_email
from pages.browser import memberships_in, page
from pages.record_forms import sentence
from teams.actions.invitations import Newcomer, accept_invitation
from teams.actions.login_throttle import Credentials
from teams.actions.people import token_digest
from teams.actions.resets import reset_password, valid_reset_link
from teams.actions.signing_in import sign_in_browser
from teams.errors import Invalid, NotFound, NotSignedIn, Throttled
from teams.queries.access import valid_invitation
from teams.row_security import acting_for_login, has_team

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

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


def too_many_attempts(refused: Throttled) -> str:
    """Say when to try again."""
    minutes = -(-refused.wait_s // 60)
    return ngettext(
        "Too many attempts. Try again in %(n)s minute.", "Too many attempts. Try again in %(n)s minutes.", minutes
    ) % {"n": minutes}


def text_field(
    label: StrOrPromise, *, autocomplete: str, secret: bool = False, max_length: int = 1000
) -> forms.CharField:
    """Return a text field; a password is taken as it was typed, spaces included."""
    attributes = {"autocomplete": autocomplete, "autocapitalize": "none", "spellcheck": "false"}
    widget = forms.PasswordInput(attributes) if secret else forms.TextInput(attributes)
    return forms.CharField(label=label, max_length=max_length, strip=not secret, widget=widget)


class SignInForm(AuthenticationForm):
    """Name and password, checked as every sign-in is."""

    slowed: Throttled | None = None

    def clean(self) -> dict[str, Any]:
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

    def get_context_data(self, **context: Any) -> dict[str, Any]:  # noqa: ANN401 - Django's context
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


def add_retry_after(response: HttpResponse, refused: Throttled) -> HttpResponse:
    """Give a page the status 429 and the header ``Retry-After``."""
    response.status_code = refused.status
    response["Retry-After"] = str(refused.wait_s)
    return response


def add_problems(form: forms.Form, refused: Invalid) -> None:
    """Show beside the fields what an action found wrong."""
    for problem in refused.problems:
        field = problem.field if problem.field in form.fields else None
        form.add_error(field, sentence(problem.detail))


def with_refusal(form: forms.Form, refused: Invalid | Throttled, render: Callable[[], HttpResponse]) -> HttpResponse:
    """Return the form's page with what an action refused; after too many attempts also when to try again."""
    if isinstance(refused, Invalid):
        add_problems(form, refused)
        return render()
    form.add_error(None, too_many_attempts(refused))
    return add_retry_after(render(), refused)


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


class JoinPage(View):
    """The page behind an invitation's link."""

    def get(self, request: HttpRequest, invitation_token: str) -> HttpResponse:
        """Show the invitation and ask for a login."""
        return self._render(request, JoinForm(), self._open(invitation_token))

    def post(self, request: HttpRequest, invitation_token: str) -> HttpResponse:
        """Join the team."""
        invitation, form = self._open(invitation_token), JoinForm(request.POST)
        if not form.is_valid():
            return self._render(request, form, invitation)
        email = form.cleaned_data.pop("email")
        try:
            member, _token, _record = accept_invitation(
                token=invitation_token,
                newcomer=Newcomer(**form.cleaned_data),
                device=None,
                caller=caller_from_cookie(request),
                now=timezone.now(),
            )
        except NotSignedIn:
            form.add_error(None, _("User name or password is wrong."))
            return self._render(request, form, invitation)
        except (Invalid, Throttled) as refused:
            return with_refusal(form, refused, lambda: self._render(request, form, invitation))
        with acting_for_login(member.user_id):
            login(request, member.user)
            if email and not member.user.email:
                password, caller = form.cleaned_data["password"], caller_from_cookie(request)
                with suppress(Throttled):  # the account asks for an address again
                    set_email(request, member.user, email=email, password=password, caller=caller)
        response = redirect("lots-page")
        set_known_browser_cookie(response, member.user)
        return response

    def _open(self, token: str) -> Invitation:
        return valid_invitation(token_digest(token), now=timezone.now())

    def _render(self, request: HttpRequest, form: JoinForm, invitation: Invitation) -> HttpResponse:
        return render_form(
            request,
            form,
            title=_("Join a team"),
            heading=_("Join %(team)s") % {"team": invitation.team.name},
            intro=[
                invited_as(invitation.role, shop=invitation.shop.name),
                _(
                    "Choose a user name, and a password of at least 8 characters."
                    " Have you a login already? Tick the box."
                ),
            ],
            button=_("Join"),
        )


class ForgottenPasswordForm(forms.Form):
    """Whose password is forgotten."""

    username = text_field(gettext_lazy("User name or e-mail address"), autocomplete="username", max_length=254)


class ForgottenPasswordPage(View):
    """The page for a forgotten password."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Ask whose it is."""
        return self._render(request, ForgottenPasswordForm())

    def post(self, request: HttpRequest) -> HttpResponse:
        """Accept the request; the answer is the same for any name."""
        form = ForgottenPasswordForm(request.POST)
        if not form.is_valid():
            return self._render(request, form)
        try:
            request_reset(request, form.cleaned_data["username"])
        except Throttled as refused:
            return with_refusal(form, refused, lambda: self._render(request, form))
        return render_message(request, heading=_("Look into your mail"), sentence=reset_requested_text())

    def _render(self, request: HttpRequest, form: ForgottenPasswordForm) -> HttpResponse:
        intro = [
            _("We mail a link to the verified address of your login. It holds for an hour."),
            _("Without such an address, ask an owner of your team to invite you anew under another user name."),
        ]
        return render_form(
            request,
            form,
            title=_("Forgotten password"),
            heading=_("Forgotten your password?"),
            intro=intro,
            button=_("Send the link"),
        )


class ResetForm(forms.Form):
    """A new password. The user name goes along unseen, so that password managers know whose it is."""

    username = forms.CharField(required=False, widget=forms.HiddenInput({"autocomplete": "username"}))
    password = text_field(gettext_lazy("New password"), autocomplete="new-password", secret=True)


class PasswordResetPage(View):
    """The page behind a mailed link."""

    def get(self, request: HttpRequest, reset_token: str) -> HttpResponse:
        """Ask for the new password."""
        return self._render(request, ResetForm(), reset_token)

    def post(self, request: HttpRequest, reset_token: str) -> HttpResponse:
        """Set the password and ask to sign in."""
        form = ResetForm(request.POST)
        if not form.is_valid():
            return self._render(request, form, reset_token)
        try:
            reset_password(
                token=reset_token,
                password=form.cleaned_data["password"],
                address=client_ip(request),
                now=timezone.now(),
            )
        except Invalid as refused:
            add_problems(form, refused)
            return self._render(request, form, reset_token)
        sentence = _("Your password is set, and every device is signed out. Sign in with the new one.")
        return render_message(request, heading=_("Done"), sentence=sentence)

    def _render(self, request: HttpRequest, form: ResetForm, token: str) -> HttpResponse:
        reset = valid_reset_link(token, now=timezone.now())
        form.initial["username"] = reset.user.username
        return render_form(
            request,
            form,
            title=_("New password"),
            heading=_("A new password"),
            intro=[
                _("For the login %(username)s; at least 8 characters. All its devices are signed out then.")
                % {"username": reset.user.username}
            ],
            button=_("Set the password"),
        )


def render_form(request: HttpRequest, form: forms.Form, **context: object) -> HttpResponse:
    """Return a page with a form; ``back`` is the name of the page that leads to it, and what that is called."""
    return render(request, "pages/account.html", {"form": form, **context})


def render_message(request: HttpRequest, *, heading: str, sentence: str, login: User | None = None) -> HttpResponse:
    """Return a page that says what happened; it leads to the account of ``login``, else to signing in."""
    return render(request, "pages/message.html", {"heading": heading, "sentence": sentence, "login": login})


def one_time_url(view: Any) -> Any:  # noqa: ANN401 - Django's views
    """Return the same page for every invalid link; keep pages with a secret address out of caches and indexes.

    Their address goes to no other site either: ``Referrer-Policy: same-origin``, which all pages have. Stricter would
    make browsers send forms with ``Origin: null``, which looks like a forgery.
    """

    @page
    def opened(request: HttpRequest, **address: str) -> HttpResponse:
        try:
            return cast("HttpResponse", view(request, **address))
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

    def post(self, request: HttpRequest, *args: Any, **kwargs: Any) -> Any:  # noqa: ANN401 - Django's shape
        """Sign out."""
        if request.user.is_authenticated:
            memberships_in(request)  # the session is deleted acting for its teams
        return super().post(request, *args, **kwargs)


urlpatterns = [
    path("sign-in/", page(SignIn.as_view()), name="sign-in"),
    path("sign-out/", page(SignOut.as_view()), name="sign-out"),
    path("join/<str:invitation_token>/", one_time_url(JoinPage.as_view()), name="join"),
    path("reset/", page(ForgottenPasswordPage.as_view()), name="reset"),
    path("reset/<str:reset_token>/", one_time_url(PasswordResetPage.as_view())),
]
