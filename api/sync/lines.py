"""JSON Lines: one line for each page of a pull, so that a break loses no more than the line that it cut.

A stream ends after `MOST_BYTES`, less than a thread may be ahead of its reader (`config.web.threads.AHEAD_BYTES`): so
no thread ever waits for a slow reader, and the client asks for the rest.
"""

import zlib
from collections.abc import Iterable, Iterator

from django.http import StreamingHttpResponse
from django.utils.cache import patch_vary_headers
from rest_framework.renderers import JSONRenderer
from rest_framework.request import Request

LINES = "application/x-ndjson"
MOST_BYTES = 2 * 1024 * 1024
"""As sent, so usually compressed."""
_GZIP = 31
"""zlib's word for gzip's header and check with the largest window."""


class LinesRenderer(JSONRenderer):
    """Admits clients that ask for lines of JSON; errors are JSON all the same."""

    media_type = LINES
    format = "ndjson"


def stream_of_lines(request: Request, lines: Iterable[bytes]) -> StreamingHttpResponse:
    """Return an answer of these lines, compressed if the client accepts it."""
    is_packed = "gzip" in request.headers.get("Accept-Encoding", "")
    answer = StreamingHttpResponse(pieces(lines, is_packed=is_packed), content_type=LINES)
    patch_vary_headers(answer, ["Accept-Encoding"])
    if is_packed:
        answer["Content-Encoding"] = "gzip"
    answer["Cache-Control"] = "no-store"
    answer["X-Accel-Buffering"] = "no"  # a proxy is not to gather it first
    return answer


def pieces(lines: Iterable[bytes], *, is_packed: bool) -> Iterator[bytes]:
    """Yield the lines as they are sent, each complete in one piece, until so many bytes are sent."""
    packer = zlib.compressobj(wbits=_GZIP) if is_packed else None
    size = 0
    for line in lines:
        piece = packer.compress(line) + packer.flush(zlib.Z_SYNC_FLUSH) if packer else line
        size += len(piece)
        yield piece
        if size >= MOST_BYTES:
            break
    if packer:
        yield packer.flush()
