"""An answer to HEAD has the head of the answer to GET and no body, whoever makes it."""

import asyncio

from config.web import serving
from tests.config.asgi import AsgiRequest


def hello(environ, start_response):
    """Answer as Django does, whose answers to HEAD have a body."""
    start_response("200 OK", [("Content-Length", "10"), ("ETag", '"5"')])
    return [b"hello", b"world"]


def answers(path):
    """Return the answers to GET and HEAD."""

    async def ask():
        app = serving.WebApplication(hello)
        return [await AsgiRequest(app, path, method=method).answer() for method in ("GET", "HEAD")]

    return asyncio.run(ask())


def test_head_has_length_and_tag_and_no_body():
    whole, head = answers("/lots/")

    assert (whole.body, head.body) == (b"helloworld", b"")
    assert (head.status, head.headers) == (200, whole.headers)
    assert (head.headers["content-length"], head.headers["etag"]) == ("10", '"5"')


def test_head_of_what_the_event_loop_answers_has_no_body():
    whole, head = answers("/health/live")

    assert (whole.status, head.status, head.body) == (200, 200, b"")
    assert head.headers["content-length"] == str(len(whole.body))
