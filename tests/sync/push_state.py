"""What a push has read, in memory: a few stored records and what is around them. No database."""

from datetime import UTC, datetime
from uuid import UUID

from lots.merge import Stamp, StampedRecord
from tastings.actions.push.pending import PendingRecord
from tastings.actions.push.state import PushState
from tastings.actions.quotas import RecordAllowance
from tastings.models import FlightCup
from tastings.queries.records import MODELS
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member

NOW = datetime(2026, 3, 4, 12, 30, tzinfo=UTC)
ME, OTHER = UUID(int=1), UUID(int=2)
LOT, SAMPLE, OLDER, SESSION, INFUSION, NOTE, WORD, CUP, SHOP, FREE = (UUID(int=n) for n in range(11, 21))
STAMP = Stamp("2026-03-04T12:00:00.000000Z", str(UUID(int=9)), str(ME))
LATER = STAMP._replace(at="2026-03-04T12:10:00.000000Z")
BREW = {"started_at": "2026-03-04T10:00:00.000000Z", "leaf_g": 5, "vessel_ml": 110}
STORED = {
    "descriptor": {WORD: {"key": "wet_slate", "label": "wet slate"}},
    "lot": {
        LOT: {"name": "Ridge", "kind": "oolong", "from_lot": str(SAMPLE)},
        SAMPLE: {"name": "Ridge", "kind": "oolong"},
        OLDER: {"name": "Old", "kind": "oolong"},
    },
    "pot": {},
    "session": {SESSION: {**BREW, "lot": str(LOT), "private": False, "flight_cup": None}},
    "infusion": {INFUSION: {"session": str(SESSION), "number": 1, "steep_s": 10, "kettle_c": 99}},
    "note": {NOTE: {"session": str(SESSION), "moment": "mouth", "text": "wet stone"}},
}


def pending(kind, record, values, *, revision=7):
    """Return a stored record that `OTHER` made."""
    stored = StampedRecord(dict(values), dict.fromkeys(values, STAMP))
    row = MODELS[kind](id=record, **{"taster_id" if kind == "session" else "author_id": OTHER})
    return PendingRecord(RECORD_SCHEMAS[kind], record, row, stored, stored.copy(), revision=revision)


def state_with(role="buyer", **others):
    """Return what a push has read of the stored records, or this instead."""
    member = Member(user_id=ME, team_id=UUID(int=5), role=role)
    records = {
        kind: {record: pending(kind, record, values) for record, values in rows.items()}
        for kind, rows in STORED.items()
    }
    read = {
        "member": member,
        "revision": 7,
        "records": records,
        "used_ids": set(),
        "ids_of_several_types": False,
        "built_in": set(),
        "descriptors": {},
        "allowance": RecordAllowance(member, used={}),
        "shops": {SHOP},
        "samples": {},
        "cups": {CUP: FlightCup(id=CUP)},
    }
    return PushState(**{**read, **others})
