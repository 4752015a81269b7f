"""The team's logo in the browser: uploaded, shown, removed by an owner."""

from __future__ import annotations

from django import forms
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import path
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe
from django.views.generic import View

from pages.accounts import add_problems
from pages.browser import chosen_member, page
from pages.reports import picture
from tastings.actions.logos import remove_logo, upload_logo
from tastings.queries.logos import logo_file, logo_of
from tastings.wording.photos import REFUSALS
from teams.actions.people import check_may_change_team
from teams.errors import Invalid


class LogoForm(forms.Form):
    """A file."""

    file = forms.FileField(
        label=_("Picture as PNG, JPEG or WebP, at most 1 MB"),
        allow_empty_file=True,
        widget=forms.FileInput({"accept": "image/png,image/jpeg,image/webp"}),
    )


class LogoPage(View):
    """The logo that stands beside the team's name; owners only."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it, with the form that uploads another."""
        return self._render(request, LogoForm())

    def post(self, request: HttpRequest) -> HttpResponse:
        """Upload a file, which a worker checks, or remove the logo (``do=remove``)."""
        member, form, now = chosen_member(request), LogoForm(request.POST, request.FILES), timezone.now()
        if request.POST.get("do") == "remove":
            remove_logo(member, now=now)
            return redirect("logo")
        check_may_change_team(member)
        if form.is_valid():
            try:
                upload_logo(member, file=form.cleaned_data["file"].read(), now=now)
            except Invalid as refused:
                add_problems(form, refused)
            else:
                return redirect("logo")
        return self._render(request, form)

    def _render(self, request: HttpRequest, form: forms.Form) -> HttpResponse:
        member = chosen_member(request)
        check_may_change_team(member)
        logo = logo_of(member.team_id)
        context = {
            "form": form,
            "team": member.team.name,
            "logo": logo,
            "is_checked": logo is not None and logo.state == "checking",
            "why": "" if logo is None or not logo.reason else REFUSALS[logo.reason],
            "picture": logo.content.sha256[:12] if logo is not None and logo.content is not None else "",
        }
        return render(request, "pages/logo.html", context, status=422 if form.errors else 200)


@page
@require_safe
def logo_picture(request: HttpRequest) -> HttpResponse:
    """Give the logo's picture."""
    return picture(request, logo_file(chosen_member(request).team_id))


urlpatterns = [
    path("team/logo/", page(LogoPage.as_view()), name="logo"),
    path("team/logo.jpg", logo_picture, name="logo-picture"),
]
