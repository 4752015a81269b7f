"""JSON Lines: one line for each page of a pull, so that a break loses no more than the line that it cut.

A stream ends after `MOST_BYTES`, less than a thread may be ahead of its reader (`config.web.threads.AHEAD_BYTES`): so
no thread ever waits for a slow reader, and the client asks for the rest.
"""

from collections.abc import Callable, Iterable, Iterator, Mapping

from django.http import StreamingHttpResponse
from django.utils.cache import patch_vary_headers
from django_http_compression.middleware import (
    best_coding,
    brotli_compress_sequence,
    gzip_compress_sequence,
    zstd_compress_sequence,
)
from rest_framework.request import Request

LINES = "application/x-ndjson"
MOST_BYTES = 2 * 1024 * 1024
"""Bytes of a stream as sent, so usually compressed."""
COMPRESS: Mapping[str, Callable[[Iterator[bytes]], Iterator[bytes]]] = {
    "br": brotli_compress_sequence,
    "zstd": zstd_compress_sequence,
    "gzip": gzip_compress_sequence,
    "identity": iter,
}
"""Each yields what a line has become before it takes the next one."""


def stream_of_lines(request: Request, lines: Iterable[bytes]) -> StreamingHttpResponse:
    """Return an answer of these lines, compressed if the client accepts it."""
    coding = best_coding(request.headers.get("Accept-Encoding", ""))
    answer = StreamingHttpResponse(pieces(lines, coding), content_type=LINES)
    patch_vary_headers(answer, ["Accept-Encoding"])
    if coding != "identity":
        answer["Content-Encoding"] = coding
    answer["Cache-Control"] = "no-store"
    answer["X-Accel-Buffering"] = "no"  # a proxy is not to gather it first
    return answer


def pieces(lines: Iterable[bytes], coding: str) -> Iterator[bytes]:
    """Yield the lines as they are sent, each complete in one piece, until so many bytes are sent."""
    size = 0

    def until_full() -> Iterator[bytes]:
        for line in lines:
            yield line
            if size >= MOST_BYTES:
                break

    for piece in COMPRESS[coding](until_full()):
        size += len(piece)
        if piece:
            yield piece
