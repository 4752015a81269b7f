"""Requests with an ``Idempotency-Key``: the first is carried out, a repeat gets its answer.

After draft-ietf-httpapi-idempotency-key-header-07. A refused request has changed nothing, so its key is free again.
"""

from __future__ import annotations

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import TYPE_CHECKING
from uuid import UUID

from django.db import IntegrityError, transaction
from django.utils.translation import gettext_lazy

from teams.errors import Refused
from teams.models import StoredAnswer

if TYPE_CHECKING:
    from teams.models import Member

RETENTION = timedelta(days=1)
MAX_PER_MEMBER = 1000
"""Most answers stored for one member; the oldest make room."""
LOST_AFTER = timedelta(minutes=2)
"""A request without an answer after this time counts as lost: its process has ended."""


class KeyReused(Refused):
    """The key came before with another request."""

    status = 422
    code = "key_reused"
    title = gettext_lazy("This Idempotency-Key came before with another request")


class KeyInUse(Refused):
    """The first request with the key is still being answered."""

    status = 409
    code = "key_in_use"
    title = gettext_lazy("The first request with this Idempotency-Key is still being answered")


def reserve_key(member: Member, *, key: str, request: str, now: datetime) -> StoredAnswer:
    """Return the stored answer to a request, or a new row without ``status`` if it is to be carried out.

    Raise KeyReused if another request had the key, KeyInUse if the same one has no answer yet.
    """
    new = StoredAnswer(team_id=member.team_id, member=member, key=key, request=request, created_at=now)
    StoredAnswer.objects.filter(member=member, key=key, created_at__lte=now - RETENTION).delete()
    StoredAnswer.objects.filter(member=member, key=key, status=None, created_at__lte=now - LOST_AFTER).delete()
    try:
        with transaction.atomic():
            new.save(force_insert=True)
    except IntegrityError:
        stored = StoredAnswer.objects.filter(member=member, key=key).first()
        if stored is None:  # its request was refused this moment
            raise KeyInUse from None
        if stored.request != request:
            raise KeyReused from None
        if stored.status is None:
            raise KeyInUse from None
        return stored
    newest = StoredAnswer.objects.filter(member=member).order_by("-created_at")
    StoredAnswer.objects.filter(id__in=newest.values("id")[MAX_PER_MEMBER : 2 * MAX_PER_MEMBER]).delete()
    return new


def store_answer(row: UUID, *, status: int, headers: Mapping[str, str], body: bytes) -> None:
    """Store the answer of a request that was carried out."""
    StoredAnswer.objects.filter(id=row).update(status=status, headers=dict(headers), body=body)


def release_key(row: UUID) -> None:
    """Free the key of a request that has changed nothing."""
    StoredAnswer.objects.filter(id=row).delete()


def delete_old_answers(team: UUID, *, now: datetime) -> None:
    """Delete a team's answers that are a day old."""
    StoredAnswer.objects.filter(team_id=team, created_at__lte=now - RETENTION).delete()
