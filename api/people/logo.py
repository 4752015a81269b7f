"""The team's logo: its state, a new file, its picture."""

from __future__ import annotations

from django.http import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import conditional_response
from api.http.fields import MomentField
from api.http.openapi import conditional_get, operation
from api.http.renderers import json_or
from api.photos.content import ChunkParser
from api.photos.photos import RefusalField
from api.photos.pictures import describe_picture, picture_response
from tastings.actions.logos import remove_logo, upload_logo
from tastings.queries.logos import logo_file, logo_of
from teams.actions.people import check_may_change_team
from teams.errors import NotFound


class LogoParser(ChunkParser):
    """Reads the file of a logo as it is."""

    too_large = gettext_lazy("a logo holds at most 1 MiB; nothing of this one was taken")


class LogoSerializer(s.Serializer[object]):
    """How far the check of the latest file is, and whether there is a picture; the one before is shown meanwhile."""

    state = s.ChoiceField(
        choices=["checking", "kept", "refused"],
        help_text="of the file that was sent last: a worker checks it, then its picture is shown or it is refused",
    )
    reason = RefusalField()
    has_picture = s.BooleanField(help_text="whether `/team/logo/image` has one")
    touched_at = MomentField(help_text="when the file came in or was last checked")


class LogoView(APIView):
    """The logo beside the team's name on reports, cards and shared pages."""

    parser_classes = [LogoParser]

    @conditional_get(LogoSerializer, [404], operation_id="team_logo")
    def get(self, request: Request) -> Response:
        """Show the state of the team's logo."""
        logo = logo_of(member_of(request).team_id)
        if logo is None:
            raise NotFound
        return conditional_response(request, LogoSerializer(logo).data)

    @operation(
        {202: LogoSerializer},
        [403, 507],
        operation_id="team_logo_send",
        request={"application/octet-stream": OpenApiTypes.BINARY},
    )
    def put(self, request: Request) -> Response:
        """Send a PNG, JPEG or WebP as the new logo, at most 1 MiB; a worker checks it; owners only."""
        member = member_of(request)
        check_may_change_team(member)
        data: object = request.data
        upload_logo(member, file=data if isinstance(data, bytes) else b"", now=timezone.now())
        return Response(LogoSerializer(logo_of(member.team_id)).data, status=202)

    @operation({204: None}, [403, 404], operation_id="team_logo_remove")
    def delete(self, request: Request) -> Response:
        """Remove the logo with its picture; owners only."""
        remove_logo(member_of(request), now=timezone.now())
        return Response(status=204)


class TeamLogoImage(APIView):
    """The picture of the logo."""

    renderer_classes = json_or("image/jpeg")

    @describe_picture(operation_id="team_logo_image")
    def get(self, request: Request) -> HttpResponseBase:
        """Get the logo as pages show it: a JPEG in sRGB on a white ground, at most 320 pixels a side."""
        return picture_response(request, logo_file(member_of(request).team_id))
