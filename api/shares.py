"""Links by which someone outside the team reads one lot's report or card."""

from datetime import datetime
from typing import Any
from uuid import UUID

from django.utils import timezone
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework import serializers as s
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http import openapi
from api.http.auth import member_of
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, paginated_response
from api.http.openapi import inline_object, operation, problem_responses, schema_fields
from tastings.actions.shares import give_share, revoke_share
from tastings.queries.shares import share_for, share_shown, shares_of, token_of
from tastings.schemas import SHARE


def _shown(request: Request, share: Any, *, now: datetime) -> dict[str, Any]:  # noqa: ANN401 - a row of the room below
    """Return a link with its address; one that has ended has none."""
    told = share_shown(share, now=now)
    address = request.build_absolute_uri(f"/shared/{token_of(share.id)}/")
    return {**told, "link": address if told["open"] else None}


class Shares(APIView):
    """The team's links."""

    def get(self, request: Request) -> Response:
        """List them for buyers and owners, with ``lot`` those to one lot."""
        member, now = member_of(request), timezone.now()
        lot = request.query_params.get("lot")
        of_lot = take_id({"lot": lot}, "lot") if lot is not None else None

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            rows = shares_of(member, lot=of_lot, after=after, limit=limit)
            return [_shown(request, row, now=now) for row in rows]

        return paginated_response(request, read)

    def post(self, request: Request) -> Response:
        """Make a link. Whoever holds it reads the report or card, in every form, until it ends."""
        now = timezone.now()
        share = give_share(member_of(request), sent=body_of(request), now=now)
        location = request.build_absolute_uri(f"{request.path}{share.id}/")
        return Response(_shown(request, share, now=now), status=201, headers={"Location": location})


class OneShare(APIView):
    """One link."""

    def get(self, request: Request, share_id: str) -> Response:
        """Show it, with how often it was read."""
        share = share_for(member_of(request), id_from_path(share_id))
        return conditional_response(request, _shown(request, share, now=timezone.now()))

    def delete(self, request: Request, share_id: str) -> Response:
        """End it at once. From then on it looks as if it had never been."""
        revoke_share(member_of(request), share=id_from_path(share_id), now=timezone.now())
        return Response(status=204)


NEW_SHARE = inline_object("NewShare", **schema_fields(SHARE))
SHARE_READ = inline_object(
    "Share",
    id=s.UUIDField(),
    lot=s.UUIDField(),
    shows=s.ChoiceField(choices=["report", "card"]),
    lang=s.CharField(),
    names=s.BooleanField(),
    expires_at=s.DateTimeField(),
    link=s.URLField(allow_null=True, help_text="needs no sign-in; null once it has ended"),
    open=s.BooleanField(),
    views=s.IntegerField(help_text="how often the page or one of its files was read; nothing is kept of who did"),
    by=s.UUIDField(),
    created_at=s.DateTimeField(),
    revoked_at=s.DateTimeField(allow_null=True),
)
DESCRIBED = {
    Shares: {
        "get": operation(
            operation_id="share_list",
            parameters=[OpenApiParameter("lot", OpenApiTypes.UUID), *openapi.PAGING, openapi.ETAG],
            responses={
                200: openapi.paginated(SHARE_READ, "SharePage"),
                **openapi.NOT_MODIFIED,
                **problem_responses(403, 422),
            },
        ),
        "post": operation(
            operation_id="share_create",
            request=NEW_SHARE,
            responses={201: SHARE_READ, **problem_responses(400, 403, 413, 415, 422)},
        ),
    },
    OneShare: {
        "get": operation(
            operation_id="share_read",
            parameters=[openapi.ETAG],
            responses={200: SHARE_READ, **openapi.NOT_MODIFIED, **problem_responses(403, 404)},
        ),
        "delete": operation(operation_id="share_revoke", responses={204: None, **problem_responses(403, 404)}),
    },
}
"""What each view says of its operations."""
