"""The team's logo in the browser: uploaded, shown, removed by an owner."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django import forms
from django.core.files.uploadedfile import UploadedFile
from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect
from django.utils import timezone
from django.utils.translation import gettext_lazy as _
from django.views.decorators.http import require_safe

from pages.browser import chosen_member, page
from pages.form_page import FormPage
from pages.reports import picture
from tastings.actions.logos import remove_logo, upload_logo
from tastings.queries.logos import logo_file, logo_of
from tastings.wording.photos import REFUSALS
from teams.actions.people import check_may_change_team

if TYPE_CHECKING:
    from collections.abc import Mapping

    from teams.models import Member


class LogoForm(forms.Form):
    """A file."""

    file = forms.FileField(
        label=_("Picture as PNG, JPEG or WebP, at most 1 MB"),
        allow_empty_file=True,
        widget=forms.FileInput({"accept": "image/png,image/jpeg,image/webp"}),
    )


class LogoPage(FormPage):
    """The logo that stands beside the team's name, with the form that uploads another; owners only."""

    form_class = LogoForm
    template_name = "pages/logo.html"
    member: Member

    def open(self) -> None:
        """Refuse all but owners."""
        self.member = chosen_member(self.request)
        check_may_change_team(self.member)

    def post(self, request: HttpRequest, **address: str) -> HttpResponse:
        """Upload a file, or remove the logo (``do=remove``)."""
        if request.POST.get("do") == "remove":
            remove_logo(chosen_member(request), now=timezone.now())
            return redirect("logo")
        return super().post(request, **address)

    def submit(self, sent: Mapping[str, object]) -> HttpResponse:
        """Upload the file, which a worker checks."""
        file = sent["file"]
        content = file.read() if isinstance(file, UploadedFile) else b""
        upload_logo(self.member, file=content, now=timezone.now())
        return redirect("logo")

    def get_context_data(self, **context: object) -> dict[str, object]:
        """Show the logo, and what became of the last upload."""
        logo = logo_of(self.member.team_id)
        return super().get_context_data(
            team=self.member.team.name,
            logo=logo,
            is_checked=logo is not None and logo.state == "checking",
            why="" if logo is None or not logo.reason else REFUSALS[logo.reason],
            picture=logo.content.sha256[:12] if logo is not None and logo.content is not None else "",
            **context,
        )


@page
@require_safe
def logo_picture(request: HttpRequest) -> HttpResponse:
    """Give the logo's picture."""
    return picture(request, logo_file(chosen_member(request).team_id))
