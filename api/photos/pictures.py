"""The picture of a photo and its thumbnail."""

from functools import partial

from django.http import FileResponse, HttpResponseBase
from django.utils.cache import get_conditional_response
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiResponse
from rest_framework.request import Request
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import id_from_path
from api.http.openapi import conditional_get, describe_methods
from api.http.renderers import json_or
from tastings.queries.photos import ServedFile, photo_file
from teams.errors import NotFound, PreconditionFailed

_JPEG = OpenApiResponse(OpenApiTypes.BINARY, description="JPEG, sRGB, upright, no metadata")
describe_picture = partial(conditional_get, _JPEG, [404], media_type="image/jpeg")


class PhotoImage(APIView):
    """The picture of one photo."""

    renderer_classes = json_or("image/jpeg")
    thumbnail = False

    @describe_picture(operation_id="photo_image")
    def get(self, request: Request, photo_id: str) -> HttpResponseBase:
        """Get the picture or its thumbnail: a JPEG in sRGB, upright and without metadata."""
        return picture_response(
            request, photo_file(member_of(request), id_from_path(photo_id), thumbnail=self.thumbnail)
        )


class PhotoThumbnail(PhotoImage):
    """The picture of one photo, at most 320 pixels a side."""

    thumbnail = True


describe_methods(PhotoThumbnail, get=describe_picture(operation_id="photo_thumbnail"))


def picture_response(request: Request, served: ServedFile) -> HttpResponseBase:
    """Answer with a picture, or with 304 if the caller has it.

    Raise NotFound if its file is gone, PreconditionFailed if ``If-Match`` names another version.
    """
    tag = f'"{served.tag[:32]}"'
    plain = request._request  # noqa: SLF001 - DRF's way to Django's request
    response: HttpResponseBase | None = get_conditional_response(plain, etag=tag)
    if response is not None and response.status_code == PreconditionFailed.status:
        raise PreconditionFailed
    if response is None:
        try:
            response = FileResponse(served.open(), content_type="image/jpeg", filename="photo.jpg")
        except FileNotFoundError as error:
            raise NotFound from error
    response["ETag"] = tag
    response["Cache-Control"] = "private, no-cache"  # may be stored, but must be revalidated: permissions may end
    response["Vary"] = "Authorization"
    response["X-Content-Type-Options"] = "nosniff"
    response["Content-Security-Policy"] = "default-src 'none'; sandbox"
    return response
