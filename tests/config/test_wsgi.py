"""A body sent in chunks has no length, and Django would take it for none."""

import json
from io import BytesIO

import pytest
from django.core.signals import request_finished, request_started
from django.db import close_old_connections

from api.http.parsing import MAX_BODY_BYTES


@pytest.fixture
def connected(db):
    """Keep the test's connection, which a request would close when it ends."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def posted(body):
    """Send a body to the web entry as a server hands over chunks; return status and answer."""
    from config.wsgi import application  # noqa: PLC0415 - loads every view

    environ = {
        "REQUEST_METHOD": "POST",
        "PATH_INFO": "/api/v1/auth/tokens",
        "SERVER_NAME": "localhost",
        "SERVER_PORT": "80",
        "CONTENT_TYPE": "application/json",
        "wsgi.input": BytesIO(body),
        "HTTP_TRANSFER_ENCODING": "chunked",
        "wsgi.url_scheme": "http",
        "wsgi.errors": BytesIO(),
    }
    received = {}
    answer = application(environ, lambda status, headers: received.update(status=status))
    return received["status"], json.loads(b"".join(answer))


def test_a_chunked_body_is_read(connected):
    status, answer = posted(json.dumps({"username": "ina", "password": "wrong", "device": "phone"}).encode())
    assert (status, answer["type"]) == ("401 Unauthorized", "/problems/not-signed-in")


def test_a_chunked_body_without_an_end_is_too_large(connected):
    status, answer = posted(b" " * (3 * MAX_BODY_BYTES))
    assert (status[:3], answer["type"]) == ("413", "/problems/too-large")
