"""The team, its phones and its flight that every story of offline phones begins with."""

import time
from datetime import UTC, datetime, timedelta
from uuid import UUID

from lots.models import Lot
from table.phone import MemoryStore, Phone, PhoneOptions
from tastings.actions.lexicon import load_lexicon
from tastings.models import FlightLot
from tests.factories import DeviceTokenFactory, FlightCupFactory, FlightFactory, TeamFactory, person
from tests.sync.model import Model
from tests.sync.wire import Clock, Wire

MORNING = datetime(2026, 3, 4, 8, tzinfo=UTC)
TOKENS_END_AT = MORNING + timedelta(days=36_500)
NEW: dict[str, dict[str, object]] = {
    "lot": {"name": "Mist Ridge", "kind": "oolong"},
    "session": {"started_at": "2026-03-04T10:00:00Z", "leaf_g": 5, "vessel_ml": 110},
    "infusion": {"steep_s": 10, "kettle_c": 99},
    "note": {"moment": "mouth"},
    "descriptor": {"label": "wet slate"},
}


class World:
    """A team of three with five phones that have one lot, session, infusion and note, and a flight with two cups each.

    Every story is rolled back.
    """

    def __init__(self, clock: Clock) -> None:
        load_lexicon()
        self.clock = clock
        self.clock.now = MORNING
        team = TeamFactory()
        people = [person(team, role) for role in ("owner", "buyer", "taster")]
        self.owner_token = people[0].token
        self.bystander = person(team, "viewer").member
        self.team, self.members = people[0].team, [one.member for one in people]
        self.holders = [self.members[i % 3] for i in range(5)]
        tokens = [f"phone {i}" for i in range(5)]
        self.stores = [MemoryStore(device_id(i)) for i in range(5)]
        for store, token, member in zip(self.stores, tokens, self.holders, strict=True):
            DeviceTokenFactory(token=token, member=member, expires_at=TOKENS_END_AT)
            store.append({"event": "signed", "token": token})
        holders = {store.state.device: str(m.user_id) for store, m in zip(self.stores, self.holders, strict=True)}
        self.model = Model(holders)
        wire = Wire(lambda *received: self.model.receive(*received, role="owner", now=MORNING))
        phones = [Phone(wire, store=store, options=PhoneOptions(clock=clock)) for store in self.stores]
        lot, session, infusion, note = (number_id(n) for n in range(4))
        self.made = [("lot", lot), ("session", session), ("infusion", infusion), ("note", note)]
        phones[0].create("lot", NEW["lot"], record=lot)
        phones[0].create("session", NEW["session"] | {"lot": lot}, record=session)
        phones[0].create("infusion", NEW["infusion"] | {"session": session, "number": 1}, record=infusion)
        of_pour = {"session": session, "infusion": infusion, "descriptor": "strength"}
        phones[0].create("note", NEW["note"] | of_pour, record=note)
        for phone in phones:
            phone.sync()
        self.flight, self.cups = half_a_flight(people, lot)
        self.played, self.began = 0, time.monotonic()


def half_a_flight(people, lot):
    """Make a flight that is being tasted, with two cups for each; return its id and the cups' ids by taster."""
    _, buyer, _ = people
    tea = Lot.objects.get(id=lot)
    flight = FlightFactory(team=buyer.team, by=buyer.user)
    FlightLot.objects.create(flight=flight, team=buyer.team, lot=tea)
    cups = {}
    for seat, who in enumerate(people):
        mine = {"flight": flight, "lot": tea, "team": buyer.team, "taster": who.user}
        made = [FlightCupFactory(**mine, position=place, code=200 + 10 * seat + place) for place in (1, 2)]
        cups[who.user.id] = [str(cup.id) for cup in made]
    return flight.id, cups


def device_id(number: int) -> str:
    """Return the id of a device; the later one wins at the same moment."""
    return str(UUID(int=0x7000_8000 << 64 | number))


def number_id(number: int) -> str:
    """Ids are part of a story that is played again, so they come from no clock and no chance."""
    return str(UUID(int=0x7_0000_8000 << 60 | number))
