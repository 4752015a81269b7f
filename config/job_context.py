"""What is done around each job: whose it is goes with the message, and comes back in log lines and counts."""

import logging
from collections.abc import MutableMapping
from datetime import UTC, datetime
from logging.config import dictConfig
from time import perf_counter
from typing import Any

from billiard.exceptions import TimeLimitExceeded, WorkerLostError  # type: ignore[import-untyped]  # it has no types
from celery import states
from celery.signals import before_task_publish, setup_logging, task_failure, task_postrun, task_prerun

from api.http.context import begin, told

CARRIED = ("request", "team")
"""What a message says beside its job: which request asked for it, and of which team it is, where known."""
_OUTCOMES = {states.SUCCESS: "done", states.FAILURE: "failed", states.RETRY: "retried"}
_begun: dict[str, float] = {}
_log = logging.getLogger(__name__)


def set_up_logs(**_: object) -> None:
    """Let worker and timetable write as the web server does, not in a form of their own."""
    from django.conf import settings  # noqa: PLC0415 - Django comes after Celery's application

    dictConfig(settings.LOGGING)
    logging.captureWarnings(capture=True)


def mark(headers: MutableMapping[str, Any], **_: object) -> None:
    """Say when a message was sent and, unless who asks has said so, what it is about."""
    present = told()
    headers["sent_at"] = datetime.now(UTC).isoformat()
    for name in CARRIED:
        if name in present:
            headers.setdefault(name, present[name])


def begin_job(task_id: str, task: Any, **_: object) -> None:  # noqa: ANN401 - Celery has no types
    """Let the log lines of a job say which it is."""
    _begun[task_id] = perf_counter()
    carried = {name: str(value) for name in CARRIED if (value := getattr(task.request, name, None))}
    known = {"job": task.name, "job_id": task_id, **carried}
    begin(lambda: known)


def end_job(task_id: str, task: Any, state: str | None = None, **_: object) -> None:  # noqa: ANN401
    """Count a job that ended by itself."""
    begun = _begun.pop(task_id, None)
    _count(task.name, _OUTCOMES.get(state or "", "failed"), None if begun is None else perf_counter() - begun)
    begin(None)


def lose_job(sender: Any, exception: BaseException, **_: object) -> None:  # noqa: ANN401
    """Count a job whose process was killed, for its time or by a stranger."""
    if isinstance(exception, TimeLimitExceeded | WorkerLostError):
        _count(sender.name, "killed", None)


def _count(job: str, outcome: str, seconds: float | None) -> None:
    from tastings.job_metrics import count_job  # noqa: PLC0415
    from tastings.queues import BrokerDown  # noqa: PLC0415 - Django comes after Celery's application

    try:
        count_job(job, outcome=outcome, seconds=seconds)
    except BrokerDown:
        _log.warning("the broker does not count jobs")


for _signal, _work in (
    (setup_logging, set_up_logs),
    (before_task_publish, mark),
    (task_prerun, begin_job),
    (task_postrun, end_job),
    (task_failure, lose_job),
):
    _signal.connect(_work, weak=False)
