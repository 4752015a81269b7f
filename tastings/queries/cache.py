"""A bounded in-process cache, keyed by all inputs of what is cached."""

from collections.abc import Callable, Hashable
from threading import Lock
from typing import Generic, TypeVar

_Value = TypeVar("_Value")


class LRUCache(Generic[_Value]):
    """The most recently used values by key, at most ``max_size``. Threads of one process share it."""

    def __init__(self, max_size: int) -> None:
        self._max_size = max_size
        self._entries: dict[Hashable, _Value] = {}
        self._lock = Lock()

    def get_or_compute(self, key: Hashable, compute: Callable[[], _Value]) -> _Value:
        """Return the cached value of this key, or compute and cache it."""
        with self._lock:
            if key in self._entries:
                self._entries[key] = value = self._entries.pop(key)  # now the most recent
                return value
        computed = compute()
        with self._lock:
            self._entries[key] = computed
            while len(self._entries) > self._max_size:
                del self._entries[next(iter(self._entries))]
        return computed
