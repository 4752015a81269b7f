"""Caches the totals of tasters between fits, so that a new session costs its own statistics and one addition.

A fit needs, for each descriptor and taster, the total over that taster's sessions. A cache entry is a total with the
sessions in it. A request for nearly the same sessions starts from that total, adds the statistics of new sessions
and subtracts those of removed ones (an edit is one of each). Sessions are compared by content, not by name. The content
is all that their statistics depend on (:attr:`tastings.maths.curve.sufficient_statistics.SessionRatings.key`): an edit,
or a new estimate of the taster's gain, changes it. Totals are integers, so the result equals that of a cold fit bit for
bit.

The cache lives in one process, so the version of the method is not part of the key. A total on the default grid is 82 x
2548 integers, 1.6 MiB, and each session in it takes about 3 KiB; 64 MiB hold some 40 totals, eight descriptors of a
team of five. The least recently used entry is evicted first.
"""

from collections import Counter, OrderedDict
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from threading import Lock

import numpy as np

from tastings.maths.arrays import IntArray
from tastings.maths.brewing.extraction import Grid, cup_strength
from tastings.maths.curve.sufficient_statistics import SessionRatings, session_statistics, zero_total

MAX_CACHE_BYTES = 64 * 2**20
SESSION_BYTES = 3 * 1024
"""Memory of a cached session beside the total: eight short arrays, its key, and the objects around them."""

Group = tuple[str, str]
"""Key of a group of sessions: descriptor and taster."""
_Content = tuple[Group, tuple[int, int, int], bytes, int]
"""Group, shape of the grid, content of a session, and how many of equal content precede it."""
_Sessions = Mapping[_Content, SessionRatings]


@dataclass(frozen=True, slots=True)
class _Change:
    """One session that is added to a group's total or subtracted from it."""

    group: Group
    tasted: SessionRatings
    removed: bool


@dataclass(frozen=True, slots=True)
class _Entry:
    total: IntArray
    sessions: _Sessions

    @property
    def n_bytes(self) -> int:
        return self.total.nbytes + SESSION_BYTES * len(self.sessions)


class TotalsCache:
    """A bounded cache of totals; safe to share between threads."""

    def __init__(self, *, max_bytes: int = MAX_CACHE_BYTES) -> None:
        self.max_bytes = max_bytes
        self.n_bytes = 0
        self.n_computed = 0
        """Sessions whose statistics were computed since the cache was made."""
        self._entries: OrderedDict[int, _Entry] = OrderedDict()
        self._entry_of_content: dict[_Content, int] = {}
        self._next = 0
        self._lock = Lock()

    def totals(self, groups: Mapping[Group, Sequence[SessionRatings]], *, grid: Grid) -> dict[Group, IntArray]:
        """Return the total of each group of sessions, as `sufficient_statistics.sum_sessions` would.

        Parameters
        ----------
        groups : Mapping[tuple[str, str], Sequence[SessionRatings]]
            Sessions by descriptor and taster.
        grid : Grid
            Where the cups are computed, from :func:`tastings.maths.brewing.extraction.make_grid`; its shape identifies
            it.

        Returns
        -------
        dict[tuple[str, str], int64[2 + 10 n_sigma, n_nodes]]
            In the order of the groups; read-only.
        """
        with self._lock:
            requested = {group: _keyed_by_content(group, sessions, grid=grid) for group, sessions in groups.items()}
            closest = {group: self._closest_entry(sessions) for group, sessions in requested.items()}
            cached = {group: self._entries[number] for group, number in closest.items() if number is not None}
            changes = [
                change
                for group, sessions in requested.items()
                for change in _diff(group, sessions, cached=cached[group].sessions if group in cached else {})
            ]
            self.n_computed += len(changes)
            totals = _apply({group: cached[group].total for group in cached}, changes=changes, grid=grid)
            for group, sessions in requested.items():
                total = totals.setdefault(group, zero_total(grid=grid))
                total.setflags(write=False)
                self._store(_Entry(total=total, sessions=sessions), replacing=closest[group])
            return {group: totals[group] for group in groups}

    def clear(self) -> None:
        """Remove all entries."""
        with self._lock:
            self._entries.clear()
            self._entry_of_content.clear()
            self.n_bytes = 0

    def _closest_entry(self, sessions: _Sessions) -> int | None:
        """Return the entry with the fewest sessions to add or subtract; None when a new total is as cheap."""
        shared = Counter(self._entry_of_content[content] for content in sessions if content in self._entry_of_content)
        if not shared:
            return None
        number, n_shared = max(shared.items(), key=lambda item: (item[1], item[0]))
        n_changes = len(self._entries[number].sessions) + len(sessions) - 2 * n_shared
        return number if n_changes < len(sessions) else None

    def _store(self, entry: _Entry, *, replacing: int | None) -> None:
        if replacing is not None:
            self._evict(replacing)
        number, self._next = self._next, self._next + 1
        self._entries[number] = entry
        self._entry_of_content.update(dict.fromkeys(entry.sessions, number))
        self.n_bytes += entry.n_bytes
        while self.n_bytes > self.max_bytes:
            self._evict(next(iter(self._entries)))

    def _evict(self, number: int) -> None:
        entry = self._entries.pop(number, None)
        if entry is None:
            return
        self.n_bytes -= entry.n_bytes
        for content in entry.sessions:
            if self._entry_of_content.get(content) == number:
                del self._entry_of_content[content]


TOTALS_CACHE = TotalsCache()
"""The cache of this process."""


def _keyed_by_content(group: Group, sessions: Sequence[SessionRatings], *, grid: Grid) -> _Sessions:
    """Key the sessions by content; sessions of equal content are numbered."""
    seen: Counter[bytes] = Counter()
    keyed: dict[_Content, SessionRatings] = {}
    for session in sessions:
        key = session.key
        keyed[group, grid.shape, key, seen[key]] = session
        seen[key] += 1
    return keyed


def _diff(group: Group, sessions: _Sessions, *, cached: _Sessions) -> Iterator[_Change]:
    for content, session in sessions.items():
        if content not in cached:
            yield _Change(group=group, tasted=session, removed=False)
    for content, session in cached.items():
        if content not in sessions:
            yield _Change(group=group, tasted=session, removed=True)


def _apply(totals: Mapping[Group, IntArray], *, changes: Sequence[_Change], grid: Grid) -> dict[Group, IntArray]:
    """Apply the changes; cups shared by several descriptors are computed once."""
    by_steeping: dict[int, list[_Change]] = {}
    for change in changes:
        by_steeping.setdefault(id(change.tasted.steeping), []).append(change)
    updated = dict(totals)
    writable: set[Group] = set()
    for same_steeping in by_steeping.values():
        of_all_pours = cup_strength(same_steeping[0].tasted.steeping, grid=grid)
        for change in same_steeping:
            if change.group not in writable:
                writable.add(change.group)
                cached = updated.get(change.group)
                updated[change.group] = zero_total(grid=grid) if cached is None else cached.copy()
            total = updated[change.group]
            statistics = session_statistics(change.tasted, of_all_pours=of_all_pours, grid=grid)
            (np.subtract if change.removed else np.add)(total, statistics, out=total)
    return updated
