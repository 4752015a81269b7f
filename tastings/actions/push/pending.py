"""A record while a push works on it: what is stored, what the changes make of it, which values they overwrite."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from uuid import UUID

from lots.merge import DELETED, LostValue, MergeOutcome, Stamp, StampedRecord, merge, same_json
from lots.models import Synced
from lots.schema import RecordSchema, format_stamp
from tastings.actions.push.change import Change


@dataclass(slots=True)
class PendingRecord:
    """One record of a push: as it is stored, and with the accepted changes; ``row`` is None for a new one."""

    schema: RecordSchema
    id: UUID
    row: Synced | None
    stored: StampedRecord = field(default_factory=StampedRecord)
    current: StampedRecord = field(default_factory=StampedRecord)
    lost: list[LostValue] = field(default_factory=list)
    dirty: bool = False
    """Whether it must be stored."""
    revision: int | None = None
    """The revision under which it is, or will be, stored."""

    @classmethod
    def from_row(cls, row: Synced) -> "PendingRecord":
        """Start from what is stored."""
        stored = row.stamped()
        return cls(row.schema, row.id, row, stored, stored.copy(), revision=row.revision)

    @property
    def exists(self) -> bool:
        """Whether other records may refer to it: stored already, or accepted in this push."""
        return self.row is not None or self.dirty

    @property
    def is_live(self) -> bool:
        """Whether it exists and is not deleted."""
        return self.exists and not self.current.removed

    @property
    def values(self) -> Mapping[str, object]:
        """The current values in wire form."""
        return self.current.values

    def changes_field(self, name: str) -> bool:
        """Whether this push changes the field of a stored record."""
        return self.dirty and self.row is not None and self.stored.values[name] != self.values[name]

    def try_merge(self, change: Change, *, device: UUID, by: UUID, now: datetime) -> tuple[StampedRecord, MergeOutcome]:
        """Merge the change into a copy of the current record; `accept` takes it over."""
        merged = self.current.copy()
        stamp = change.stamp or self._latest_stamp(device=device, by=by, now=now)
        if stamp.reported:
            stamp = self._placed(stamp, change)
        return merged, merge(merged, change.fields, self._numbered(stamp, change))

    def _placed(self, stamp: Stamp, change: Change) -> Stamp:
        """Return the stamp of a change from a clock ahead of ours: it counts as made when it is received.

        So it comes after what was received before, which may be stamped up to two minutes ahead, but before a later
        change of the same device.
        """
        concerned = self.current.stamps
        if not change.deletes:
            concerned = {name: concerned[name] for name in (*change.fields, DELETED) if name in concerned}
        own_later = [past.at for past in concerned.values() if past.device == stamp.device and _is_later(past, stamp)]
        others = [past.at for past in concerned.values() if past.device != stamp.device or _is_later(stamp, past)]
        at = stamp.at
        if others and (latest := max(others)) >= at:
            at = _moved(latest, by_us=1)
        if own_later and (earliest := min(own_later)) <= at:
            at = _moved(earliest, by_us=-1)
        return stamp._replace(at=at)

    def _numbered(self, stamp: Stamp, change: Change) -> Stamp:
        """Return the stamp with a number after those of the same device and moment, if the device gives none.

        Of two values that a device sent for one moment the later one wins. One that lost before is left out of the
        change already, so that sending it again does not bring it back.
        """
        if stamp.seq or not self.current.stamps:
            return stamp
        ties = [
            before.seq
            for name, value in change.fields.items()
            if (before := self.current.stamps.get(name)) is not None
            and before.order[:3] == stamp.order[:3]
            and not same_json(self.values.get(name), value)
        ]
        return stamp._replace(seq=max(ties) + 1) if ties else stamp

    def accept(self, merged: StampedRecord, outcome: MergeOutcome) -> None:
        """Take over what `try_merge` returned."""
        self.current = merged
        self.lost += outcome.lost
        self.dirty = self.dirty or outcome.stamped

    def reset(self) -> None:
        """Undo every change of this push."""
        self.current, self.lost, self.dirty = self.stored.copy(), [], False

    def _latest_stamp(self, *, device: UUID, by: UUID, now: datetime) -> Stamp:
        """Return a stamp later than all of the record's, for a change made on its current state."""
        if self.current.stamps:
            latest = max(stamp.at for stamp in self.current.stamps.values())
            return Stamp(max(format_stamp(now), _moved(latest, by_us=1)), str(device), str(by))
        return Stamp(format_stamp(now), str(device), str(by))


def _is_later(stamp: Stamp, other: Stamp) -> bool:
    """Whether a device made one change after the other, whatever moment the server gave them."""
    if stamp.seq and other.seq:
        return stamp.seq > other.seq
    return stamp.reported_at > other.reported_at


def _moved(at: str, *, by_us: int) -> str:
    return format_stamp(datetime.fromisoformat(at) + timedelta(microseconds=by_us))
