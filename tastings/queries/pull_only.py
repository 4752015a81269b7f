"""What phones pull beside their records and never push, as one member may see it: shops, members, flights, photos.

Never more than the member may read by REST.
"""

from collections import defaultdict
from collections.abc import Callable, Collection, Mapping, Sequence
from typing import Literal, cast
from uuid import UUID

from tastings.answers.flights import Protocol, State
from tastings.answers.pull_only import PulledCup, PulledFlight, PulledMember, PulledPhoto, PulledShop, RoleName
from tastings.figures import to_stored
from tastings.models import Flight, FlightCup, FlightLot, FlightMember, Photo
from tastings.queries.photos import visible_photos
from teams.models import Member, Shop

PULL_ONLY: Mapping[str, type[Shop | Member | Flight | Photo]] = {
    "shop": Shop,
    "member": Member,
    "flight": Flight,
    "photo": Photo,
}


def pull_only_fields(member: Member, type_name: str, ids: Collection[UUID]) -> Mapping[UUID, Mapping[str, object]]:
    """Return the fields of those rows that are there for the member, by id."""
    return {row: to_stored(fields, decimals=None) for row, fields in _READ[type_name](member, ids).items()}


def _shops(member: Member, ids: Collection[UUID]) -> Mapping[UUID, PulledShop]:
    rows = Shop.objects.filter(team_id=member.team_id, id__in=ids)
    return {shop.id: PulledShop(name=shop.name, usual_pot=shop.usual_pot) for shop in rows}


def _members(member: Member, ids: Collection[UUID]) -> Mapping[UUID, PulledMember]:
    rows = Member.objects.filter(team_id=member.team_id, user_id__in=ids, left_at=None).select_related("user")
    return {
        row.user_id: PulledMember(
            name=str(row.user),
            username=row.user.username,
            role=cast("RoleName", row.role),
            shop=row.shop_id,
            joined_at=row.joined_at,
        )
        for row in rows
    }


def _photos(member: Member, ids: Collection[UUID]) -> Mapping[UUID, PulledPhoto]:
    return {photo.id: _photo(photo) for photo in visible_photos(member).filter(id__in=ids)}


def _photo(photo: Photo) -> PulledPhoto:
    content, address = photo.content, f"/api/v1/photos/{photo.id}"
    ends: Mapping[str, Literal["kept", "refused"]] = {Photo.State.STORED: "kept", Photo.State.REFUSED: "refused"}
    return PulledPhoto(
        session=photo.session_id,
        lot=photo.lot_id,
        infusion=photo.infusion_id,
        of=photo.of,
        state=ends.get(photo.state, "waiting"),
        reason=photo.reason or None,
        taken_at=photo.taken_at,
        width=content.width if content else None,
        height=content.height if content else None,
        image=f"{address}/image" if content else None,
        thumbnail=f"{address}/thumbnail" if content else None,
        by=photo.by_id,
        created_at=photo.created_at,
    )


def _flights(member: Member, ids: Collection[UUID]) -> Mapping[UUID, PulledFlight]:
    flights = list(Flight.objects.filter(team_id=member.team_id, id__in=ids))
    lots: dict[UUID, list[UUID]] = defaultdict(list)
    for flight, lot in FlightLot.objects.filter(flight__in=flights, out_at=None).values_list("flight_id", "lot_id"):
        lots[flight].append(lot)
    people: dict[tuple[UUID, bool], list[UUID]] = defaultdict(list)
    seats = FlightMember.objects.filter(flight__in=flights, out_at=None).order_by("id")
    for flight, user, pours in seats.values_list("flight_id", "user_id", "pours"):
        people[flight, pours].append(user)
    cups: dict[UUID, list[FlightCup]] = defaultdict(list)
    standing = FlightCup.objects.filter(flight__in=flights, out_at=None)
    for cup in standing.order_by("taster_id", "sitting", "position"):
        cups[cup.flight_id].append(cup)
    return {
        flight.id: PulledFlight(
            name=flight.name,
            state=cast("State", flight.state),
            protocol=cast("Protocol", flight.protocol),
            infusions=flight.infusions,
            remarks=flight.remarks or None,
            lots=sorted(lots[flight.id], key=str),
            tasters=people[flight.id, False],
            pourers=people[flight.id, True],
            reference=flight.reference_id,
            cups=_cups(member, flight, cups[flight.id]),
            by=flight.by_id,
            created_at=flight.created_at,
            revealed_at=flight.revealed_at,
            revealed_by=flight.revealed_by_id,
            reveal_reason=flight.reveal_reason or None,
        )
        for flight in flights
    }


def _cups(member: Member, flight: Flight, cups: Sequence[FlightCup]) -> list[PulledCup]:
    """Return the cups that the member may see, which are their own until the reveal, and without lots until then."""
    return [
        PulledCup(
            id=cup.id,
            code=cup.code,
            taster=cup.taster_id,
            sitting=cup.sitting,
            position=cup.position,
            lot=None if flight.revealed_at is None else cup.lot_id,
        )
        for cup in cups
        if cup.taster_id == member.user_id or flight.revealed_at is not None
    ]


_Pulled = PulledShop | PulledMember | PulledFlight | PulledPhoto
_READ: Mapping[str, Callable[[Member, Collection[UUID]], Mapping[UUID, _Pulled]]] = {
    "shop": _shops,
    "member": _members,
    "flight": _flights,
    "photo": _photos,
}
