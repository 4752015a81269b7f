"""One-time links into a team: making them, taking them back, coming in by one."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.urls import reverse
from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import caller_of, member_of
from api.http.bodies import body_of
from api.http.conditional import id_in_address, page_of
from api.people import id_in, moment, signed_in, text_in
from lots.schema import Unfit, clean_moment
from lots.wording import problem_of
from teams.actions.invitations import Newcomer, accept_invitation, invite, revoke_invitation
from teams.errors import Invalid, Problem
from teams.queries.access import invitation_for, invitations_of

if TYPE_CHECKING:
    from teams.models import Invitation


def _state(invitation: Invitation, *, now: datetime) -> str:
    if invitation.used_at is not None:
        return "used"
    if invitation.revoked_at is not None:
        return "revoked"
    return "open" if invitation.expires_at > now else "expired"


def _invitation(invitation: Invitation, *, now: datetime) -> dict[str, Any]:
    return {
        "id": str(invitation.id),
        "role": invitation.role,
        "shop": str(invitation.shop_id),
        "by": str(invitation.by_id),
        "state": _state(invitation, now=now),
        "created_at": moment(invitation.created_at),
        "expires_at": moment(invitation.expires_at),
        "used_by": str(invitation.used_by_id) if invitation.used_by_id else None,
    }


class Invitations(APIView):
    """The team's invitations."""

    def get(self, request: Request) -> Response:
        """List them, the newest first, those that ended included; owners only."""
        member, now = member_of(request), timezone.now()

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            return [_invitation(one, now=now) for one in invitations_of(member, after=after, limit=limit)]

        return page_of(request, read)

    def post(self, request: Request) -> Response:
        """Make a one-time link; owners only. Token and link are told this once."""
        sent, problems = body_of(request), list[Problem]()
        for name in sent.keys() - {"role", "shop", "expires_at"}:
            problems.append(Problem(name[:80], "unknown_field", _("is not part of an invitation")))
        role, shop = text_in(sent, "role", problems=problems), id_in(sent, "shop", problems=problems)
        expires_at: datetime | None = None
        if sent.get("expires_at") is not None:
            try:
                expires_at = datetime.fromisoformat(clean_moment(sent["expires_at"]))
            except Unfit as error:
                problems.append(problem_of("expires_at", error.fault))
        if problems or shop is None:
            raise Invalid(problems=problems)
        now = timezone.now()
        token, made = invite(member_of(request), role=role, shop=shop, expires_at=expires_at, now=now)
        link = request.build_absolute_uri(reverse("join", args=[token]))
        return Response(
            {**_invitation(made, now=now), "token": token, "link": link},
            status=201,
            headers={"Cache-Control": "no-store", "Location": request.build_absolute_uri(f"{request.path}{made.id}/")},
        )


class OneInvitation(APIView):
    """One invitation."""

    def delete(self, request: Request, invitation_id: str) -> Response:
        """Take it back, so that its link opens nothing any more; owners only."""
        member, invitation = member_of(request), id_in_address(invitation_id)
        invitation_for(member, invitation)
        revoke_invitation(member, invitation=invitation, now=timezone.now())
        return Response(status=204)


class AcceptInvitation(APIView):
    """Coming in by a link."""

    authentication_classes: Sequence[Any] = ()
    permission_classes = [AllowAny]

    def post(self, request: Request) -> Response:
        """Join with a new login, or with the own name and password of one that exists; with ``device`` sign in too."""
        sent, problems = body_of(request), list[Problem]()
        for name in sent.keys() - {"token", "username", "password", "device", "existing"}:
            problems.append(Problem(name[:80], "unknown_field", _("is not part of this")))
        token, username, password = (text_in(sent, n, problems=problems) for n in ("token", "username", "password"))
        device = text_in(sent, "device", problems=problems) if sent.get("device") is not None else None
        existing = sent.get("existing")
        if existing is not None and not isinstance(existing, bool):
            problems.append(Problem("existing", "type", _("must be true or false")))
        if problems:
            raise Invalid(problems=problems)
        member, made, record = accept_invitation(
            token=token,
            newcomer=Newcomer(username=username, password=password, existing=existing),
            device=device,
            caller=caller_of(request),
            now=timezone.now(),
        )
        return signed_in(member, token=made, expires_at=record.expires_at if record else None)
