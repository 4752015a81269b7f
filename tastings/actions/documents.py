"""Rendered documents: requests one, renders it, deletes unused ones."""

import logging
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from uuid import UUID

from django.db import transaction

from tastings.jobs import Job, later
from tastings.models import RenderedDocument
from tastings.models.photo_files import read_file, thumbnail_key
from teams.row_security import acting_for, every_team, skip_team_elsewhere

REQUEUE_AFTER_S = 20.0
"""A rendering job that takes longer counts as lost."""
DOCUMENT_RETENTION_DAYS = 30
"""How long a document is kept after it was last read."""
MAX_DOCUMENTS = 500
"""Most documents of one team."""
_log = logging.getLogger(__name__)

Typesetter = Callable[[str, str, Mapping[str, object], Mapping[str, bytes]], bytes]
"""Sets a layout in a form from a payload and pictures; raises ValueError when it cannot."""


@transaction.atomic
def request_document(  # noqa: PLR0913 - what a document is made from, one by one
    team: UUID, *, digest: str, layout: str, form: str, payload: Mapping[str, object], now: datetime
) -> RenderedDocument:
    """Return the document of this digest; queue its rendering unless it is there or being rendered."""
    document, created = RenderedDocument.objects.select_for_update().get_or_create(
        team_id=team,
        digest=digest,
        defaults={"layout": layout, "form": form, "payload": payload, "asked_at": now, "used_on": now.date()},
    )
    is_pending = document.made_at is None and not document.failure
    is_lost = is_pending and document.asked_at < now - timedelta(seconds=REQUEUE_AFTER_S)
    if is_lost:
        RenderedDocument.objects.filter(id=document.id).update(asked_at=now)
    if created or is_lost:
        later(Job.TYPESET, str(document.id))
    if created:
        _delete_oldest(team)
    elif document.used_on != now.date():
        RenderedDocument.objects.filter(id=document.id).update(used_on=now.date())
    return document


def render_document(document: UUID, *, typeset: Typesetter, now: datetime) -> None:
    """Render a document and store its bytes. Safe to run twice: the same payload gives the same bytes.

    A failure is stored and not tried again until payload or layout change.
    """
    requested = RenderedDocument.objects.filter(id=document, made_at=None, failure="", payload__isnull=False).first()
    if requested is None or requested.payload is None:
        return
    pictures = {}
    for picture in filter(None, (*(requested.payload.get("photos") or ()), requested.payload.get("logo"))):
        name = str(picture["file"]).removesuffix(".jpg")
        try:
            pictures[picture["file"]] = read_file(thumbnail_key(requested.team_id, name))
        except FileNotFoundError:
            continue  # deleted since the document was requested
    row = RenderedDocument.objects.filter(id=document)
    try:
        content = typeset(requested.layout, requested.form, requested.payload, pictures)
    except ValueError as error:
        _log.exception("document %s: cannot be rendered", document)
        row.update(failure=f"{type(error).__name__}: {error}"[:500] or "failed", payload=None)
        return
    row.update(content=content, made_at=now, payload=None)


def delete_old_documents(*, now: datetime) -> int:
    """Delete what nobody has read for a month, and what failed a day ago; return how many."""
    n_deleted = 0
    for team in every_team():
        with skip_team_elsewhere(), acting_for(team):
            documents = RenderedDocument.objects.filter(team_id=team)
            unread_since = (now - timedelta(days=DOCUMENT_RETENTION_DAYS)).date()
            n_deleted += documents.filter(used_on__lt=unread_since).delete()[0]
            n_deleted += documents.filter(made_at=None, asked_at__lt=now - timedelta(days=1)).delete()[0]
    return n_deleted


def _delete_oldest(team: UUID) -> None:
    documents = RenderedDocument.objects.filter(team_id=team)
    latest = documents.order_by("-used_on", "-asked_at").values_list("id", flat=True)[:MAX_DOCUMENTS]
    documents.exclude(id__in=list(latest)).delete()
