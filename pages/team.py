"""The team's own page: links to all that belongs to it, each with what it has now."""

from __future__ import annotations

from typing import TYPE_CHECKING

from django.http import HttpRequest, HttpResponse
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import ngettext
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.audit import audit_entry, events_named
from pages.browser import CHOSEN_TEAM, chosen_member, memberships_in
from pages.local_times import zone_name
from pages.people import open_invitations
from pages.team_settings import pots_of
from pages.usage import team_usage
from pages.words import words_of
from tastings.queries.logos import logo_name
from tastings.queries.panels import panel_of
from tastings.queries.shares import waiting_shares
from tastings.wording.counts import counted
from tastings.wording.numbers import listed, number
from tastings.wording.people import ROLES
from teams.errors import NotFound
from teams.queries.access import list_audit
from teams.queries.people import present_members, shops_of
from teams.time_zones import zone_named

if TYPE_CHECKING:
    from teams.models import Member

Tile = tuple[str, str, str, str]
"""URL name of a page, its drawing, its title, and a line on what it has now."""


class TeamPage(View):
    """The team that the caller works for, and the way to all that belongs to it."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """Show it."""
        member = chosen_member(request)
        context = {
            "member": member,
            "role": ROLES[member.role],
            "logo": logo_name(member.team_id)[:12],
            "work": _work(member),
            "owned": _owned(member) if member.runs_team else [],
        }
        return render(request, "pages/team.html", context)

    def post(self, request: HttpRequest) -> HttpResponse:
        """Work for another of the caller's teams from now on; show the list that was open, now of that team."""
        memberships = memberships_in(request)
        chosen = id_from_path(request.POST.get("team", ""))
        if all(membership.team_id != chosen for membership in memberships):
            raise NotFound
        request.session[CHOSEN_TEAM] = str(chosen)
        lists = {reverse(name): name for name in ("lots-page", "flights-page", "team")}
        return redirect(lists.get(request.POST.get("open", ""), "lots-page"))


def _work(member: Member) -> list[Tile]:
    """Return the pages of what everybody works with."""
    people = present_members(member)
    waiting = len(open_invitations(member, now=timezone.now())) if member.runs_team else 0
    invited = [ngettext("%(n)s open invitation", "%(n)s open invitations", waiting) % {"n": waiting}] if waiting else []
    own = sum(not word.fields["built_in"] for word in words_of(member))
    pots = len(pots_of(member))
    tasters = len({taster for row in panel_of(member.team_id).descriptors.values() for taster in row.tasters})
    tiles: list[Tile] = [
        (
            "people", "people", _("People"),
            listed([ngettext("%(n)s person", "%(n)s people", len(people)) % {"n": len(people)}, *invited]),
        ),
        (
            "shops", "pot", _("Shops and pots"),
            listed([counted(len(shops_of(member)), "shop"), ngettext("%(n)s pot", "%(n)s pots", pots) % {"n": pots}]),
        ),
        ("words", "word", _("Words"), ngettext("%(n)s of your own", "%(n)s of your own", own) % {"n": own}),
        ("panel", "scale", _("Tasters and their scales"), counted(tasters, "taster") if tasters else _("none yet")),
    ]  # fmt: skip
    imports: Tile = ("import", "sheet", _("Import a spreadsheet"), _("checked first, then imported"))
    return [*tiles, imports] if member.may_write else tiles


def _owned(member: Member) -> list[Tile]:
    """Return the pages for owners."""
    latest = [audit_entry(entry, {}) for entry in list_audit(member, events=events_named(), after=None, limit=1)]
    waiting = len(waiting_shares(member, now=timezone.now()))
    rested = _("a medium roast counts as rested below %(points)s") % {"points": number(member.team.ready_roast)}
    zone = _("clock of %(zone)s") % {"zone": zone_name(zone_named(member.team.time_zone))}
    return [
        ("audit", "log", _("Audit log"), ", ".join(f"{entry['what']}, {entry['who']}" for entry in latest)),
        ("usage", "measure", _("What the team uses"), str(team_usage(member)["room"])),
        (
            "waiting-links", "link", _("Links that wait for an owner"),
            ngettext("%(n)s waits", "%(n)s wait", waiting) % {"n": waiting} if waiting else _("none waits"),
        ),
        ("team-settings", "name", _("Name and settings"), f"{zone} · {rested}"),
        ("logo", "mark", _("Logo"), _("on reports and cards") if logo_name(member.team_id) else _("no logo yet")),
        ("export", "chest", _("Export"), _("everything as one file")),
    ]  # fmt: skip
