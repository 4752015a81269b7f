"""Logins, teams, shops, memberships and device tokens."""

import uuid
from collections.abc import Iterator
from datetime import datetime, timedelta
from typing import ClassVar

from django.conf import settings
from django.contrib.auth.models import AbstractBaseUser, BaseUserManager
from django.db import models
from django.db.models import Q
from django.db.models.functions import Lower, Upper
from django.utils.crypto import salted_hmac

from teams.row_security import acting_for_login, login_named

NOBODY = uuid.UUID(int=0)
"""An id that no login has."""


class UserManager(BaseUserManager["User"]):
    """Finds logins regardless of case, since phones like to capitalise the first letter."""

    def get_by_natural_key(self, username: str | None) -> "User":
        """Return the login with this name, in whichever form of Unicode it was typed."""
        login = login_named(username or "")
        with acting_for_login(login):
            return self.get(id=login or NOBODY)


class User(AbstractBaseUser):
    """A person's login. It may belong to several teams; each membership carries its own role."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    username = models.CharField(max_length=80)
    name = models.CharField(max_length=120, blank=True)
    email = models.EmailField(blank=True, default="", db_default="")
    """Where the link for a forgotten password goes; several logins may share one, such as a shop's."""
    email_verified_at = models.DateTimeField(null=True)
    """When a mailed link was opened by this login; without that the address receives no link for a password."""
    sign_outs = models.PositiveIntegerField(default=0, db_default=0)
    """How often it was signed out everywhere; part of what a browser session is checked against."""
    language = models.CharField(max_length=8, blank=True, default="", db_default="")
    """Language of pages and mail; empty means that of the browser."""
    is_active = models.BooleanField(default=True)
    created_at = models.DateTimeField(auto_now_add=True)

    objects: ClassVar[UserManager] = UserManager()

    USERNAME_FIELD = "username"

    class Meta:
        constraints = [models.UniqueConstraint(Lower("username"), name="user_username_once")]
        indexes = [models.Index(Upper("email"), name="user_by_email", condition=~Q(email=""))]

    def __str__(self) -> str:
        return self.name or self.username

    @property
    def has_verified_email(self) -> bool:
        """Whether this login has opened a link that was mailed to its address."""
        return self.email_verified_at is not None

    def get_session_auth_hash(self) -> str:
        """Return the hash that a browser's session must have been started with to be valid."""
        return self._with_sign_outs(super().get_session_auth_hash())

    def get_session_auth_fallback_hash(self) -> Iterator[str]:
        """Return the same for the former secrets."""
        for before in super().get_session_auth_fallback_hash():
            yield self._with_sign_outs(before)

    def _with_sign_outs(self, session_hash: str) -> str:
        if not self.sign_outs:
            return session_hash
        return salted_hmac("sign-outs", f"{session_hash} {self.sign_outs}", algorithm="sha256").hexdigest()


class Team(models.Model):
    """A merchant. ``revision`` counts every change of its records; writers lock this row until they commit."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    name = models.CharField(max_length=120)
    revision = models.BigIntegerField(default=0)
    first_revision = models.BigIntegerField(default=0)
    """Where the counter began: a cursor below it, other than 0, is another team's."""
    ready_roast = models.FloatField(default=3.0)
    """Roast under which the team finds a medium roast rested, before its liking moves it. [points, 0 to 10]"""
    time_zone = models.CharField(max_length=64, default="UTC", db_default="UTC")
    """In which its pages show moments: a name of the IANA Time Zone Database."""
    pruned_revision = models.BigIntegerField(default=0)
    """The highest revision of a pruned tombstone."""
    pruned_before = models.DateTimeField(null=True)
    """Tombstones of deletions before this have been pruned."""
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.CheckConstraint(condition=Q(revision__gte=0), name="team_revision_counts_up"),
            models.CheckConstraint(condition=~Q(name=""), name="team_name_not_blank"),
            models.CheckConstraint(condition=Q(ready_roast__gte=0, ready_roast__lte=10), name="team_ready_roast_range"),
        ]

    def __str__(self) -> str:
        return self.name


class PullOnly(models.Model):
    """A row that phones pull and never push.

    ``revision`` is its place in the team's order of commits. The database sets it, by a trigger, when the row is made
    and whenever something changes that phones pull; `renew` has it set when that stands in another table.
    """

    revision = models.BigIntegerField(default=0, editable=False)

    class Meta:
        abstract = True


class Shop(PullOnly):
    """One of a team's shops."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="shops")
    name = models.CharField(max_length=120)
    usual_pot = models.UUIDField(null=True)
    """The pot that its guides and cards are for; a foreign key over team and id, which the pots' migration adds."""
    created_at = models.DateTimeField(auto_now_add=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "name"], name="shop_name_once_per_team"),
            models.UniqueConstraint(fields=["team", "id"], name="shop_of_team"),
            models.UniqueConstraint(fields=["team", "revision"], name="shop_revision_once"),
            models.CheckConstraint(condition=~Q(name=""), name="shop_name_not_blank"),
        ]

    def __str__(self) -> str:
        return self.name


class Role(models.TextChoices):
    """What a member may do: a viewer reads, a taster writes notes, a buyer decides, an owner runs the team."""

    OWNER = "owner"
    BUYER = "buyer"
    TASTER = "taster"
    VIEWER = "viewer"


class Member(PullOnly):
    """A login's membership in one team."""

    team = models.ForeignKey(Team, on_delete=models.PROTECT, related_name="members")
    user = models.ForeignKey(User, on_delete=models.PROTECT, related_name="memberships")
    shop = models.ForeignKey(Shop, on_delete=models.PROTECT, related_name="+", null=True, blank=True)
    role = models.CharField(max_length=10, choices=Role.choices)
    joined_at = models.DateTimeField(auto_now_add=True)
    left_at = models.DateTimeField(null=True, blank=True)

    class Meta:
        constraints = [
            models.UniqueConstraint(fields=["team", "user"], name="member_once_per_team"),
            models.UniqueConstraint(fields=["team", "revision"], name="member_revision_once"),
            models.CheckConstraint(condition=Q(role__in=Role.values), name="member_role_known"),
        ]

    def __str__(self) -> str:
        return f"{self.user} ({self.role})"

    @property
    def may_write(self) -> bool:
        """Whether this member may record notes and lots."""
        return self.role != Role.VIEWER

    @property
    def sees_all_tasters(self) -> bool:
        """Whether this member may see how each of the others tastes."""
        return self.role in (Role.OWNER, Role.BUYER)

    @property
    def decides(self) -> bool:
        """Whether this member sets up flights, reveals them and decides what is bought."""
        return self.role in (Role.OWNER, Role.BUYER)

    @property
    def limited_to(self) -> uuid.UUID | None:
        """The only login whose rows this member may write: a taster's own, none for a viewer; None: no limit."""
        if self.decides:
            return None
        return self.user_id if self.may_write else NOBODY

    @property
    def runs_team(self) -> bool:
        """Whether this member may change the team itself."""
        return self.role == Role.OWNER


class DeviceToken(models.Model):
    """A device signed in for one membership. Only the token's SHA-256 is stored."""

    id = models.UUIDField(primary_key=True, default=uuid.uuid4, editable=False)
    member = models.ForeignKey(Member, on_delete=models.CASCADE, related_name="tokens")
    device = models.CharField(max_length=200)
    digest = models.CharField(max_length=64, unique=True)
    created_at = models.DateTimeField(auto_now_add=True)
    expires_at = models.DateTimeField()
    """Moves on while the device is in use, up to `must_sign_in_by`."""
    last_used_at = models.DateTimeField(null=True, blank=True)
    began_at = models.DateTimeField(null=True, blank=True)
    """When the device last pulled from cursor 0: it holds nothing that was deleted before."""

    def __str__(self) -> str:
        return self.device

    @property
    def must_sign_in_by(self) -> datetime:
        """When the token ends whatever its use."""
        return self.created_at + timedelta(days=settings.DEVICE_TOKEN_MAX_DAYS)
