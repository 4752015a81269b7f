"""How two edits of one record become one record, whatever order they arrive in.

Each field keeps the stamp of the edit that last set it. The later moment wins; a tie goes to the greater device
id, then to what the device's own clock said, and a tie of all (one device, one moment, two values) to the greater
value, so that the outcome depends on the set of edits alone: merging is commutative, associative and idempotent,
field by field. A deletion is an edit of the field ``deleted``; the record is gone while no other field carries a
later stamp.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from typing import NamedTuple

DELETED = "deleted"


class Stamp(NamedTuple):
    """When a value was set, on which device and by whom.

    ``at`` is fixed-width UTC, so comparing texts compares moments. ``claimed`` is what a device said when its
    clock ran ahead and ``at`` was drawn back to the server's; empty otherwise.
    """

    at: str
    device: str
    by: str
    reported: str = ""

    @property
    def said(self) -> str:
        """The moment that the device gave."""
        return self.reported or self.at

    @property
    def order(self) -> tuple[str, str, str]:
        """What decides which of two edits is the later one."""
        return self.at, self.device, self.reported


@dataclass(slots=True)
class StampedRecord:
    """A record as held: its values, the stamp of each, and whether it is gone."""

    values: dict[str, object] = field(default_factory=dict)
    stamps: dict[str, Stamp] = field(default_factory=dict)

    @property
    def removed(self) -> bool:
        """Whether the deletion is the latest word on the record."""
        deletion = self.stamps.get(DELETED)
        return deletion is not None and all(
            stamp.order <= deletion.order for name, stamp in self.stamps.items() if name != DELETED
        )


class LostValue(NamedTuple):
    """A value that is not, or no longer, the current one.

    An edit that was drawn back from the future is kept even where its value is the current one, under another's stamp:
    nothing else would tell that it was heard, and sent again it would be stamped later and win.
    """

    field: str
    value: object
    stamp: Stamp


@dataclass(frozen=True, slots=True)
class MergeOutcome:
    """What a merge did.

    Fields whose value changed, values that lost, whether any stamp moved, and whether some of what was sent lost to
    something newer.
    """

    changed: frozenset[str]
    lost: tuple[LostValue, ...]
    stamped: bool
    outdated: bool


def _merge_order(value: object, stamp: Stamp) -> tuple[str, str, str, str]:
    return *stamp.order, json.dumps(value, sort_keys=True, ensure_ascii=False)


def same_json(a: object, b: object) -> bool:
    """Whether two wire values are the same JSON; Python alone would take true for 1."""
    return a == b and isinstance(a, bool) == isinstance(b, bool)


def merge(held: StampedRecord, sent: Mapping[str, object], stamp: Stamp) -> MergeOutcome:
    """Merge an edit into the held copy, in place.

    Parameters
    ----------
    held : Copy
        The record as known so far; new records start empty.
    sent : mapping
        Field to value, in canonical wire form; ``{"deleted": True}`` for a deletion.
    stamp : Stamp
        When, where and by whom the edit was made.
    """
    changed: set[str] = set()
    lost: list[LostValue] = []
    stamped = outdated = False
    for name, value in sent.items():
        before = held.stamps.get(name)
        current = held.values.get(name)
        if before is not None:
            # the clock that it ran ahead of may have caught up meanwhile
            seen_again = bool(before.reported) and (before.reported, before.device) == (stamp.said, stamp.device)
            if same_json(current, value) and (seen_again or before.order == stamp.order):
                continue
            if _merge_order(value, stamp) <= _merge_order(current, before):
                outdated = True
                if not same_json(current, value) or stamp.reported:
                    lost.append(LostValue(name, value, stamp))
                continue
            if not same_json(current, value) or before.reported:
                lost.append(LostValue(name, current, before))
        if not same_json(current, value):
            changed.add(name)
        held.values[name] = value
        held.stamps[name] = stamp
        stamped = True
    return MergeOutcome(frozenset(changed), tuple(lost), stamped, outdated)


def pack(stamps: Mapping[str, Stamp]) -> list[list[object]]:
    """Return stamps in the form they are stored: one entry per edit with the fields it set, in a fixed order."""
    grouped: dict[Stamp, list[str]] = {}
    for name, stamp in stamps.items():
        grouped.setdefault(stamp, []).append(name)
    return [[*stamp, sorted(names)] for stamp, names in sorted(grouped.items())]


def unpack(stored: Iterable[Iterable[object]]) -> dict[str, Stamp]:
    """Read stamps back from their stored form."""
    stamps: dict[str, Stamp] = {}
    for *parts, names in stored:
        stamp = Stamp(*(str(part) for part in parts))
        for name in names:  # type: ignore[attr-defined]
            stamps[name] = stamp
    return stamps
