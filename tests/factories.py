"""One maker per model, with what a record must have and nothing else; and people who can call.

Records get a revision from their team's counter and the stamp of one edit, as if a phone had just sent them.
"""

import secrets
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from typing import Any
from uuid import UUID, uuid4

from django.db import connection
from django.test import Client
from factory.declarations import LazyAttribute, LazyFunction, SelfAttribute, Sequence, SubFactory
from factory.django import DjangoModelFactory
from rest_framework.renderers import JSONRenderer
from rest_framework.test import APIClient

from lots.merge import Stamp, pack
from lots.models import Lot
from lots.schema import format_stamp
from tastings.models import Descriptor, Flight, FlightCup, Infusion, Note, Pot, Session
from teams.actions.people import token_digest
from teams.models import DeviceToken, Member, Role, Shop, Team, User

NOON = datetime(2026, 3, 4, 12, tzinfo=UTC)
DEVICE = UUID("00000000-0000-7000-8000-00000000000f")
"""The device that made the records."""
ABSENT_ID = UUID("0198c0de-0000-7000-8000-000000000000")
"""An id that no record has."""


def next_revision(team: Team | None) -> int:
    """Count one change of the team; built-in records, which have no team, count for themselves."""
    if team is None:
        return 1
    with connection.cursor() as cursor:
        cursor.execute("UPDATE teams_team SET revision = revision + 1 WHERE id = %s RETURNING revision", [team.id])
        [team.revision] = cursor.fetchone()
    return team.revision


class TeamFactory(DjangoModelFactory[Team]):
    class Meta:
        model = Team

    name = Sequence("Team {}".format)


class ShopFactory(DjangoModelFactory[Shop]):
    class Meta:
        model = Shop

    team = SubFactory(TeamFactory)
    name = Sequence("Shop {}".format)


class UserFactory(DjangoModelFactory[User]):
    """A login without a usable password; give ``password`` for one that can sign in."""

    class Meta:
        model = User

    username = Sequence("user-{}".format)
    password = ""

    @classmethod
    def _create(cls, model_class, *args, password, **kwargs):
        user = model_class(*args, **kwargs)
        user.set_password(password or None)
        user.save()
        return user


class MemberFactory(DjangoModelFactory[Member]):
    class Meta:
        model = Member

    team = SubFactory(TeamFactory)
    user = SubFactory(UserFactory)
    shop = SubFactory(ShopFactory, team=SelfAttribute("..team"))
    role = Role.TASTER


class DeviceTokenFactory(DjangoModelFactory[DeviceToken]):
    """``token`` is what the device holds; only its digest is stored."""

    class Meta:
        model = DeviceToken
        exclude = ["token"]

    token = LazyFunction(lambda: secrets.token_urlsafe(32))
    member = SubFactory(MemberFactory)
    device = "phone"
    digest = LazyAttribute(lambda made: token_digest(made.token))
    expires_at = LazyFunction(lambda: datetime.now(UTC) + timedelta(days=1))


class SyncedFactory(DjangoModelFactory[Any]):
    """What every synced record has; all that has a value is stamped as one edit at noon."""

    class Meta:
        abstract = True

    id = LazyFunction(uuid4)
    team: object
    by: object = SubFactory(UserFactory)
    author: object = SelfAttribute("by")
    created_at = NOON
    updated_at = NOON
    revision = LazyAttribute(lambda made: next_revision(made.team))

    @classmethod
    def _create(cls, model_class, *args, stamps=None, **kwargs):
        row = model_class(*args, **kwargs)
        if stamps is None and row.by_id:
            stamp = Stamp(format_stamp(NOON), str(DEVICE), str(row.by_id))
            set_fields = [field.name for field in row.schema.fields if row.wire_value(field) is not None]
            stamps = pack(dict.fromkeys(set_fields + (["deleted"] if row.removed else []), stamp))
        row.stamps = stamps or []
        row.save(force_insert=True)
        return row


class LotFactory(SyncedFactory):
    class Meta:
        model = Lot

    team = SubFactory(TeamFactory)
    name = Sequence("Lot {}".format)
    kind = "oolong"


class PotFactory(SyncedFactory):
    class Meta:
        model = Pot

    team = SubFactory(TeamFactory)
    name = Sequence("Pot {}".format)
    vessel_ml = 110
    vessel_material = "porcelain"


class SessionFactory(SyncedFactory):
    class Meta:
        model = Session
        exclude = ["author"]

    lot = SubFactory(LotFactory)
    team = SelfAttribute("lot.team")
    by = SelfAttribute("lot.by")
    taster = SelfAttribute("by")
    started_at = NOON
    leaf_g = 5
    vessel_ml = 110
    shared_once = LazyAttribute(lambda made: not getattr(made, "private", False))


class InfusionFactory(SyncedFactory):
    class Meta:
        model = Infusion

    session = SubFactory(SessionFactory)
    team = SelfAttribute("session.team")
    by = SelfAttribute("session.taster")
    number = 1
    steep_s = 15
    kettle_c = 100


class DescriptorFactory(SyncedFactory):
    """A team's own word; ``team=None, by=None`` makes a built-in one."""

    class Meta:
        model = Descriptor

    team = SubFactory(TeamFactory)
    key = Sequence("word_{}".format)
    label = LazyAttribute(lambda made: made.key.replace("_", " "))


class NoteFactory(SyncedFactory):
    class Meta:
        model = Note

    session = SubFactory(SessionFactory)
    team = SelfAttribute("session.team")
    by = SelfAttribute("session.taster")
    infusion = None
    moment = "mouth"
    descriptor = SubFactory(DescriptorFactory, team=SelfAttribute("..team"), by=SelfAttribute("..by"))


class FlightFactory(DjangoModelFactory[Flight]):
    """A flight that is being tasted."""

    class Meta:
        model = Flight

    id = LazyFunction(uuid4)
    team = SubFactory(TeamFactory)
    by = SubFactory(UserFactory)
    name = "Samples"
    state = "tasting"
    protocol = "covered_bowl"
    cups_per_sitting = 3
    seed = 1
    created_at = NOON


class FlightCupFactory(DjangoModelFactory[FlightCup]):
    """A coded cup of a flight of its own."""

    class Meta:
        model = FlightCup

    lot = SubFactory(LotFactory)
    team = SelfAttribute("lot.team")
    taster = SubFactory(UserFactory)
    flight = SubFactory(FlightFactory, team=SelfAttribute("..team"), by=SelfAttribute("..taster"))
    sitting = 1
    position = 1
    code = 417


class EscapedJSON(JSONRenderer):
    """Escapes what is not ASCII, so that a lone surrogate can be sent as well."""

    ensure_ascii = True


class Phone(APIClient):
    """A client that speaks JSON."""

    default_format = "json"
    renderer_classes_list = [EscapedJSON]


@dataclass(frozen=True, slots=True)
class Person:
    """Someone with a place in a team and a device that is signed in."""

    member: Member
    token: str
    device: DeviceToken
    client: Phone

    @property
    def team(self) -> Team:
        return self.member.team

    @property
    def user(self) -> User:
        return self.member.user


def phone(token=None):
    """Return a client that sends this bearer token, or none."""
    client = Phone()
    if token is not None:
        client.credentials(HTTP_AUTHORIZATION=f"Bearer {token}")
    return client


def person(team, role, **user):
    """Make a member of the team, signed in on one device."""
    member = MemberFactory(team=team, role=role, user=UserFactory(**user))
    token = secrets.token_urlsafe(32)
    return Person(member, token, DeviceTokenFactory(member=member, token=token), phone(token))


def web_browser(**given):
    """Return a browser without a session, which asks for pages; ``given`` as Django's client takes it."""
    return Client(headers={"Accept": "text/html"}, **given)
