"""How two edits of one record become one record, whatever order they arrive in.

Each field keeps the stamp of the edit that last set it. The later moment wins; a tie goes to the greater device
id, then to the greater moment that the device's own clock reported, then (one device, one moment) to the change with
the greater number, then (two values without one) to the greater value. So the result depends on the set of edits
alone: merging is commutative, associative and idempotent, field by field. A deletion is an edit of the field
``deleted``; the record is removed while no other field carries a later stamp.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

DELETED = "deleted"


class Stamp(NamedTuple):
    """When a value was set, on which device and by whom.

    ``at`` is fixed-width UTC, so comparing texts compares moments. ``reported`` is the moment a device reported while
    its clock was ahead, so that ``at`` is the server's moment instead; empty otherwise. ``seq`` is the place among the
    changes of the device; 0 where it is not known.
    """

    at: str
    device: str
    by: str
    reported: str = ""
    seq: int = 0

    @property
    def reported_at(self) -> str:
        """The moment that the device's clock reported."""
        return self.reported or self.at

    @property
    def order(self) -> tuple[str, str, str, int]:
        """What decides which of two edits is the later one."""
        return self.at, self.device, self.reported, self.seq


@dataclass(slots=True)
class StampedRecord:
    """A record's values and the stamp of each."""

    values: dict[str, object] = field(default_factory=dict)
    stamps: dict[str, Stamp] = field(default_factory=dict)

    @property
    def removed(self) -> bool:
        """Whether no other edit is later than the deletion."""
        deletion = self.stamps.get(DELETED)
        return deletion is not None and all(
            stamp.order <= deletion.order for name, stamp in self.stamps.items() if name != DELETED
        )

    def copy(self) -> "StampedRecord":
        """Return a copy that can be merged into without changing this one."""
        return StampedRecord(dict(self.values), dict(self.stamps))


class LostValue(NamedTuple):
    """A value that is not, or no longer, the current one.

    An edit from a clock ahead of ours is listed even where its value is the current one, under another edit's stamp:
    there is no other trace that the server received it, and received again it would get a later stamp and win.
    """

    field: str
    value: object
    stamp: Stamp


@dataclass(frozen=True, slots=True)
class MergeOutcome:
    """What a merge did: the values that lost, whether any stamp changed, and whether some of the edit lost."""

    lost: tuple[LostValue, ...]
    stamped: bool
    outdated: bool


def _merge_order(value: object, stamp: Stamp) -> tuple[str, str, str, int, str]:
    return *stamp.order, json.dumps(value, ensure_ascii=False)


def same_json(a: object, b: object) -> bool:
    """Whether two wire values are the same JSON; Python alone would take true for 1."""
    return a == b and isinstance(a, bool) == isinstance(b, bool)


def merge(record: StampedRecord, edit: Mapping[str, object], stamp: Stamp) -> MergeOutcome:
    """Merge an edit, made at ``stamp``, into a record in place; a new record starts empty.

    ``edit`` is field to value, in canonical wire form; ``{"deleted": True}`` for a deletion.
    """
    lost: list[LostValue] = []
    stamped = outdated = False
    for name, value in edit.items():
        before = record.stamps.get(name)
        if before is not None:
            current = record.values.get(name)
            # the server's clock may have caught up since with a device's clock that was ahead
            reported = stamp.reported_at, stamp.device
            seen_before = bool(before.reported) and (before.reported, before.device) == reported
            if same_json(current, value) and (seen_before or before.order == stamp.order):
                continue
            if _merge_order(value, stamp) <= _merge_order(current, before):
                outdated = True
                if not same_json(current, value) or stamp.reported:
                    lost.append(LostValue(name, value, stamp))
                continue
            if not same_json(current, value) or before.reported:
                lost.append(LostValue(name, current, before))
        record.values[name] = value
        record.stamps[name] = stamp
        stamped = True
    return MergeOutcome(tuple(lost), stamped, outdated)


def pack(stamps: Mapping[str, Stamp]) -> list[list[object]]:
    """Return stamps in the form they are stored: one entry per edit with the fields it set, in a fixed order."""
    grouped: dict[Stamp, list[str]] = {}
    for name, stamp in stamps.items():
        grouped.setdefault(stamp, []).append(name)
    return [[*(stamp if stamp.seq else stamp[:-1]), sorted(names)] for stamp, names in sorted(grouped.items())]


def unpack(stored: Iterable[Iterable[object]]) -> dict[str, Stamp]:
    """Read stamps back from their stored form."""
    stamps: dict[str, Stamp] = {}
    for at, device, by, reported, *rest, names in stored:
        stamp = Stamp(str(at), str(device), str(by), str(reported), int(str(rest[0])) if rest else 0)
        for name in names:  # type: ignore[attr-defined]
            stamps[name] = stamp
    return stamps
