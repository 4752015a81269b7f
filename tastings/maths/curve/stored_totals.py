"""Taster totals kept from one fit to the next, so that a new session costs its own sums and one addition.

A fit wants, for each descriptor and taster, the total over that taster's sessions. What is kept is the total together
with the sessions in it. When next asked for nearly the same sessions, the kept total is taken, the sums of what is new
are added, and those of what is gone (removed, or the old version of an edit) are taken away. A session is known by its
content, everything its sums are made of (:attr:`tastings.maths.curve.sufficient_statistics.Tasted.key`), not by its
name; an edit of it, or a new estimate of its taster's gain, is another content. Totals are whole numbers, so the
result equals that of a cold fit bit for bit.

The store belongs to one process and dies with it, so no version of the method need be part of the key. A total on the
usual grid is 44 x 2688 whole numbers, 0.90 MiB, and each session in it takes about 3 KiB; 64 MiB hold some 65 totals, a
dozen descriptors of a team of five. The least recently used goes first.
"""

from collections import Counter, OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock

import numpy as np

from tastings.maths.arrays import IntArray
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.curve.sufficient_statistics import Tasted, empty_total, session_sums

MOST_BYTES = 64 * 2**20
SESSION_BYTES = 3 * 1024
"""What a kept session takes beside the total: eight short arrays, its key, and the objects around them."""

Group = tuple[str, str]
"""Descriptor and taster."""
_Content = tuple[Group, tuple[int, int, int], bytes, int]
"""Group, size of the grid, key of a session, and how many of the same key came before it."""
_Sessions = Mapping[_Content, Tasted]


@dataclass(frozen=True, slots=True)
class _Change:
    """One session that joins a group's total or leaves it."""

    group: Group
    tasted: Tasted
    goes: bool


@dataclass(frozen=True, slots=True)
class _Entry:
    total: IntArray
    sessions: _Sessions

    @property
    def n_bytes(self) -> int:
        return self.total.nbytes + SESSION_BYTES * len(self.sessions)


class Kept:
    """A bounded store of totals; safe to share between threads."""

    def __init__(self, *, most_bytes: int = MOST_BYTES) -> None:
        self.most_bytes = most_bytes
        self.n_bytes = 0
        self.n_summed = 0
        """Sessions whose sums were computed since the store was made."""
        self._entries: OrderedDict[int, _Entry] = OrderedDict()
        self._where: dict[_Content, int] = {}
        self._next = 0
        self._lock = Lock()

    def totals(self, groups: Mapping[Group, Sequence[Tasted]], *, grid: Grid) -> dict[Group, IntArray]:
        """Return the total of each group of sessions, as `sufficient_statistics.added` would.

        Parameters
        ----------
        groups : Mapping[tuple[str, str], Sequence[Tasted]]
            Sessions by descriptor and taster.
        grid : Grid
            Where the cups are computed, from :func:`tastings.maths.brewing.extraction.make_grid`: its size stands for
            it.

        Returns
        -------
        dict[tuple[str, str], int64[2 + 6 n_sigma, n_nodes]]
            In the order of the groups; not to be written to.
        """
        with self._lock:
            wanted = {group: _told_apart(group, sessions, grid=grid) for group, sessions in groups.items()}
            nearest = {group: self._nearest(sessions) for group, sessions in wanted.items()}
            kept = {group: self._entries[number] for group, number in nearest.items() if number is not None}
            changes = [
                change
                for group, sessions in wanted.items()
                for change in _changes(group, sessions, kept=kept[group].sessions if group in kept else {})
            ]
            self.n_summed += len(changes)
            totals = _changed({group: kept[group].total for group in kept}, changes=changes, grid=grid)
            for group, sessions in wanted.items():
                total = totals.setdefault(group, empty_total(grid=grid))
                total.setflags(write=False)
                self._put(_Entry(total=total, sessions=sessions), instead_of=nearest[group])
            return {group: totals[group] for group in groups}

    def forget(self) -> None:
        """Drop everything kept."""
        with self._lock:
            self._entries.clear()
            self._where.clear()
            self.n_bytes = 0

    def _nearest(self, sessions: _Sessions) -> int | None:
        """Return the kept total from which the fewest sessions are to be added or taken away, if that pays."""
        shared = Counter(self._where[content] for content in sessions if content in self._where)
        if not shared:
            return None
        number, n_shared = max(shared.items(), key=lambda one: (one[1], one[0]))
        n_changes = len(self._entries[number].sessions) + len(sessions) - 2 * n_shared
        return number if n_changes < len(sessions) else None

    def _put(self, entry: _Entry, *, instead_of: int | None) -> None:
        if instead_of is not None:
            self._drop(instead_of)
        number, self._next = self._next, self._next + 1
        self._entries[number] = entry
        self._where.update(dict.fromkeys(entry.sessions, number))
        self.n_bytes += entry.n_bytes
        while self.n_bytes > self.most_bytes:
            self._drop(next(iter(self._entries)))

    def _drop(self, number: int) -> None:
        entry = self._entries.pop(number, None)
        if entry is None:
            return
        self.n_bytes -= entry.n_bytes
        for content in entry.sessions:
            if self._where.get(content) == number:
                del self._where[content]


KEPT = Kept()
"""The store of this process."""


def _told_apart(group: Group, sessions: Sequence[Tasted], *, grid: Grid) -> _Sessions:
    """Key the sessions by content; two of the same content are two."""
    seen: Counter[bytes] = Counter()
    found: dict[_Content, Tasted] = {}
    for one in sessions:
        key = one.key
        found[group, grid.shape, key, seen[key]] = one
        seen[key] += 1
    return found


def _changes(group: Group, sessions: _Sessions, *, kept: _Sessions) -> Iterator[_Change]:
    for content, one in sessions.items():
        if content not in kept:
            yield _Change(group=group, tasted=one, goes=False)
    for content, one in kept.items():
        if content not in sessions:
            yield _Change(group=group, tasted=one, goes=True)


def _changed(totals: Mapping[Group, IntArray], *, changes: Sequence[_Change], grid: Grid) -> dict[Group, IntArray]:
    """Apply the changes; cups that several descriptors share are computed once."""
    by_steeping: dict[int, list[_Change]] = {}
    for change in changes:
        by_steeping.setdefault(id(change.tasted.steeping), []).append(change)
    found = dict(totals)
    own: set[Group] = set()
    for together in by_steeping.values():
        of_all_pours = cup_strength(together[0].tasted.steeping, grid=grid)
        for change in together:
            if change.group not in own:
                own.add(change.group)
                found[change.group] = found[change.group].copy() if change.group in found else empty_total(grid=grid)
            total = found[change.group]
            sums = session_sums(change.tasted, of_all_pours=of_all_pours, grid=grid)
            (np.subtract if change.goes else np.add)(total, sums, out=total)
    return found
