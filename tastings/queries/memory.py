"""Answers kept in the web process under all that they follow from."""

from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

_Kept = TypeVar("_Kept")


class Memory(Generic[_Kept]):
    """The latest answers by what they follow from, so many at most. Threads of one process share it."""

    def __init__(self, most: int) -> None:
        self._most = most
        self._kept: dict[Hashable, _Kept] = {}
        self._lock = Lock()

    def get(self, key: Hashable, make: Callable[[], _Kept]) -> _Kept:
        """Return what was made under this key, or make it."""
        with self._lock:
            if key in self._kept:
                self._kept[key] = found = self._kept.pop(key)
                return found
        made = make()
        with self._lock:
            self._kept[key] = made
            while len(self._kept) > self._most:
                del self._kept[next(iter(self._kept))]
        return made
