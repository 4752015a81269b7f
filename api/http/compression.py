"""Compression of answers by brotli, zstd or gzip, as the client accepts it (RFC 9110, section 12.5.3)."""

import re
from types import MappingProxyType

from django.http import FileResponse, HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils.cache import patch_vary_headers
from django_http_compression import middleware

# The library has no settings for these two. Of codings that a client likes alike, brotli sends the fewest bytes;
# at quality 5 it takes about the time of gzip: `benchmarks/compression.py`.
middleware.codings = MappingProxyType({"br": 0, "zstd": 1, "gzip": 2, "identity": 3})
middleware.BROTLI_QUALITY = 5

LEAST_BYTES = 300
"""Below this, the headers of a compressed answer take more than compression saves."""
WHOLE_FILE = 4 * 1024 * 1024


class CompressText(middleware.HttpCompressionMiddleware):
    """Compresses text; pictures, PDF and zip files are compressed already, and live events must not wait.

    A header of random length is added to each answer, and the CSRF tokens in pages are masked anew for each request, so
    that the length of a compressed page does not help to guess a token (the attack called BREACH).
    """

    content_type_re = re.compile(
        r"(?:text/(?!event-stream).*|application/(?:problem\+|manifest\+)?json|image/svg\+xml)$"
    )

    def maybe_compress(self, request: HttpRequest, response: HttpResponseBase) -> None:
        """Compress the answer if it is text, long enough, and the client accepts it."""
        content_type = response.headers.get("Content-Type", "").split(";", 1)[0]
        if not self.content_type_re.match(content_type) or "Content-Range" in response.headers:
            return
        patch_vary_headers(response, ["Accept-Encoding"])
        if isinstance(response, HttpResponse) and len(response.content) < LEAST_BYTES:
            return
        if isinstance(response, FileResponse):
            response.block_size = WHOLE_FILE  # compressed in one piece, not in pieces of 4 kB
        super().maybe_compress(request, response)
