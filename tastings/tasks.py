"""What a worker does: fetch by id, call one action, say how to retry."""

from functools import partial
from uuid import UUID

from celery import shared_task
from celery.signals import worker_init
from django.db import InterfaceError, OperationalError, transaction
from django.utils import timezone

from tastings.actions.developments import refresh_development as refresh
from tastings.actions.documents import delete_old_documents, render_document
from tastings.actions.due import enqueue_due_lots, enqueue_due_panels
from tastings.actions.flights.answering import answer_flight as answer_one_flight
from tastings.actions.flights.jobs import enqueue_due_flights
from tastings.actions.flights.planning import plan_flight as plan_one_flight
from tastings.actions.logos import check_logo as check_new_logo
from tastings.actions.logos import enqueue_due_logo
from tastings.actions.panels import refresh_panel as learn
from tastings.actions.photo_checks import check_photo as check_one_photo
from tastings.actions.photo_checks import delete_unused_photos, enqueue_due_photos
from tastings.actions.pruning import prune_all
from tastings.jobs import Job, later
from tastings.maths.curve.development import METHOD
from tastings.maths.curve.estimate import warm_up
from tastings.reports.typeset import typeset as set_in_type
from teams.actions.clean_up import delete_expired
from teams.actions.emails import due_verifications as verifications_due
from teams.actions.emails import send_verification_mail as mail_verification
from teams.actions.resets import due_reset_requests as resets_due
from teams.actions.resets import send_reset_mail as mail_one_reset
from teams.row_security import acting_for, team_of, teams_with_outdated_figures, teams_with_photos_to_check

retried_task = partial(shared_task, autoretry_for=(OperationalError, InterfaceError), max_retries=5, retry_backoff=True)
"""A task that is tried again, at growing intervals, when the database fails it."""


@worker_init.connect
def before_the_first_job(**_: object) -> None:
    """Build what every fit shares before the processes part, so that the first tasting does not wait for it."""
    warm_up()


@retried_task(name=Job.REFRESH_DEVELOPMENT.value, time_limit=120)
def refresh_development(lot: str) -> None:
    """Bring one lot's figures up to date; safe to run twice."""
    with acting_for(team_of("lot", UUID(lot))):
        refresh(UUID(lot), now=timezone.now())


@retried_task(name=Job.REFRESH_PANEL.value, time_limit=600)
def refresh_panel(team: str) -> None:
    """Learn from one team's tastings; safe to run twice."""
    with acting_for(UUID(team)):
        learn(UUID(team), now=timezone.now())


@shared_task(name=Job.REFRESH_DUE.value, time_limit=60)
def refresh_due() -> None:
    """Ask for every lot that is behind and whose job was lost, every team with something to learn, every flight."""
    with acting_for(*teams_with_outdated_figures(method=METHOD)), transaction.atomic():
        enqueue_due_lots(now=timezone.now())
        enqueue_due_panels(now=timezone.now())
        enqueue_due_flights(now=timezone.now())


@shared_task(name=Job.PRUNE.value, time_limit=3600)
def prune() -> None:
    """Delete tombstones that every phone has had time to pull."""
    prune_all(now=timezone.now())


@shared_task(name=Job.CHECK_PHOTO.value, time_limit=120)
def check_photo(photo: str) -> None:
    """Turn one complete upload into a picture; safe to run twice."""
    with acting_for(team_of("photo", UUID(photo))):
        check_one_photo(UUID(photo), now=timezone.now())


@shared_task(name=Job.CHECK_LOGO.value, time_limit=120)
def check_logo(team: str) -> None:
    """Make a picture of a team's new logo; safe to run twice."""
    with acting_for(UUID(team)):
        check_new_logo(UUID(team), now=timezone.now())


@shared_task(name=Job.DUE_PHOTOS.value, time_limit=60)
def due_photos() -> None:
    """Ask for every complete upload whose job was lost."""
    now = timezone.now()
    enqueue_due_photos(now=now)
    for team in teams_with_photos_to_check():
        with acting_for(team):
            enqueue_due_logo(team, now=now)


@shared_task(name=Job.TIDY_PHOTOS.value, time_limit=3600)
def tidy_photos() -> None:
    """Delete the files that no photo needs any more."""
    delete_unused_photos(now=timezone.now())


@retried_task(name=Job.TYPESET.value, time_limit=60)
def typeset(document: str) -> None:
    """Render one document; safe to run twice."""
    with acting_for(team_of("paper", UUID(document))):
        render_document(
            UUID(document),
            typeset=lambda layout, form, payload, pictures: set_in_type(layout, form, payload, pictures=pictures),
            now=timezone.now(),
        )


@shared_task(name=Job.TIDY_PAPERS.value, time_limit=600)
def delete_unread_documents() -> None:
    """Delete documents that nobody reads."""
    delete_old_documents(now=timezone.now())


@shared_task(name=Job.MAIL_RESET.value, time_limit=120)
def send_reset_mail(request: str) -> None:
    """Mail the links that one request asked for; what fails is due again in two minutes."""
    mail_one_reset(UUID(request), now=timezone.now())


@shared_task(name=Job.MAIL_VERIFICATION.value, time_limit=120)
def send_verification_mail(request: str) -> None:
    """Mail one link that verifies an address; what fails is due again in two minutes."""
    mail_verification(UUID(request), now=timezone.now())


@shared_task(name=Job.DUE_RESETS.value, time_limit=60)
def due_reset_requests() -> None:
    """Ask for every mail whose job was lost or failed."""
    for request in resets_due(now=timezone.now()):
        later(Job.MAIL_RESET, str(request))
    for request in verifications_due(now=timezone.now()):
        later(Job.MAIL_VERIFICATION, str(request))


@shared_task(name=Job.TIDY_PEOPLE.value, time_limit=3600)
def delete_expired_people_data() -> None:
    """Delete expired audit entries, counts, links, tokens and sessions."""
    delete_expired(now=timezone.now())


@retried_task(name=Job.PLAN_FLIGHT.value, time_limit=120)
def plan_flight(flight: str) -> None:
    """Make the serving plan that a flight waits for; safe to run twice."""
    with acting_for(team_of("flight", UUID(flight))):
        plan_one_flight(UUID(flight), now=timezone.now())


@retried_task(name=Job.ANSWER_FLIGHT.value, time_limit=120)
def answer_flight(flight: str) -> None:
    """Compute the answer of a revealed flight; safe to run twice."""
    with acting_for(team_of("flight", UUID(flight))):
        answer_one_flight(UUID(flight), now=timezone.now())
