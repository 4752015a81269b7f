"""A record while a push works on it: what is held, what the changes make of it, what they overwrote."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from uuid import UUID

from lots.merge import LostValue, MergeOutcome, Stamp, StampedRecord, merge
from lots.models import Synced
from lots.schema import RecordSchema, stamp_moment
from tastings.actions.push.change import Change


def _fork(copy: StampedRecord) -> StampedRecord:
    return StampedRecord(dict(copy.values), dict(copy.stamps))


@dataclass(slots=True)
class Draft:
    """One record in the making. ``row`` is None while it is new; ``held`` is what the database has."""

    schema: RecordSchema
    id: UUID
    row: Synced | None
    held: StampedRecord = field(default_factory=StampedRecord)
    copy: StampedRecord = field(default_factory=StampedRecord)
    lost: list[LostValue] = field(default_factory=list)
    dirty: bool = False
    revision: int | None = None
    """The revision under which it is, or will be, stored."""

    @classmethod
    def of_row(cls, row: Synced) -> "Draft":
        """Start from what is stored."""
        held = row.stamped()
        return cls(row.schema, row.id, row, held, _fork(held), revision=row.revision)

    @property
    def exists(self) -> bool:
        """Whether others may refer to it: stored already, or accepted in this push."""
        return self.row is not None or self.dirty

    @property
    def values(self) -> Mapping[str, object]:
        """The present values in wire form."""
        return self.copy.values

    def attempt(self, change: Change, *, device: UUID, by: UUID, now: datetime) -> tuple[StampedRecord, MergeOutcome]:
        """Merge the change into a fork of the present copy; nothing is taken over yet."""
        trial = _fork(self.copy)
        stamp = change.stamp or self._latest(device=device, by=by, now=now)
        return trial, merge(trial, change.fields, stamp)

    def accept(self, trial: StampedRecord, outcome: MergeOutcome) -> None:
        """Take over what was attempted."""
        self.copy = trial
        self.lost += outcome.lost
        self.dirty = self.dirty or outcome.stamped

    def restart(self) -> None:
        """Forget every change of this push."""
        self.copy, self.lost, self.dirty = _fork(self.held), [], False

    def _latest(self, *, device: UUID, by: UUID, now: datetime) -> Stamp:
        """Return a stamp after every one held, for an edit made with the present state in view."""
        at = now
        if self.copy.stamps:
            last = datetime.fromisoformat(max(stamp.at for stamp in self.copy.stamps.values()))
            at = max(now, last.astimezone(UTC) + timedelta(microseconds=1))
        return Stamp(stamp_moment(at.isoformat()), str(device), str(by))
