"""What a worker does: fetch by id, call one action, say how to retry."""

from uuid import UUID

from celery import shared_task
from celery.signals import worker_init
from django.db import InterfaceError, OperationalError, transaction
from django.utils import timezone

from tastings.actions.developments import refresh_development as refresh
from tastings.actions.due import ask_due, ask_due_panels
from tastings.actions.panels import refresh_panel as learn
from tastings.actions.pruning import prune_all
from tastings.jobs import Job
from tastings.maths.develop import warm_up


@worker_init.connect
def before_the_first_job(**_: object) -> None:
    """Build what every fit shares before the processes part, so that the first tasting does not wait for it."""
    warm_up()


@shared_task(
    name=Job.REFRESH_DEVELOPMENT.value,
    autoretry_for=(OperationalError, InterfaceError),
    max_retries=5,
    retry_backoff=True,
    time_limit=120,
)
def refresh_development(lot: str) -> None:
    """Bring one lot's figures up to date; safe to run twice."""
    refresh(UUID(lot), now=timezone.now())


@shared_task(
    name=Job.REFRESH_PANEL.value,
    autoretry_for=(OperationalError, InterfaceError),
    max_retries=5,
    retry_backoff=True,
    time_limit=600,
)
def refresh_panel(team: str) -> None:
    """Learn from one team's tastings; safe to run twice."""
    learn(UUID(team), now=timezone.now())


@shared_task(name=Job.REFRESH_DUE.value, time_limit=60)
def refresh_due() -> None:
    """Ask for every lot that is behind and whose job was lost, and for every team with something to learn."""
    with transaction.atomic():
        ask_due(now=timezone.now())
        ask_due_panels(now=timezone.now())


@shared_task(name=Job.PRUNE.value, time_limit=3600)
def prune() -> None:
    """Forget deletions that every phone has had time to hear of."""
    prune_all(now=timezone.now())
