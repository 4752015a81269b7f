"""The team's people in the browser: members, invitations with link and QR code, roles, handing the team over."""

from __future__ import annotations

from datetime import timedelta
from typing import TYPE_CHECKING

from django import forms
from django.http import HttpRequest, HttpResponse, QueryDict
from django.shortcuts import redirect, render
from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from django.views.generic import View

from api.http.conditional import id_from_path
from pages.account import qr_code
from pages.browser import chosen_member
from pages.form_page import add_problems, set_choices
from tastings.wording.numbers import day
from tastings.wording.people import ROLES
from teams.actions.invitations import DEFAULT_DAYS, MAX_DAYS, create_invitation, revoke_invitation
from teams.actions.roles import change_member, remove_member, transfer_ownership
from teams.errors import Invalid, NotFound
from teams.queries.access import invitation_for, invitations_of
from teams.queries.people import member_for, members_of, shops_of

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime
    from uuid import UUID

    from teams.models import Invitation, Member, Shop

_MOST_INVITATIONS = 50
_DAYS = (1, DEFAULT_DAYS, MAX_DAYS)


class PlaceForm(forms.Form):
    """Somebody's role and shop."""

    role = forms.ChoiceField(label=gettext_lazy("Role"), choices=list(ROLES.items()), initial="taster")
    shop = forms.ChoiceField(label=gettext_lazy("Shop"))

    def __init__(
        self, shops: Sequence[Shop], data: QueryDict | None = None, *, initial: dict[str, object] | None = None
    ) -> None:
        super().__init__(data, initial=initial)
        set_choices(self, "shop", [(str(shop.id), shop.name) for shop in shops])


class InvitationForm(PlaceForm):
    """The role and shop that an invitation gives, and for how long it is open."""

    days = forms.TypedChoiceField(
        label=gettext_lazy("The link works for, in days"),
        choices=[(days, str(days)) for days in _DAYS],
        coerce=int,
        initial=DEFAULT_DAYS,
    )


class People(View):
    """The members and the open invitations."""

    def get(self, request: HttpRequest) -> HttpResponse:
        """List them; owners find the form that invites."""
        member = chosen_member(request)
        return _render(request, member, InvitationForm(shops_of(member), initial={"shop": str(member.shop_id)}))

    def post(self, request: HttpRequest) -> HttpResponse:
        """Invite somebody: show the link once, to be copied or scanned."""
        member, now = chosen_member(request), timezone.now()
        form = InvitationForm(shops_of(member), request.POST)
        extra: dict[str, object] = {}
        if form.is_valid():
            chosen = form.cleaned_data
            ends = now + timedelta(days=chosen["days"])
            shop = id_from_path(chosen["shop"])
            try:
                token, invitation = create_invitation(member, role=chosen["role"], shop=shop, expires_at=ends, now=now)
            except Invalid as refused:
                add_problems(form, refused.problems)
            else:
                link = request.build_absolute_uri(reverse("join", args=[token]))
                extra = {"link": link, "square": qr_code(link), "made": _invitation(invitation, now=now)}
        return _render(request, member, form, **extra)


class OneMember(View):
    """One member: role and shop, handing the team over, ending the membership."""

    def get(self, request: HttpRequest, user_id: str) -> HttpResponse:
        """Show the form."""
        member, other = self._found(request, user_id)
        form = PlaceForm(shops_of(member), initial={"role": other.role, "shop": str(other.shop_id or "")})
        return self._render(request, member, other, form)

    def post(self, request: HttpRequest, user_id: str) -> HttpResponse:
        """Change what was chosen; ``do`` is ``save``, ``hand_over`` or ``remove``."""
        member, other = self._found(request, user_id)
        now, form = timezone.now(), PlaceForm(shops_of(member), request.POST)
        try:
            match request.POST.get("do"):
                case "hand_over":
                    transfer_ownership(member, to=other.user_id, now=now)
                case "remove":
                    remove_member(member, user=other.user_id, now=now)
                    if other.user_id == member.user_id:
                        return redirect("account")
                case _:
                    if not form.is_valid():
                        return self._render(request, member, other, form)
                    shop = id_from_path(form.cleaned_data["shop"])
                    change_member(member, user=other.user_id, role=form.cleaned_data["role"], shop=shop, now=now)
        except Invalid as refused:
            add_problems(form, refused.problems)
            return self._render(request, member, other, form)
        return redirect("people")

    def _found(self, request: HttpRequest, user_id: str) -> tuple[Member, Member]:
        member = chosen_member(request)
        other = member_for(member, id_from_path(user_id))
        if other.left_at is not None:
            raise NotFound
        return member, other

    def _render(self, request: HttpRequest, member: Member, other: Member, form: forms.Form) -> HttpResponse:
        context = {
            "form": form,
            "other": other,
            "name": str(other.user),
            "role": ROLES[other.role],
            "own": other.user_id == member.user_id,
            "owner": member.runs_team,
        }
        return render(request, "pages/member.html", context, status=422 if form.errors else 200)


class EndInvitation(View):
    """Revoking an invitation."""

    def get(self, request: HttpRequest, invitation_id: str) -> HttpResponse:
        """Lead to the people: somebody who was signed out when ending one comes back here."""
        invitation_for(chosen_member(request), id_from_path(invitation_id))
        return redirect("people")

    def post(self, request: HttpRequest, invitation_id: str) -> HttpResponse:
        """End it at once."""
        member, invitation = chosen_member(request), id_from_path(invitation_id)
        invitation_for(member, invitation)
        revoke_invitation(member, invitation=invitation, now=timezone.now())
        return redirect("people")


def _render(request: HttpRequest, member: Member, form: InvitationForm, **extra: object) -> HttpResponse:
    now = timezone.now()
    shops: dict[UUID | None, str] = {shop.id: shop.name for shop in shops_of(member)}
    people = members_of(member)
    open_ones = open_invitations(member, now=now) if member.runs_team else []
    context = {
        "team": member.team.name,
        "owner": member.runs_team,
        "me": member.user_id,
        "members": [
            {"user": row.user_id, "name": str(row.user), "role": ROLES[row.role], "shop": shops.get(row.shop_id, "")}
            for row in people
            if row.left_at is None
        ],
        "left": [{"name": str(row.user), "day": day(row.left_at)} for row in people if row.left_at is not None],
        "invitations": [_invitation(invitation, now=now) for invitation in open_ones],
        "form": form,
        **extra,
    }
    return render(request, "pages/people.html", context, status=422 if form.errors else 200)


def open_invitations(member: Member, *, now: datetime) -> list[Invitation]:
    """Return the invitations that somebody may still accept, the newest first; owners only."""
    invitations = invitations_of(member, after=None, limit=_MOST_INVITATIONS)
    return [row for row in invitations if row.used_at is None and row.revoked_at is None and row.expires_at > now]


def _invitation(invitation: Invitation, *, now: datetime) -> dict[str, object]:
    """Describe an open invitation."""
    hours = (invitation.expires_at - now).total_seconds() / 3600
    ends = _("ends today") if hours < 24 else _("until %(day)s") % {"day": day(invitation.expires_at)}
    return {"id": invitation.id, "role": ROLES[invitation.role], "made": day(invitation.created_at), "ends": ends}
