"""Which rows an export holds: an owner's or the operator's.

An owner's export holds what the owner may see, as `tastings.queries.records.visible_records` says. The operator's,
made at the command line of the server, holds the whole team.
"""

from dataclasses import dataclass

from django.db.models import Exists, OuterRef, Q, QuerySet

from lots.models import FieldHistory, Synced
from tastings.models import (
    Flight,
    FlightCup,
    FlightLot,
    FlightMember,
    Photo,
    PhotoContent,
    TeamLogo,
    Trial,
    TriangleTaster,
    TriangleTest,
)
from tastings.queries.records import MODELS, visible_records, with_descriptors
from teams.models import Member, Shop, Team

OPEN_STATES = (Flight.State.REVEALED, Flight.State.DECIDED, Flight.State.CALLED_OFF)
"""States of flights in which the export may show which code is which lot."""
_ENDED = (Photo.State.STORED, Photo.State.REFUSED)


@dataclass(frozen=True, slots=True)
class ExportScope:
    """The rows of one team that an export holds: all, or what one member may see."""

    team: Team
    member: Member | None = None

    @property
    def is_operator(self) -> bool:
        """Whether it is the operator's."""
        return self.member is None

    def records(self, type_name: str) -> QuerySet[Synced]:
        """Return records of a type, deleted ones included, in the order of their revisions."""
        if self.member is None:
            rows = with_descriptors(MODELS[type_name]._default_manager.filter(team_id=self.team.id))
        else:
            rows = visible_records(self.member, type_name).filter(team_id=self.team.id)
            if (cup_lookup := _CUP_LOOKUP.get(type_name)) is not None:
                open_flight = Q(**{f"{cup_lookup}flight__state__in": OPEN_STATES})
                rows = rows.filter(Q(**{cup_lookup.removesuffix("__"): None}) | open_flight)
        return rows.order_by("revision")

    def history(self) -> QuerySet[FieldHistory]:
        """Return overwritten values of those records."""
        rows = FieldHistory.objects.filter(team_id=self.team.id)
        if not self.is_operator:
            of_these = Q()
            for type_name in MODELS:
                record = self.records(type_name).order_by().filter(id=OuterRef("record"))
                of_these |= Q(Exists(record), type=type_name)
            rows = rows.filter(of_these)
        return rows.order_by("id")

    def photos(self) -> QuerySet[Photo]:
        """Return photos that have arrived, of these sessions and of lots."""
        rows = Photo.objects.filter(team_id=self.team.id, state__in=_ENDED)
        if not self.is_operator:
            session = self.records("session").order_by().filter(id=OuterRef("session_id"))
            rows = rows.filter(Q(lot__isnull=False) | Q(Exists(session)))
        return rows.order_by("id")

    def photo_contents(self) -> QuerySet[PhotoContent]:
        """Return the pictures of those photos and of the logo."""
        photo = self.photos().order_by().filter(content_id=OuterRef("id"))
        logo = self.logo().filter(content_id=OuterRef("id"))
        return PhotoContent.objects.filter(Exists(photo) | Exists(logo), team_id=self.team.id).order_by("id")

    def logo(self) -> QuerySet[TeamLogo]:
        """Return the team's logo, if it has a picture."""
        return TeamLogo.objects.filter(team_id=self.team.id, content__isnull=False)

    def triangle_tests(self) -> QuerySet[TriangleTest]:
        """Return the team's triangle tests."""
        return TriangleTest.objects.filter(team_id=self.team.id).order_by("id")

    def triangle_tasters(self) -> QuerySet[TriangleTaster]:
        """Return who is to taste in them."""
        return TriangleTaster.objects.filter(team_id=self.team.id).order_by("id")

    def trials(self) -> QuerySet[Trial]:
        """Return the answers given in them, withdrawn ones included."""
        return Trial.objects.filter(test__team_id=self.team.id).order_by("id")

    def flights(self) -> QuerySet[Flight]:
        """Return flights; an owner's export has none in which a code must not meet a name yet."""
        rows = Flight.objects.filter(team_id=self.team.id)
        return (rows if self.is_operator else rows.filter(state__in=OPEN_STATES)).order_by("id")

    def flight_lots(self) -> QuerySet[FlightLot]:
        """Return their candidates."""
        return FlightLot.objects.filter(flight__in=self.flights().order_by()).order_by("flight_id", "lot_id")

    def flight_members(self) -> QuerySet[FlightMember]:
        """Return who tastes or pours in them."""
        return FlightMember.objects.filter(flight__in=self.flights().order_by()).order_by("flight_id", "user_id")

    def flight_cups(self) -> QuerySet[FlightCup]:
        """Return their coded cups."""
        return FlightCup.objects.filter(flight__in=self.flights().order_by()).order_by("id")

    def shops(self) -> QuerySet[Shop]:
        """Return the team's shops."""
        return Shop.objects.filter(team_id=self.team.id).order_by("id")

    def members(self) -> QuerySet[Member]:
        """Return the team's members, those who left included, since records still name them."""
        return Member.objects.filter(team_id=self.team.id).order_by("user_id")

    def settings(self) -> QuerySet[Team]:
        """Return the team itself."""
        return Team.objects.filter(id=self.team.id)


_CUP_LOOKUP = {"session": "flight_cup__", "infusion": "session__flight_cup__", "note": "session__flight_cup__"}
