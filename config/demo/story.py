"""The demo as records: what each phone sends, ready for sync, the same on every run.

Ids are made from the team's own id, so that two installations, or two demo teams, never share one. Each record is
stamped with the moment it was written down in the story; nothing lies in the future.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime, time, timedelta
from uuid import UUID, uuid5

from config.demo.company import BUYER, PEOPLE, DemoShop, Person
from config.demo.lots import LOTS, DemoLot
from config.demo.sessions import FIRST_ON, VESSELS_BY_SHOP, DemoSession, DemoVessel, demo_sessions
from config.demo.simulated_cups import simulate_session
from tastings.maths.brewing.brews import Brew, Pour

ChangePayload = dict[str, object]

_LATER_MOMENTS = ("wet_leaf", "spent_leaf", "empty_cup")
_FINISH = {
    "rock": ("returning_sweetness", "Stays in the throat long after the cup is empty."),
    "rolled": ("returning_sweetness", "Sweet and flowery, for a minute or more."),
    "green": ("clean_finish", "Clean, soon gone."),
    "white": ("mouthwatering", "Soft; comes back slowly."),
    "black": ("short_finish", "Honey, then a little dryness at the gums."),
    "dark": ("clean_finish", "Smooth, earthy, no catch."),
}
_BODY = {
    "rock": ("warming", "Warm hands after the fourth cup."),
    "dark": ("warming", "Feels like a coat on a wet day."),
    "white": ("body_feeling", "Light; nothing stands out."),
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Message:
    """What one person's phone sends in one go."""

    person: Person
    lot: DemoLot | None
    """Whose session it is; None for the list of lots and pots."""
    changes: list[ChangePayload]


def demo_device_id(team: UUID, person: Person) -> UUID:
    """Return the id of this person's phone."""
    return uuid5(team, f"demo phone {person.username}")


def lot_id(team: UUID, lot: DemoLot) -> UUID:
    """Return the lot's id."""
    return uuid5(team, f"demo lot {lot.handle}")


def pot_id(team: UUID, shop: DemoShop, pot: DemoVessel) -> UUID:
    """Return the id of a pot on a shop's shelf."""
    return uuid5(team, f"demo pot {shop.name} {pot.name}")


def session_id(team: UUID, demo_session: DemoSession) -> UUID:
    """Return the session's id."""
    return uuid5(team, f"demo session {demo_session.lot.handle} {demo_session.number}")


def messages(team: UUID, *, shops: Mapping[str, str | None]) -> Iterator[Message]:
    """Yield the whole story: the lists of lots and pots, then each lot's sessions in the order they took place.

    Ids are made from ``team``; ``shops`` are ids by user name: a session takes place in its taster's shop.
    """
    buyer = next(person for person in PEOPLE if person.role == BUYER)
    yield Message(person=buyer, lot=None, changes=[*(_lot(team, lot) for lot in LOTS), *_pots(team, shops=shops)])
    for lot in LOTS:
        for demo_session in demo_sessions(lot):
            changes = list(_session(team, demo_session, shop=shops.get(demo_session.person.username)))
            yield Message(person=demo_session.person, lot=lot, changes=changes)


def _lot(team: UUID, lot: DemoLot) -> ChangePayload:
    fields = dict(lot.fields)
    if lot.bought_from is not None:
        fields["from_lot"] = str(lot_id(team, next(other for other in LOTS if other.handle == lot.bought_from)))
    at = datetime.fromisoformat(f"{lot.fields['arrived_on']}T16:00:00Z")
    return _change("lot", lot_id(team, lot), at=at, fields=fields)


def _pots(team: UUID, *, shops: Mapping[str, str | None]) -> Iterator[ChangePayload]:
    at = datetime.combine(FIRST_ON, time(7), UTC)
    for shop, shelf in VESSELS_BY_SHOP.items():
        place = next(shops.get(person.username) for person in PEOPLE if person.shop == shop)
        for pot in shelf:
            fields = {
                "name": pot.name,
                "vessel_ml": pot.vessel_ml,
                "vessel_material": pot.material,
                "vessel_g": pot.vessel_g,
                "pour_s": pot.pour_s,
                "shop": place,
            }
            yield _change("pot", pot_id(team, shop, pot), at=at, fields=fields)


def _session(team: UUID, demo_session: DemoSession, *, shop: str | None) -> Iterator[ChangePayload]:
    brew = simulate_session(demo_session)
    lot, started_at = demo_session.lot, demo_session.started_at
    session = session_id(team, demo_session)
    fields: dict[str, object] = {
        "lot": str(lot_id(team, lot)),
        "shop": shop,
        "started_at": _moment(started_at),
        "leaf_g": brew.leaf_g,
        "vessel_ml": brew.vessel_ml,
        "vessel_material": brew.vessel_material,
        "vessel_g": brew.vessel_g,
        "warmed": brew.warmed,
        "room_c": brew.room_c,
        "altitude_m": brew.altitude_m,
        "pot": str(pot_id(team, demo_session.person.shop, demo_session.pot)),
        "water": demo_session.person.shop.water,
        "purpose": demo_session.purpose,
        "private": demo_session.private,
    }
    yield _change("session", session, at=started_at, fields=fields)
    poured_at = started_at + timedelta(minutes=3)
    for pour in brew.pours:
        # The phone notes an infusion when the cup is full, and the words while the next pour waits.
        filled_at = poured_at + timedelta(seconds=pour.steep_s + (pour.pour_s or 0.0))
        infusion = uuid5(session, f"infusion {pour.number}")
        yield _change(
            "infusion", infusion, at=filled_at, fields=_pour(session, pour, demo_session, poured_at=poured_at)
        )
        yield from _notes_of_pour(session, infusion, pour, at=filled_at + timedelta(seconds=15))
        poured_at = filled_at + timedelta(seconds=pour.rest_s or 60.0)
    yield from _looks(session, demo_session, brew, started_at=started_at, ended_at=poured_at)
    ending = {"ending": brew.ending, "more_low": brew.more_low, "more_high": brew.more_high}
    yield _change("session", session, at=poured_at, fields={**ending, "remarks": demo_session.remarks or None})


def _pour(session: UUID, pour: Pour, demo_session: DemoSession, *, poured_at: datetime) -> dict[str, object]:
    return {
        "session": str(session),
        "number": pour.number,
        "steep_s": pour.steep_s,
        "pour_s": pour.pour_s,
        "kettle_c": pour.kettle_c,
        "water_ml": pour.water_ml,
        "rest_s": pour.rest_s,
        "poured_at": _moment(poured_at),
        "tasted": pour.tasted,
        "remarks": demo_session.pour_remarks.get(pour.number),
    }


def _notes_of_pour(session: UUID, infusion: UUID, pour: Pour, *, at: datetime) -> Iterator[ChangePayload]:
    for key, rating in pour.ratings.items():
        noted = {"moment": "mouth", "descriptor": key, "intensity": rating}
        yield _note(session, noted, infusion=infusion, at=at)
    for key in sorted(pour.noted):
        yield _note(session, {"moment": "mouth", "descriptor": key}, infusion=infusion, at=at)


def _looks(
    session: UUID, demo_session: DemoSession, brew: Brew, *, started_at: datetime, ended_at: datetime
) -> Iterator[ChangePayload]:
    """Yield what belongs to the session as a whole: the leaf dry, warmed, wet and spent, the finish and the body."""
    for moment, keys in demo_session.lot.looks.items():
        if moment == "warmed_leaf" and not brew.warmed:
            continue
        late = moment in _LATER_MOMENTS
        at = ended_at - timedelta(seconds=20) if late else started_at + timedelta(seconds=40)
        for key in keys:
            yield _note(session, {"moment": moment, "descriptor": key}, at=at)
    if demo_session.number % 2 == 0:
        key, text = _FINISH[demo_session.lot.style]
        yield _note(session, {"moment": "finish", "descriptor": key, "text": text}, at=ended_at - timedelta(seconds=10))
    if demo_session.number % 3 == 1 and demo_session.lot.style in _BODY:
        key, text = _BODY[demo_session.lot.style]
        yield _note(session, {"moment": "body", "descriptor": key, "text": text}, at=ended_at - timedelta(seconds=5))


def _note(session: UUID, noted: Mapping[str, object], *, at: datetime, infusion: UUID | None = None) -> ChangePayload:
    fields = {"session": str(session), "infusion": str(infusion) if infusion else None, **noted}
    record = uuid5(infusion or session, f"note {noted['moment']} {noted['descriptor']}")
    return _change("note", record, at=at, fields=fields)


def _change(type_name: str, record: UUID, *, at: datetime, fields: Mapping[str, object]) -> ChangePayload:
    return {"type": type_name, "id": str(record), "at": _moment(at), "fields": dict(fields)}


def _moment(at: datetime) -> str:
    return at.isoformat(timespec="milliseconds").replace("+00:00", "Z")
