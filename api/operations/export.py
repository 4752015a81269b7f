"""A whole team as one zip, for its owner."""

from django.http import StreamingHttpResponse
from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework.request import Request
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.openapi import operation
from api.http.renderers import json_or
from tastings.actions.exports import audited_export

_ZIP = OpenApiResponse(
    OpenApiTypes.BINARY,
    description="JSON Lines of every record type, CSV of five, a data dictionary, photos, and a manifest with the"
    " SHA-256 of each; others' private sessions and flights not revealed yet are left out",
)


class TeamExport(APIView):
    """Everything that an owner may see of the team."""

    renderer_classes = json_or("application/zip")

    @operation({(200, "application/zip"): _ZIP}, [403, 409], operation_id="team_export")
    def get(self, request: Request) -> StreamingHttpResponse:
        """Export the team as one zip, sent as it is made; one without ``manifest.json`` was cut short. Owners only."""
        now = timezone.now()
        response = StreamingHttpResponse(audited_export(member_of(request), now=now), content_type="application/zip")
        response["Content-Disposition"] = f'attachment; filename="team-{now:%Y-%m-%d}.zip"'
        response["Cache-Control"] = "no-store"
        response["X-Content-Type-Options"] = "nosniff"
        response["X-Accel-Buffering"] = "no"  # a proxy is not to gather it first
        return response
