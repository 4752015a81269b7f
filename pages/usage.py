"""What the teams of an owner use of what they may."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.urls import path
from django.utils.translation import gettext as _
from django.views.generic import View

from pages.browser import memberships_in, page
from tastings.queries.quotas import usage_of_team
from tastings.wording.quotas import amount, quota_label
from teams.errors import NotAllowed

if TYPE_CHECKING:
    from tastings.queries.quotas import Quota
    from teams.models import Member


class UsagePage(View):
    """Used and left, by team and member."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it for each team that the caller owns."""
        owned = [member for member in memberships_in(request) if member.runs_team]
        if not owned:
            raise NotAllowed(_("only an owner sees what the team uses"))
        return render(request, "pages/usage.html", {"teams": [_team(member) for member in owned]})


def _team(member: Member) -> dict[str, Any]:
    usage = usage_of_team(member)
    return {
        "id": member.team_id,
        "name": member.team.name,
        "quotas": [_row(quota) for quota in usage.team],
        "members": [
            {"name": str(one.user), "quotas": [_row(quota) for quota in quotas if quota.used]}
            for one, quotas in usage.members
        ],
    }


def _row(quota: Quota) -> dict[str, Any]:
    return {
        "label": quota_label(quota.name),
        "used": amount(quota.name, quota.used),
        "left": amount(quota.name, quota.left),
        "full": not quota.left,
    }


urlpatterns = [path("account/usage/", page(UsagePage.as_view()), name="usage")]
