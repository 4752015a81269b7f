"""The audit log, for owners."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any
from uuid import UUID

from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import page_of
from api.people import moment
from teams.errors import Invalid, Problem
from teams.queries.access import audit_of

if TYPE_CHECKING:
    from teams.models import AuditEntry


def _entry(entry: AuditEntry) -> dict[str, Any]:
    return {
        "id": str(entry.id),
        "at": moment(entry.at),
        "who": str(entry.who_id) if entry.who_id else None,
        "name": str(entry.who) if entry.who else None,
        "what": entry.what,
        "about": entry.about,
    }


class Audit(APIView):
    """What was done in the team that matters for safety, or that others may ask about."""

    def get(self, request: Request) -> Response:
        """List it, the latest first; owners only."""
        member, what = member_of(request), request.query_params.get("what")
        for name in request.query_params.keys() - {"what", "after", "limit"}:
            raise Invalid(problems=[Problem(name[:80], "unknown_filter", _("is nothing to filter by"))])

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            return [_entry(entry) for entry in audit_of(member, what=what, after=after, limit=limit)]

        return page_of(request, read)
