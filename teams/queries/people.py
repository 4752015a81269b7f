"""Reads about people. Each starts from a member, so that no query reaches another team by accident."""

from collections.abc import Collection, Sequence
from datetime import datetime
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _

from teams.errors import NotAllowed, NotFound
from teams.models import DeviceToken, Member, MovedTeam, Role, Shop, Team, User
from teams.row_security import acting_for, acting_for_those_here, team_of_former_token, teams_of_login

ROLES: tuple[str, ...] = tuple(Role.values)
"""What a member may be."""


def team_by_id_or_name(text: str, *, may_live_elsewhere: bool = False) -> Team:
    """Return the team with this id or, if only one has it, this name, for the command line; else raise NotFound.

    A team that lives in another cell is found only if it may: what is here of it is a copy.
    """
    teams = list(Team.objects.filter(id=text) if is_id(text) else Team.objects.filter(name=text)[:2])
    if len(teams) != 1:
        raise NotFound(f"{'several teams are' if teams else 'no team is'} called {text}")
    moved = MovedTeam.objects.filter(team=teams[0].id).first()
    if moved is not None and not may_live_elsewhere:
        raise NotFound(f"{text} lives in the cell {moved.cell}")
    return teams[0]


def shop_by_id_or_name(team: Team, text: str) -> Shop | None:
    """Return the team's shop with this id or name."""
    shops = Shop.objects.filter(team=team)
    return (shops.filter(id=text) if is_id(text) else shops.filter(name=text)).first()


def is_id(text: str) -> bool:
    """Whether the text is an id rather than a name."""
    try:
        UUID(text)
    except ValueError:
        return False
    return True


def memberships_of(user: User) -> list[Member]:
    """Return the login's present memberships in the order they began."""
    if not user.is_active:
        return []
    with acting_for(*teams_of_login(user.id)):
        memberships = Member.objects.filter(user=user, left_at=None)
        members = list(memberships.select_related("team", "shop").order_by("joined_at", "id"))
    for membership in members:
        membership.user = user
    return members


def known_device(digest: str) -> tuple[UUID | None, str]:
    """Return login and id of the device with this token, also of one that has expired."""
    with acting_for_those_here(team for team in [team_of_former_token(digest)] if team is not None):
        device = DeviceToken.objects.filter(digest=digest).values_list("member__user_id", "id").first()
    return (device[0], str(device[1])) if device else (None, "")


def revisions_of(teams: Collection[UUID]) -> dict[UUID, int]:
    """Return the counters of some teams."""
    with acting_for_those_here(teams):
        return dict(Team.objects.filter(id__in=teams).values_list("id", "revision"))


def valid_tokens(tokens: Collection[UUID], *, teams: Collection[UUID]) -> set[UUID]:
    """Return which of these teams' tokens are still valid."""
    with acting_for_those_here(teams):
        current = DeviceToken.objects.filter(id__in=tokens, expires_at__gt=timezone.now(), member__left_at=None)
        return set(current.filter(member__user__is_active=True).values_list("id", flat=True))


def tokens_of(login: UUID, *, now: datetime) -> Sequence[DeviceToken]:
    """Return the login's device tokens in all its teams, newest first."""
    with acting_for(*teams_of_login(login)):
        tokens = DeviceToken.objects.filter(member__user_id=login, expires_at__gt=now)
        return list(tokens.order_by("-created_at"))


def shops_of(member: Member) -> list[Shop]:
    """Return the team's shops by name."""
    return list(Shop.objects.filter(team_id=member.team_id).order_by("name"))


def shop_for(member: Member, shop_id: UUID) -> Shop:
    """Return the team's shop; raise NotFound for an absent or a foreign one."""
    shop = Shop.objects.filter(team_id=member.team_id, id=shop_id).first()
    if shop is None:
        raise NotFound
    return shop


def members_of(member: Member) -> list[Member]:
    """Return the team's members, those who left included, since their notes still name them."""
    return list(Member.objects.filter(team_id=member.team_id).select_related("user").order_by("joined_at", "id"))


def present_members(member: Member) -> list[Member]:
    """Return the team's members who have not left."""
    return [person for person in members_of(member) if person.left_at is None]


def names_of_members(member: Member) -> dict[str, str]:
    """Return the names of the team's members by login, of those who left too."""
    return {str(person.user_id): str(person.user) for person in members_of(member)}


def member_for(member: Member, user_id: UUID) -> Member:
    """Return the team's member with this login; raise NotFound otherwise."""
    row = Member.objects.filter(team_id=member.team_id, user_id=user_id).select_related("user").first()
    if row is None:
        raise NotFound
    return row


def require_writer(member: Member) -> None:
    """Raise NotAllowed for a member who only reads."""
    if not member.may_write:
        raise NotAllowed(_("your role only reads"))
