"""Compression of answers for clients that accept it."""

from django.http import HttpRequest
from django.http.response import HttpResponseBase
from django.middleware.gzip import GZipMiddleware

COMPRESSIBLE = (
    "text/",
    "application/json",
    "application/problem+json",
    "application/manifest+json",
    "image/svg+xml",
)
NOT_COMPRESSED = "text/event-stream"


class CompressText(GZipMiddleware):
    """Compresses text by gzip; pictures, PDF and zip files are compressed already.

    Django varies the length of each answer at random, and the CSRF tokens in pages are masked anew for each request, so
    that the length of a compressed page does not help to guess a token (the attack called BREACH).
    """

    def process_response(self, request: HttpRequest, response: HttpResponseBase) -> HttpResponseBase:
        """Compress the answer if it is text and the client accepts it."""
        content_type = response.headers.get("Content-Type", "")
        if not content_type.startswith(COMPRESSIBLE) or content_type.startswith(NOT_COMPRESSED):
            return response
        return super().process_response(request, response)
