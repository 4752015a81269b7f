"""The state that a push reads and works on: the records its changes name, and those that these refer to."""

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, field
from typing import NamedTuple
from uuid import UUID

from lots.schema import uuid_of
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from tastings.actions.quotas import RecordAllowance
from tastings.models import FlightCup
from tastings.schemas import RECORD_SCHEMAS
from teams.models import Member

Records = dict[str, dict[UUID, PendingRecord]]
_REFERRED_TO = {field.to for schema in RECORD_SCHEMAS.values() for field in schema.references}


class MergeTarget(NamedTuple):
    """The descriptor that another one was merged into."""

    id: UUID
    key: str


class StoredDescriptor(NamedTuple):
    """What a push needs of a stored descriptor: each push names a dozen, and their rows are wide."""

    id: UUID
    removed: bool
    merged_into: MergeTarget | None


@dataclass(slots=True, kw_only=True)
class PushState:
    """What `tastings.actions.push.reading` has read, and what the accepted changes have made of it."""

    member: Member
    revision: int
    """The team's, under which nothing of this push is stored yet."""
    records: Records
    """By type and id."""
    used_ids: Collection[UUID]
    """Named ids that are in use, in any team and by whatever kind of row."""
    ids_of_several_types: bool
    """Whether the changes name one id as that of two types of records."""
    built_in: set[UUID]
    """Named descriptors that every team has and none may change."""
    descriptors: Mapping[str, Sequence[StoredDescriptor]]
    """Stored descriptors by key, live ones first."""
    allowance: RecordAllowance
    shops: set[UUID] = field(default_factory=set)
    """Named shops of the team."""
    samples: Mapping[UUID, UUID | None] = field(default_factory=dict)
    """By stored lot the sample it was bought from, of the lots that changes name and all that follow from them."""
    cups: Mapping[UUID, FlightCup] = field(default_factory=dict)
    """Named cups of flights, by id: the member's own."""

    def find(self, type_name: str, record: object) -> PendingRecord | None:
        """Return the record if it exists for the member, stored or accepted in this push."""
        pending = self.records[type_name].get(uuid_of(str(record)))
        return pending if pending is not None and pending.exists else None

    def record_of(self, change: Change) -> PendingRecord:
        """Return the record that a change is about, a new one if there is none."""
        records = self.records[change.type]
        if (known := records.get(change.id)) is not None:
            return known
        records[change.id] = pending = PendingRecord(RECORD_SCHEMAS[change.type], change.id, None)
        return pending

    def is_of_another_type(self, change: Change) -> bool:
        """Whether a record of another type has got the change's id in this push: ids are one space."""
        if not self.ids_of_several_types:
            return False
        return any(
            change.id in records and records[change.id].exists
            for name, records in self.records.items()
            if name != change.type
        )

    def sample_of(self, lot: UUID) -> UUID | None:
        """Return the sample that a lot was bought from, as this push leaves it."""
        pending = self.records["lot"].get(lot)
        if pending is None or not pending.exists:
            return self.samples.get(lot)
        sample = pending.values.get("from_lot")
        return None if sample is None else uuid_of(str(sample))

    def session_of(self, pending: PendingRecord) -> PendingRecord:
        """Return the session of an infusion or note."""
        return self.records["session"][uuid_of(str(pending.values["session"]))]

    def deleted_ids(self) -> set[str]:
        """Return the ids of the deleted records that others may refer to, as this push leaves them."""
        return {
            str(pending.id)
            for name in self.records.keys() & _REFERRED_TO
            for pending in self.records[name].values()
            if pending.exists and pending.current.removed
        }

    def dirty(self, type_name: str) -> list[PendingRecord]:
        """Return the records of a type that must be stored."""
        return [pending for pending in self.records[type_name].values() if pending.dirty]

    def descriptor_id(self, key: object) -> UUID | None:
        """Return the descriptor with this key: a live one, else one merged into another, else a deleted one."""
        if (live := self._live_descriptor(key)) is not None:
            return live
        if (target := self.merge_target(key)) is not None:
            return target.id
        for pending in self.records["descriptor"].values():
            if pending.exists and pending.values["key"] == key:
                return pending.id
        return next((stored.id for stored in self.descriptors.get(str(key), ())), None)

    def merge_target(self, key: object) -> MergeTarget | None:
        """Return the descriptor that the one with this key was merged into; None while a live one has the key."""
        if self._live_descriptor(key) is not None:
            return None
        return next((stored.merged_into for stored in self.descriptors.get(str(key), ()) if stored.merged_into), None)

    def _live_descriptor(self, key: object) -> UUID | None:
        for stored in self.descriptors.get(str(key), ()):
            if not stored.removed:
                return stored.id
        for pending in self.records["descriptor"].values():
            if pending.is_live and pending.values["key"] == key:
                return pending.id
        return None
