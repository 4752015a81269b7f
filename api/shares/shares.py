"""Links by which someone outside the team reads one lot's report or card."""

from __future__ import annotations

from typing import TYPE_CHECKING
from uuid import UUID

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter, extend_schema_field
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.addresses import created_response
from api.http.auth import member_of
from api.http.bodies import body_of
from api.http.conditional import conditional_response, id_from_path, id_from_query, paginated_response
from api.http.fields import MomentField
from api.http.openapi import LOCATION, PAGING, conditional_get, inline_object, operation, paginated, schema_fields
from tastings.actions.shares import give_share, keep_share, revoke_share
from tastings.queries.shares import is_open, is_waiting, share_for, shares_of, token_of
from tastings.schemas import SHARE

if TYPE_CHECKING:
    from tastings.models import Share


class ShareSerializer(s.Serializer[object]):
    """A link, with its address until it ends."""

    id = s.UUIDField()
    lot = s.UUIDField(source="lot_id")
    shows = s.ChoiceField(choices=["report", "card"])
    lang = s.CharField()
    names = s.BooleanField()
    views = s.IntegerField(help_text="how often the page or one of its files was read; nothing is kept of who did")
    expires_at = MomentField()
    created_at = MomentField()
    revoked_at = MomentField(allow_null=True)
    by = s.UUIDField(source="by_id")
    kept_by = s.UUIDField(
        source="kept_by_id", allow_null=True, help_text="the owner who kept it after `by` could no longer give links"
    )
    open = s.SerializerMethodField()
    waiting = s.SerializerMethodField()
    link = s.SerializerMethodField()

    @extend_schema_field(s.BooleanField())
    def get_open(self, share: Share) -> bool:
        """Return whether the link may be read now."""
        return is_open(share, now=timezone.now())

    @extend_schema_field(s.BooleanField())
    def get_waiting(self, share: Share) -> bool:
        """Return whether it opens nothing until an owner keeps it."""
        return is_waiting(share, now=timezone.now())

    @extend_schema_field(s.URLField(allow_null=True, help_text="needs no sign-in; null unless it is open"))
    def get_link(self, share: Share) -> str | None:
        """Return the address of the shared page."""
        address: str = self.context["request"].build_absolute_uri(f"/shared/{token_of(share.id)}/")
        return address if self.get_open(share) else None


NewShareSerializer = inline_object("NewShare", **schema_fields(SHARE))


class Shares(APIView):
    """The team's links."""

    @conditional_get(
        paginated(ShareSerializer, "SharePage"),
        [403, 422],
        operation_id="share_list",
        parameters=[OpenApiParameter("lot", OpenApiTypes.UUID), *PAGING],
    )
    def get(self, request: Request) -> Response:
        """List the shared links, for buyers and owners; with ``lot`` those to one lot."""
        member, lot = member_of(request), id_from_query(request, "lot")

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            rows = shares_of(member, lot=lot, after=after, limit=limit)
            return list(ShareSerializer(rows, many=True, context={"request": request}).data)

        return paginated_response(request, page)

    @operation(
        {201: ShareSerializer}, [403], operation_id="share_create", parameters=[LOCATION], request=NewShareSerializer
    )
    def post(self, request: Request) -> Response:
        """Share a report or card by a link. Whoever has it reads the report or card, in every form, until it ends."""
        share = give_share(member_of(request), sent=body_of(request), now=timezone.now())
        return created_response(request, share.id, ShareSerializer(share, context={"request": request}).data)


class ShareDetail(APIView):
    """One link."""

    @conditional_get(ShareSerializer, [403, 404], operation_id="share_read")
    def get(self, request: Request, share_id: str) -> Response:
        """Show a shared link, with how often it was read."""
        share = share_for(member_of(request), id_from_path(share_id))
        return conditional_response(request, ShareSerializer(share, context={"request": request}).data)

    @operation({204: None}, [403, 404], operation_id="share_revoke")
    def delete(self, request: Request, share_id: str) -> Response:
        """End a shared link at once. From then on it looks as if it had never existed."""
        revoke_share(member_of(request), share=id_from_path(share_id), now=timezone.now())
        return Response(status=204)


class KeepShare(APIView):
    """A link whose giver left or may no longer give links."""

    @operation({200: ShareSerializer}, [403, 404, 409], operation_id="share_keep", request=None)
    def post(self, request: Request, share_id: str) -> Response:
        """Let a shared link open again at the same address, in the caller's name; owners only."""
        share = keep_share(member_of(request), share=id_from_path(share_id), now=timezone.now())
        return Response(ShareSerializer(share, context={"request": request}).data)
