"""The names of the jobs, and the one way to ask for one."""

import logging
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from enum import StrEnum
from uuid import UUID

from celery import current_app
from django.db import transaction
from kombu.exceptions import OperationalError
from redis.exceptions import RedisError

from tastings.queues import Queue

_log = logging.getLogger(__name__)
_delayed = threading.local()


class Job(StrEnum):
    """What a worker can be asked to do."""

    REFRESH_DEVELOPMENT = "tastings.refresh_development"
    REFRESH_PANEL = "tastings.refresh_panel"
    PRUNE = "tastings.prune"
    MAIL_RESET = "teams.mail_reset"
    MAIL_VERIFICATION = "teams.mail_verification"
    DUE_RESETS = "teams.due_resets"
    TIDY_PEOPLE = "teams.tidy"
    REFRESH_DUE = "tastings.refresh_due"
    CHECK_PHOTO = "tastings.check_photo"
    CHECK_LOGO = "tastings.check_logo"
    DUE_PHOTOS = "tastings.due_photos"
    TIDY_PHOTOS = "tastings.tidy_photos"
    PLAN_FLIGHT = "tastings.plan_flight"
    ANSWER_FLIGHT = "tastings.judge_flight"
    TYPESET = "tastings.typeset"
    TIDY_PAPERS = "tastings.tidy_papers"


def later(job: Job, *arguments: str, wait_s: float = 0.0, queue: Queue | None = None, team: UUID | None = None) -> None:
    """Queue the job once the present transaction has committed; ``team`` is for the worker's log lines.

    ``queue`` is another than the settings say for jobs of this name.

    A broker that is down costs a second and nothing else: what is due stands in the database and the timetable asks
    again. Within `delayed_jobs` the job is sent afterwards.
    """

    def send() -> None:
        current_app.send_task(
            job.value,
            args=list(arguments),
            countdown=wait_s or None,
            queue=queue.value if queue else None,
            headers={"team": str(team)} if team else {},
        )

    def committed() -> None:
        jobs = getattr(_delayed, "jobs", None)
        if jobs is None:
            send()
        else:
            jobs.append(send)

    transaction.on_commit(committed, robust=True)


class DelayedJobs(list[Callable[[], None]]):
    """Jobs whose transaction has committed, and which are not sent yet."""

    def send(self) -> None:
        """Send them; one that the broker does not take is logged."""
        while self:
            try:
                self.pop(0)()
            except Exception:  # noqa: BLE001 - whatever the broker or its library raise
                _log.exception("a job was not sent")


@contextmanager
def delayed_jobs() -> Iterator[DelayedJobs]:
    """Collect within the block what this thread would send, for whoever need not wait for the broker.

    Whoever asks calls `DelayedJobs.send`; when the block fails, the jobs are sent at once.
    """
    before, _delayed.jobs = getattr(_delayed, "jobs", None), (jobs := DelayedJobs())
    try:
        yield jobs
    except BaseException:
        jobs.send()
        raise
    finally:
        _delayed.jobs = before


def worker_answers() -> bool:
    """Whether at least one worker answers within a second; no broker counts as none."""
    try:
        with current_app.connection_for_write() as connection:
            return bool(current_app.control.ping(timeout=1.0, limit=1, connection=connection))
    except (OperationalError, RedisError, OSError):
        return False
