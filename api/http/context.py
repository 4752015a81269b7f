"""Fields that all log lines of one request or job share. Standard library only: the settings import it."""

import re
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from contextvars import ContextVar
from functools import lru_cache

LogFields = Callable[[], Mapping[str, str]]
_current: ContextVar[LogFields | None] = ContextVar("log_context", default=None)


@contextmanager
def log_context(fields: LogFields) -> Iterator[None]:
    """Add ``fields()`` to log lines; called for each line, since the team is known only after authentication."""
    before = _current.set(fields)
    try:
        yield
    finally:
        _current.reset(before)


def set_log_context(fields: LogFields | None) -> None:
    """Set the context until the next call, for a job whose start and end are two signals."""
    _current.set(fields)


def log_fields() -> Mapping[str, str]:
    """Return the fields of the current request or job: its id, ``team``, the job's name."""
    fields = _current.get()
    return fields() if fields is not None else {}


def route_of(request: object) -> str:
    """Return the route that a request took, with names where its address has values; ``none`` when there is none."""
    match = getattr(request, "resolver_match", None)
    return _plain(match.route) if match is not None else "none"


@lru_cache(maxsize=1024)  # as many as there are routes, however many addresses
def _plain(route: str) -> str:
    """Return ``lots/<str:record_id>/`` as ``/lots/<record_id>/``."""
    return "/" + re.sub(r"<\w+:", "<", route)
