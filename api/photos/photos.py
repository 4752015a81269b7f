"""The team's photos: announced, listed, taken away."""

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
from api.http.bodies import body_of, take_id
from api.http.conditional import conditional_response, id_from_path, id_from_query, paginated_response
from api.http.dataclass_answers import answer_of
from api.http.examples import PHOTO_EXAMPLES
from api.http.fields import MomentField
from api.http.openapi import LOCATION, PAGING, conditional_get, inline_object, operation, paginated, schema_fields
from tastings.actions.photos import announce_photo, delete_photo
from tastings.answers.photos import LiquorColour, colour_answer
from tastings.figures import to_stored
from tastings.queries.photos import colour_of, get_photo, list_photos
from tastings.schemas import PHOTO, PHOTO_OF
from tastings.wording.photos import REFUSALS

if TYPE_CHECKING:
    from tastings.models import Photo


_REFUSED_BECAUSE = "; ".join(f"`{code}`: {reason}" for code, reason in REFUSALS.items())


class RefusalField(s.ChoiceField):
    """Why a picture was refused, by code; null for one that was not."""

    def __init__(self) -> None:
        super().__init__(choices=list(REFUSALS), allow_null=True, read_only=True, help_text=_REFUSED_BECAUSE)

    def get_attribute(self, instance: object) -> str | None:
        """Return the code; a row that was not refused has an empty one."""
        return super().get_attribute(instance) or None


class PhotoSerializer(s.Serializer[object]):
    """A photo: of what it is, how far it has come, what is known of it."""

    id = s.UUIDField()
    session = s.UUIDField(source="session_id", allow_null=True)
    lot = s.UUIDField(source="lot_id", allow_null=True)
    infusion = s.UUIDField(source="infusion_id", allow_null=True)
    of = s.ChoiceField(choices=PHOTO_OF)
    sha256 = s.CharField(help_text="of the whole file")
    bytes = s.IntegerField(help_text="size of the whole file")
    state = s.ChoiceField(
        choices=["receiving", "checking", "kept", "refused"],
        help_text="`checking`: all bytes are there and a worker looks at them; the picture can be read once `kept`",
    )
    taken_at = MomentField(allow_null=True)
    reason = RefusalField()
    received = s.IntegerField(help_text="bytes that are safe: where to go on")
    width = s.IntegerField(source="content.width", allow_null=True, help_text="pixels, upright")
    height = s.IntegerField(source="content.height", allow_null=True)
    colour = s.SerializerMethodField()
    by = s.UUIDField(source="by_id")
    created_at = MomentField()

    @extend_schema_field(answer_of(LiquorColour)(allow_null=True))
    def get_colour(self, photo: Photo) -> object:
        """Return the colour of its liquor; null while it has not been measured."""
        colour = colour_of(photo)
        return None if colour is None else to_stored(colour_answer(colour), decimals=None)


NewPhotoSerializer = inline_object(
    "NewPhoto", id=s.UUIDField(help_text="made by the client; version 7 advised"), **schema_fields(PHOTO)
)


class Photos(APIView):
    """The team's photos."""

    @conditional_get(
        paginated(PhotoSerializer, "PhotoPage"),
        [422],
        operation_id="photo_list",
        parameters=[
            OpenApiParameter("session", OpenApiTypes.UUID),
            OpenApiParameter("lot", OpenApiTypes.UUID),
            *PAGING,
        ],
    )
    def get(self, request: Request) -> Response:
        """List photos, those of one session or of one lot if named."""
        member, session, lot = member_of(request), id_from_query(request, "session"), id_from_query(request, "lot")

        def page(after: UUID | None, limit: int) -> list[dict[str, object]]:
            photos = list_photos(member, session=session, lot=lot, after=after, limit=limit)
            return list(PhotoSerializer(photos, many=True).data)

        return paginated_response(request, page)

    @operation(
        {201: PhotoSerializer, 200: PhotoSerializer},
        [403, 507],
        operation_id="photo_create",
        parameters=[LOCATION],
        request=NewPhotoSerializer,
        examples=PHOTO_EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Announce a photo; the answer says how much of it is there already."""
        sent = body_of(request)
        photo = take_id(sent)
        new = announce_photo(member_of(request), photo=photo, sent=sent, now=timezone.now())
        payload = PhotoSerializer(get_photo(member_of(request), photo)).data
        return created_response(request, photo, payload, status=201 if new else 200)


class PhotoDetail(APIView):
    """One photo."""

    @conditional_get(PhotoSerializer, [404], operation_id="photo_read")
    def get(self, request: Request, photo_id: str) -> Response:
        """Show a photo's state and what is known of it."""
        return conditional_response(
            request, PhotoSerializer(get_photo(member_of(request), id_from_path(photo_id))).data
        )

    @operation({204: None}, [403, 404], operation_id="photo_delete")
    def delete(self, request: Request, photo_id: str) -> Response:
        """Delete a photo, and its picture unless another photo of the team shows the same."""
        delete_photo(member_of(request), photo=id_from_path(photo_id), now=timezone.now())
        return Response(status=204)
