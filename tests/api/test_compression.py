"""Which coding an answer is compressed by, and what then changes in its headers."""

import gzip
from contextlib import closing
from io import BytesIO
from pathlib import Path

import brotli
import pytest
from django.http import FileResponse, HttpResponse
from django.test import RequestFactory
from whitenoise.responders import StaticFile

from api.http.compression import LEAST_BYTES, CompressText
from api.http.static_files import StaticFiles
from tests import zstd

TEXT = b"Cliff oolong, 5 g in 110 ml; " * 40
UNPACK = {"br": brotli.decompress, "zstd": zstd.decompress, "gzip": gzip.decompress, None: bytes}


def answer_to(accepted, response):
    request = RequestFactory().get("/", HTTP_ACCEPT_ENCODING=accepted)
    return CompressText(lambda _: response)(request)


def text(content=TEXT, content_type="application/json", **headers):
    return HttpResponse(content, content_type=content_type, headers=headers)


@pytest.mark.parametrize(
    ("accepted", "coding"),
    [
        ("", None),
        ("gzip", "gzip"),
        ("zstd", "zstd"),
        ("gzip, deflate, br, zstd", "br"),
        # Examples and rules of RFC 9110, section 12.5.3.
        ("compress, gzip", "gzip"),
        ("compress;q=0.5, gzip;q=1.0", "gzip"),
        ("gzip;q=1.0, identity; q=0.5, *;q=0", "gzip"),
        ("br;q=0, gzip", "gzip"),
        ("gzip;q=0", None),
        ("br;q=0.2, gzip;q=0.9", "gzip"),
        ("identity, br;q=0.5", None),
    ],
)
def test_coding_is_what_the_client_likes_best(accepted, coding):
    answer = answer_to(accepted, text(ETag='"1"'))

    assert answer.headers.get("Content-Encoding") == coding
    assert UNPACK[coding](answer.content) == TEXT
    assert answer.headers["Vary"].lower() == "accept-encoding"
    assert answer.headers["ETag"] == ('W/"1"' if coding else '"1"')


@pytest.mark.parametrize(
    "response",
    [
        text(TEXT[: LEAST_BYTES - 1]),
        text(content_type="image/jpeg"),
        text(content_type="application/zip"),
        text(content_type="text/event-stream"),
        text(**{"Content-Range": "bytes 0-9/100"}),
        text(**{"Content-Encoding": "x"}),
    ],
)
def test_what_is_not_compressed(response):
    content, coding = response.content, response.headers.get("Content-Encoding")
    answer = answer_to("br", response)

    assert (answer.content, answer.headers.get("Content-Encoding")) == (content, coding)


def test_brotli_has_the_quality_that_was_measured():
    text_of_this_file = Path(__file__).read_bytes()

    assert answer_to("br", text(text_of_this_file)).content == brotli.compress(text_of_this_file, quality=5)


def test_a_file_is_compressed_in_one_piece():
    content = bytes(range(256)) * 64
    answer = answer_to("br", FileResponse(BytesIO(content), content_type="text/javascript"))

    pieces = [piece for piece in answer if piece]
    assert brotli.decompress(b"".join(pieces)) == content
    assert len(pieces[0]) < 600
    assert len(b"".join(pieces)) < len(pieces[0]) + 10


def test_length_of_compressed_answers_varies_at_random():
    lengths = {len(answer_to("br", text()).headers["X-Noise"]) for _ in range(30)}

    assert len(lengths) > 5


@pytest.mark.django_db  # closing an answer looks after the connection
@pytest.mark.parametrize(("prefix", "other", "status"), [("", "", 304), ("W/", "", 304), ("W/", "x", 200)])
def test_a_static_file_that_the_browser_has_is_not_sent_again(tmp_path, prefix, other, status):
    (tmp_path / "style.css").write_bytes(TEXT)
    file = StaticFile(str(tmp_path / "style.css"), [])
    known = f'{prefix}"{other}{file.etag[1:]}'
    with closing(StaticFiles.serve(file, RequestFactory().get("/", HTTP_IF_NONE_MATCH=known))) as answer:
        assert answer.status_code == status
        assert b"".join(answer) == (b"" if status == 304 else TEXT)
