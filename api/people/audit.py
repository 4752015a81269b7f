"""The audit log, for owners."""

from __future__ import annotations

from uuid import UUID

from django.utils.translation import gettext as _
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import paginated_response
from api.http.openapi import PAGING, conditional_get, paginated
from tastings.audit_events import TastingEvent
from teams.errors import Invalid, Problem
from teams.queries.access import AUDIT_EVENTS, check_may_read_audit, list_audit

EVENTS: tuple[str, ...] = (*AUDIT_EVENTS, *TastingEvent)


class AuditEntrySerializer(s.Serializer[object]):
    """One thing done."""

    id = s.UUIDField()
    at = s.DateTimeField()
    who = s.UUIDField(source="who_id", allow_null=True, help_text="the login that did it")
    name = s.CharField(source="who", allow_null=True)
    what = s.ChoiceField(choices=EVENTS)
    about = s.DictField(help_text="what it was done to; of a sign-in the device and the address it came from")


class Audit(APIView):
    """What was done in the team that matters for safety, or that others may ask about."""

    @conditional_get(
        paginated(AuditEntrySerializer, "AuditPage"),
        [403, 422],
        operation_id="audit_list",
        parameters=[OpenApiParameter("what", str, description="only what was done of this kind", enum=EVENTS), *PAGING],
    )
    def get(self, request: Request) -> Response:
        """List the team's audit log, the latest entry first; owners only."""
        member, event = member_of(request), request.query_params.get("what")
        check_may_read_audit(member)
        if event is not None and event not in EVENTS:
            detail = _("one of %(choices)s") % {"choices": ", ".join(EVENTS)}
            raise Invalid(problems=[Problem("what", "choice", detail)])

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            entries = list_audit(member, events=None if event is None else (event,), after=after, limit=limit)
            return list(AuditEntrySerializer(entries, many=True).data)

        return paginated_response(request, page)
