"""Signing in and out, the caller, shops and members."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _
from rest_framework.permissions import AllowAny
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import address_of, caller_of, member_of, token_of
from api.http.bodies import body_of
from api.http.conditional import id_in_address, tagged
from lots.schema import Unfit, clean_id, clean_text, utc_text
from lots.wording import problem_of
from teams.actions.guard import Credentials
from teams.actions.passwords import sign_out_everywhere
from teams.actions.people import change_team, name_shop, sign_out, sign_out_device
from teams.actions.roles import change_member, hand_over, leave_team
from teams.actions.signing_in import sign_in
from teams.errors import Invalid, Problem
from teams.queries.people import member_for, members_of, memberships_of, shop_for, shops_of, tokens_of

if TYPE_CHECKING:
    from teams.models import DeviceToken, Member, Shop, Team


def moment(at: datetime | None) -> str | None:
    """Return a moment as it stands in an answer."""
    return utc_text(at) if at else None


def _device(token: DeviceToken, *, current: UUID) -> dict[str, object]:
    return {
        "id": str(token.id),
        "device": token.device,
        "created_at": moment(token.created_at),
        "expires_at": moment(token.expires_at),
        "last_used_at": moment(token.last_used_at),
        "current": token.id == current,
    }


def _team(team: Team) -> dict[str, object]:
    return {"id": str(team.id), "name": team.name, "ready_roast": team.ready_roast}


def _shop(shop: Shop) -> dict[str, object]:
    return {"id": str(shop.id), "name": shop.name}


def _member(member: Member) -> dict[str, object]:
    return {
        "id": str(member.user_id),
        "name": str(member.user),
        "username": member.user.username,
        "role": member.role,
        "shop": str(member.shop_id) if member.shop_id else None,
        "joined_at": moment(member.joined_at),
        "left_at": moment(member.left_at),
    }


def text_in(sent: dict[str, Any], name: str, *, problems: list[Problem]) -> str:
    """Return a text of a body that must not be empty; what is wrong goes into ``problems``."""
    try:
        text = clean_text(sent.get(name), longest=1000)
    except Unfit as error:
        problems.append(problem_of(name, error.fault))
        return ""
    if not text:
        problems.append(Problem(name, "required", _("must not be empty")))
    return text


def id_in(sent: dict[str, Any], name: str, *, problems: list[Problem]) -> UUID | None:
    """Return an id of a body; what is wrong goes into ``problems``."""
    try:
        return UUID(clean_id(sent.get(name)))
    except Unfit as error:
        problems.append(problem_of(name, error.fault))
        return None


def signed_in(member: Member, *, token: str | None, expires_at: datetime | None) -> Response:
    """Tell whose place it is and, only this once, the token."""
    body = {
        "token": token,
        "expires_at": moment(expires_at),
        "user": str(member.user_id),
        "team": str(member.team_id),
        "shop": str(member.shop_id) if member.shop_id else None,
        "role": member.role,
    }
    return Response(body, status=201, headers={"Cache-Control": "no-store"})


class Tokens(APIView):
    """The devices that are signed in."""

    def get_permissions(self) -> Sequence[Any]:
        """Let anyone sign in."""
        return [AllowAny()] if self.request.method == "POST" else super().get_permissions()

    def get_authenticators(self) -> list[Any]:
        """Look at no token when one is asked for: an old one must not stand in the way."""
        return [] if getattr(self.request, "method", "POST") == "POST" else super().get_authenticators()

    def get(self, request: Request) -> Response:
        """List the caller's own devices."""
        current = token_of(request).id
        found = tokens_of(member_of(request), now=timezone.now())
        return tagged(request, {"results": [_device(token, current=current) for token in found], "next": None})

    def post(self, request: Request) -> Response:
        """Sign a device in. A login of several teams may name one with ``team``."""
        sent, problems = body_of(request), list[Problem]()
        username, password, device = (
            text_in(sent, name, problems=problems) for name in ("username", "password", "device")
        )
        team = id_in(sent, "team", problems=problems) if sent.get("team") is not None else None
        if problems:
            raise Invalid(problems=problems)
        token, made = sign_in(
            Credentials(username=username, password=password),
            device=device,
            team=team,
            caller=caller_of(request),
            now=timezone.now(),
        )
        return signed_in(made.member, token=token, expires_at=made.expires_at)

    def delete(self, request: Request) -> Response:
        """Sign the login out everywhere: this and every other device, in all its teams, and every browser."""
        sign_out_everywhere(member_of(request).user, address=address_of(request), now=timezone.now())
        return Response(status=204)


class Token(APIView):
    """One device."""

    def delete(self, request: Request, token_id: str) -> Response:
        """Sign it out at once."""
        if token_id == "current":  # noqa: S105 - a word of the address
            sign_out(token_of(request))
        else:
            sign_out_device(member_of(request), id_in_address(token_id))
        return Response(status=204)


class Me(APIView):
    """The caller."""

    def get(self, request: Request) -> Response:
        """Say who and where the caller is, and in which teams the login has a place."""
        member = member_of(request)
        return tagged(
            request,
            {
                "user": str(member.user_id),
                "name": str(member.user),
                "username": member.user.username,
                "email": member.user.email,
                "team": {"id": str(member.team_id), "name": member.team.name},
                "shop": _shop(member.shop) if member.shop else None,
                "role": member.role,
                "teams": [
                    {"id": str(m.team_id), "name": m.team.name, "role": m.role} for m in memberships_of(member.user)
                ],
            },
        )


class OneTeam(APIView):
    """The team of the caller's token."""

    def get(self, request: Request) -> Response:
        """Show it."""
        return tagged(request, _team(member_of(request).team))

    def patch(self, request: Request) -> Response:
        """Rename it, or choose the roast under which a tea counts as rested; owners only."""
        sent = body_of(request)
        if unknown := sent.keys() - {"name", "ready_roast"}:
            raise Invalid(
                problems=[Problem(name[:80], "unknown_field", _("is not part of a team")) for name in unknown]
            )
        return Response(_team(change_team(member_of(request), **sent)))


class Shops(APIView):
    """The team's shops."""

    def get(self, request: Request) -> Response:
        """List them by name."""
        return tagged(request, {"results": [_shop(shop) for shop in shops_of(member_of(request))], "next": None})

    def post(self, request: Request) -> Response:
        """Open one; owners only."""
        return Response(
            _shop(name_shop(member_of(request), shop_id=None, name=body_of(request).get("name"))), status=201
        )


class OneShop(APIView):
    """One shop."""

    def get(self, request: Request, shop_id: str) -> Response:
        """Show it."""
        return tagged(request, _shop(shop_for(member_of(request), id_in_address(shop_id))))

    def patch(self, request: Request, shop_id: str) -> Response:
        """Rename it; owners only."""
        member, shop = member_of(request), id_in_address(shop_id)
        shop_for(member, shop)
        return Response(_shop(name_shop(member, shop_id=shop, name=body_of(request).get("name"))))


class Members(APIView):
    """The team's members, those who left included."""

    def get(self, request: Request) -> Response:
        """List them in the order they joined."""
        return tagged(request, {"results": [_member(m) for m in members_of(member_of(request))], "next": None})


class OneMember(APIView):
    """One member, by the login's id."""

    def get(self, request: Request, user_id: str) -> Response:
        """Show it."""
        return tagged(request, _member(member_for(member_of(request), id_in_address(user_id))))

    def patch(self, request: Request, user_id: str) -> Response:
        """Give the member another role or shop; owners only, and one owner always stays."""
        sent, problems = body_of(request), list[Problem]()
        for name in sent.keys() - {"role", "shop"}:
            problems.append(Problem(name[:80], "unknown_field", _("cannot be changed here")))
        role = text_in(sent, "role", problems=problems) if "role" in sent else None
        shop = id_in(sent, "shop", problems=problems) if "shop" in sent else None
        member, user = member_of(request), id_in_address(user_id)
        member_for(member, user)
        if problems:
            raise Invalid(problems=problems)
        return Response(_member(change_member(member, user=user, role=role, shop=shop, now=timezone.now())))

    def delete(self, request: Request, user_id: str) -> Response:
        """Leave the team, or as an owner take someone out. Their notes stay; their devices are signed out at once."""
        leave_team(member_of(request), user=id_in_address(user_id), now=timezone.now())
        return Response(status=204)


class HandOver(APIView):
    """The team's ownership."""

    def post(self, request: Request) -> Response:
        """Make the member ``to`` an owner and oneself a buyer; owners only."""
        problems = list[Problem]()
        to = id_in(body_of(request), "to", problems=problems)
        if to is None:
            raise Invalid(problems=problems)
        hand_over(member_of(request), to=to, now=timezone.now())
        return Response(status=204)
