"""What all log lines of one request or one job have in common. Standard library only: the settings read it."""

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache
from typing import Any

Told = Callable[[], Mapping[str, str]]
_present: ContextVar[Told | None] = ContextVar("present", default=None)


@contextmanager
def about(told: Told) -> Iterator[None]:
    """Let log lines say what ``told`` answers; it is asked for each line, since a team is known only after a while."""
    before = _present.set(told)
    try:
        yield
    finally:
        _present.reset(before)


def begin(told: Told | None) -> None:
    """Let log lines say so from now on, where beginning and end are not in one place."""
    _present.set(told)


def told() -> Mapping[str, str]:
    """Return what is known of the request or job at work here: its id, ``team``, the job's name."""
    present = _present.get()
    return present() if present is not None else {}


def route_of(request: Any) -> str:  # noqa: ANN401 - Django's request, which is not to be imported here
    """Return the route that a request took, with names where its address has values; ``none`` when there is none."""
    match = getattr(request, "resolver_match", None)
    return _plain(match.route) if match is not None else "none"


@lru_cache(maxsize=1024)  # as many as there are routes, however many addresses
def _plain(route: str) -> str:
    """Return ``lots/<str:record_id>/`` as ``/lots/<record_id>/``."""
    return "/" + re.sub(r"<\w+:", "<", route)
