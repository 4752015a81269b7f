"""The bytes of a photo, sent piece by piece."""

from __future__ import annotations

from collections.abc import Mapping
from typing import IO, TYPE_CHECKING

from django.utils import timezone
from django.utils.datastructures import MultiValueDict
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from drf_spectacular.types import OpenApiTypes
from drf_spectacular.utils import OpenApiParameter
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser, DataAndFiles
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.conditional import id_from_path
from api.http.openapi import operation
from api.http.parsing import TooLarge, parsed_request
from api.photos.photos import PhotoSerializer
from tastings.actions.photos import receive_piece
from tastings.errors import WrongOffset
from tastings.queries.photos import get_photo
from teams.errors import Invalid, Problem

if TYPE_CHECKING:
    from django_stubs_ext import StrOrPromise

MAX_PIECE_BYTES = 1024 * 1024
"""Most bytes of one piece."""
_OFFSET = OpenApiParameter(
    "Upload-Offset",
    int,
    OpenApiParameter.HEADER,
    required=True,
    description="where this piece begins; a 409 and every success say in the same header where to go on",
)


class ChunkParser(BaseParser):
    """Reads one piece of a file as it is."""

    media_type = "application/octet-stream"
    too_large: StrOrPromise = gettext_lazy("a piece holds at most 1 MiB; nothing of this one was taken")

    def parse(
        self,
        stream: IO[bytes],
        media_type: str | None = None,  # noqa: ARG002 - the framework asks for it
        parser_context: Mapping[str, object] | None = None,
    ) -> DataAndFiles[bytes, MultiValueDict[str, object]]:
        """Return the bytes; raise TooLarge for more than 1 MiB."""
        request = parsed_request(parser_context)
        if request.META.get("HTTP_CONTENT_ENCODING", "identity").strip().lower() not in ("identity", ""):
            raise ParseError(_("a piece is sent as it is, without Content-Encoding"))
        piece = bytes(stream.read(MAX_PIECE_BYTES + 1))
        if len(piece) > MAX_PIECE_BYTES:
            raise TooLarge(self.too_large)
        return DataAndFiles(piece, MultiValueDict())


class PhotoContentUpload(APIView):
    """The bytes of one photo."""

    parser_classes = [ChunkParser]

    @operation(
        {200: PhotoSerializer},
        [403, 404, 409, 507],
        operation_id="photo_send",
        parameters=[_OFFSET],
        request={"application/octet-stream": OpenApiTypes.BINARY},
    )
    def put(self, request: Request, photo_id: str) -> Response:
        """Send one piece of a photo; the answer says where to go on."""
        member, photo = member_of(request), id_from_path(photo_id)
        get_photo(member, photo)
        offset = request.META.get("HTTP_UPLOAD_OFFSET", "")
        if not (offset.isascii() and offset.isdigit() and len(offset) <= 12):
            raise Invalid(
                problems=[
                    Problem("Upload-Offset", "range" if offset else "required", _("must be a whole number of bytes"))
                ]
            )
        data: object = request.data
        piece = data if isinstance(data, bytes) else b""
        receive_piece(member, photo=photo, offset=int(offset), piece=piece, now=timezone.now())
        row = get_photo(member, photo)
        return Response(PhotoSerializer(row).data, headers={"Upload-Offset": str(row.received)})

    def handle_exception(self, exc: Exception) -> Response:
        """Say where to go on in a header as well."""
        response = super().handle_exception(exc)
        if isinstance(exc, WrongOffset):
            response["Upload-Offset"] = str(exc.received)
        return response
