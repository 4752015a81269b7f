"""Signals around each job: its team and request travel in the message, then in log lines and metrics."""

import logging
from collections.abc import MutableMapping
from datetime import UTC, datetime
from logging.config import dictConfig
from time import perf_counter
from typing import Protocol

from billiard.exceptions import TimeLimitExceeded, WorkerLostError  # type: ignore[import-untyped]  # it has no types
from celery import states
from celery.signals import before_task_publish, setup_logging, task_failure, task_postrun, task_prerun, worker_init

from api.http.context import log_fields, set_log_context

HEADER_FIELDS = ("request", "team")
"""Headers of a message beside its job: the request that asked for it and its team, where known."""
_OUTCOMES = {states.SUCCESS: "done", states.FAILURE: "failed", states.RETRY: "retried"}
_begun: dict[str, float] = {}
_log = logging.getLogger(__name__)


class _Task(Protocol):
    """What is asked of Celery's tasks, which have no types."""

    name: str
    request: object


def set_up_logs(**_: object) -> None:
    """Make worker and timetable log in the same form as the web server."""
    from django.conf import settings  # noqa: PLC0415 - Django comes after Celery's application

    dictConfig(settings.LOGGING)
    logging.captureWarnings(capture=True)


def act_as_worker(**_: object) -> None:
    """Have a worker act as its own role in the database, before it connects."""
    from teams.row_security import work_as_worker  # noqa: PLC0415 - Django comes after Celery's application

    work_as_worker()


def add_headers(headers: MutableMapping[str, object], **_: object) -> None:
    """Add the time of sending to a message, and the request and team unless the caller has set them."""
    current = log_fields()
    headers["sent_at"] = datetime.now(UTC).isoformat()
    for name in HEADER_FIELDS:
        if name in current:
            headers.setdefault(name, current[name])


def begin_job(task_id: str, task: _Task, **_: object) -> None:
    """Put the job, its request and team into the log context."""
    _begun[task_id] = perf_counter()
    carried = {name: str(value) for name in HEADER_FIELDS if (value := getattr(task.request, name, None))}
    known = {"job": task.name, "job_id": task_id, **carried}
    set_log_context(lambda: known)


def end_job(task_id: str, task: _Task, state: str | None = None, **_: object) -> None:
    """Count a job that ended by itself."""
    begun = _begun.pop(task_id, None)
    _count(task.name, _OUTCOMES.get(state or "", "failed"), None if begun is None else perf_counter() - begun)
    set_log_context(None)


def count_killed_job(sender: _Task, exception: BaseException, **_: object) -> None:
    """Count a killed job."""
    if isinstance(exception, TimeLimitExceeded | WorkerLostError):
        _count(sender.name, "killed", None)


def _count(job: str, outcome: str, seconds: float | None) -> None:
    from tastings.job_metrics import count_job  # noqa: PLC0415
    from tastings.queues import BrokerDown  # noqa: PLC0415 - Django comes after Celery's application

    try:
        count_job(job, outcome=outcome, seconds=seconds)
    except BrokerDown:
        _log.warning("the broker does not count jobs")


for _signal, _current_job in (
    (setup_logging, set_up_logs),
    (worker_init, act_as_worker),
    (before_task_publish, add_headers),
    (task_prerun, begin_job),
    (task_postrun, end_job),
    (task_failure, count_killed_job),
):
    _signal.connect(_current_job, weak=False)
