"""Photos: announced, sent piece by piece, checked by a worker, served to the team that owns them."""

from typing import IO, Any
from uuid import UUID

from django.http import FileResponse, HttpResponseBase
from django.utils import timezone
from django.utils.cache import get_conditional_response
from django.utils.translation import gettext as _
from rest_framework.exceptions import ParseError
from rest_framework.parsers import BaseParser
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import member_of
from api.http.bodies import body_of
from api.http.conditional import id_in_address, page_of, tagged
from api.http.parsing import TooLarge
from api.triangles import take_id
from tastings.actions.photo_colour import measure_colour
from tastings.actions.photos import announce_photo, receive_piece, remove_photo
from tastings.errors import WrongOffset
from tastings.queries.photos import file_of, photo_for, photos_of
from teams.errors import Changed, Invalid, NotHere, Problem

LARGEST_PIECE = 1024 * 1024
"""Bytes."""


class PieceParser(BaseParser):
    """Reads one piece of a file as it is."""

    media_type = "application/octet-stream"

    def parse(
        self,
        stream: IO[Any],
        media_type: str | None = None,  # noqa: ARG002 - the framework asks for it
        parser_context: Any = None,  # noqa: ANN401 - the framework's shape
    ) -> Any:  # noqa: ANN401 - bytes; the framework has dictionaries in mind
        """Return the bytes; raise TooLarge for more than 1 MiB."""
        request = (parser_context or {})["request"]
        if request.META.get("HTTP_CONTENT_ENCODING", "identity").strip().lower() not in ("identity", ""):
            raise ParseError(_("a piece is sent as it is, without Content-Encoding"))
        piece = bytes(stream.read(LARGEST_PIECE + 1))
        if len(piece) > LARGEST_PIECE:
            raise TooLarge(_("a piece holds at most 1 MiB; nothing of this one was taken"))
        return piece


class JPEGRenderer(JSONRenderer):
    """Lets a caller who accepts nothing but images in; what is refused is told in JSON all the same."""

    media_type = "image/jpeg"
    format = "jpeg"


class Photos(APIView):
    """The team's photos."""

    def get(self, request: Request) -> Response:
        """List them, those of one session or of one lot if named."""
        member, named = member_of(request), {}
        for name, value in request.query_params.items():
            if name in ("session", "lot"):
                named[name] = take_id({name: value}, name)
            elif name not in ("after", "limit"):
                raise Invalid(problems=[Problem(name[:80], "unknown_filter", _("can be filtered by session, lot"))])

        def read(after: UUID | None, limit: int) -> list[dict[str, Any]]:
            session, lot = named.get("session"), named.get("lot")
            return list(photos_of(member, session=session, lot=lot, after=after, limit=limit))

        return page_of(request, read)

    def post(self, request: Request) -> Response:
        """Announce a photo; the answer says how much of it is there already."""
        sent = body_of(request)
        photo = take_id(sent)
        new = announce_photo(member_of(request), photo=photo, sent=sent, now=timezone.now())
        location = request.build_absolute_uri(f"{request.path}{photo}/")
        status = 201 if new else 200
        return Response(photo_for(member_of(request), photo), status=status, headers={"Location": location})


class OnePhoto(APIView):
    """One photo."""

    def get(self, request: Request, photo_id: str) -> Response:
        """Show how far it has come and what is known of it."""
        return tagged(request, photo_for(member_of(request), id_in_address(photo_id)))

    def delete(self, request: Request, photo_id: str) -> Response:
        """Take it away, and its picture unless another photo of the team shows the same."""
        remove_photo(member_of(request), photo=id_in_address(photo_id), now=timezone.now())
        return Response(status=204)


class PhotoContentOf(APIView):
    """The bytes of one photo."""

    parser_classes = [PieceParser]

    def put(self, request: Request, photo_id: str) -> Response:
        """Take one piece; the answer says where to go on."""
        member, photo = member_of(request), id_in_address(photo_id)
        photo_for(member, photo)
        offset = request.META.get("HTTP_UPLOAD_OFFSET", "")
        if not (offset.isascii() and offset.isdigit() and len(offset) <= 12):
            raise Invalid(
                problems=[
                    Problem("Upload-Offset", "range" if offset else "required", _("must be a whole number of bytes"))
                ]
            )
        sent: object = request.data
        piece = sent if isinstance(sent, bytes) else b""
        receive_piece(member, photo=photo, offset=int(offset), piece=piece, now=timezone.now())
        shown = photo_for(member, photo)
        return Response(shown, headers={"Upload-Offset": str(shown["received"])})

    def handle_exception(self, exc: Exception) -> Response:
        """Say where to go on in a header as well."""
        response = super().handle_exception(exc)
        if isinstance(exc, WrongOffset):
            response["Upload-Offset"] = str(exc.received)
        return response


class PhotoImage(APIView):
    """The picture of one photo."""

    renderer_classes = [JSONRenderer, JPEGRenderer]
    thumbnail = False

    def get(self, request: Request, photo_id: str) -> HttpResponseBase:
        """Serve it as a JPEG in sRGB, upright and without metadata."""
        served = file_of(member_of(request), id_in_address(photo_id), thumbnail=self.thumbnail)
        tag = f'"{served.tag[:32]}"'
        plain = request._request  # noqa: SLF001 - DRF's way to Django's request
        response: HttpResponseBase | None = get_conditional_response(plain, etag=tag)
        if response is not None and response.status_code == Changed.status:
            raise Changed
        if response is None:
            try:
                response = FileResponse(served.path.open("rb"), content_type="image/jpeg", filename="photo.jpg")
            except FileNotFoundError as error:
                raise NotHere from error
        response["ETag"] = tag
        response["Cache-Control"] = "private, no-cache"  # may be kept, and is asked for each time: rights may end
        response["Vary"] = "Authorization"
        response["X-Content-Type-Options"] = "nosniff"
        response["Content-Security-Policy"] = "default-src 'none'; sandbox"
        return response


class PhotoThumbnail(PhotoImage):
    """The picture of one photo, at most 320 pixels a side."""

    thumbnail = True


class PhotoColour(APIView):
    """The colour of the liquor in one photo."""

    def post(self, request: Request, photo_id: str) -> Response:
        """Tell it from a region of liquor and one of something white; it is kept with the photo."""
        member, photo = member_of(request), id_in_address(photo_id)
        photo_for(member, photo)
        measure_colour(member, photo=photo, sent=body_of(request), now=timezone.now())
        return Response(photo_for(member, photo))
