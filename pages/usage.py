"""What an owner's teams use of their quotas."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import render
from django.utils.translation import gettext as _
from django.views.generic import View

from pages.browser import memberships_in
from tastings.queries.quotas import usage_of_team
from tastings.wording.numbers import capitalised, listed
from tastings.wording.quotas import quota_label, room_sentence, used_of
from teams.errors import NotAllowed

if TYPE_CHECKING:
    from collections.abc import Sequence

    from tastings.queries.quotas import Quota, QuotaName
    from teams.models import Member

_OF_MEMBER: tuple[QuotaName, ...] = ("notes", "records", "photos")
"""Quotas in the table of members; others of a member are named when they are nearly reached."""
_NEARLY_FULL = 0.9


class UsagePage(View):
    """Whether there is room, what is used of each limit, and by whom."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it for each team that the caller owns."""
        owned = [member for member in memberships_in(request) if member.runs_team]
        if not owned:
            raise NotAllowed(_("only an owner sees what the team uses"))
        return render(request, "pages/usage.html", {"teams": [team_usage(member) for member in owned]})


def team_usage(member: Member) -> dict[str, object]:
    """Return a sentence on whether there is room, and the rows of the team and of its members."""
    usage = usage_of_team(member)
    people = [(str(login.user), {quota.name: quota for quota in quotas}) for login, quotas in usage.members]
    most = {name: max((quotas[name].used for _who, quotas in people), default=0) for name in _OF_MEMBER}
    return {
        "id": member.team_id,
        "name": member.team.name,
        "room": room_sentence(full=_near(usage.team, 1.0), nearly=_near(usage.team, _NEARLY_FULL)),
        "quotas": [_row(quota) for quota in usage.team],
        "columns": [_("Notes"), _("Other records"), _("Photos")],
        "members": [
            {
                "name": name,
                "cells": [(used_of(n, quotas[n].used), _share(quotas[n].used, most[n])) for n in _OF_MEMBER],
                "near": listed(_near(list(quotas.values()), _NEARLY_FULL)),
            }
            for name, quotas in people
        ],
    }


def _row(quota: Quota) -> dict[str, object]:
    return {
        "label": capitalised(quota_label(quota.name)),
        "used": used_of(quota.name, quota.used, quota.limit),
        "share": _share(quota.used, quota.limit),
        "full": not quota.left,
    }


def _near(quotas: Sequence[Quota], share: float) -> list[str]:
    """Return what has used at least this share of its limit."""
    return [quota_label(quota.name) for quota in quotas if quota.used >= share * quota.limit]


def _share(used: int, limit: int) -> float:
    """Return how long a bar is, in hundredths of its line: what is used at all is seen."""
    return max(1.0, round(100 * min(used / limit, 1), 1)) if used and limit else 0.0
