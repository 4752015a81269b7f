"""Requests of the tests are served by the application's role, while what they stand on is made by the owner."""

from contextlib import contextmanager

from django.db import connection

from teams.row_security import role, worker_role


@contextmanager
def _as_role(name):
    before, connection.role = connection.role, name
    try:
        yield
    finally:
        connection.role = before


def as_application():
    """Work as the web server's role on this thread's connection, acting for nobody at first."""
    return _as_role(role())


def as_worker():
    """Work as the worker's role on this thread's connection, acting for nobody at first."""
    return _as_role(worker_role())


class RowSecurityMiddleware:
    """Serve a request as the application's role."""

    def __init__(self, get_response):
        self._answer = get_response

    def __call__(self, request):
        with as_application():
            response = self._answer(request)
        if response.streaming:
            response.streaming_content = _as_application_pieces(response.streaming_content)
        return response


def _as_application_pieces(pieces):
    """Give the pieces of an answer, each made as the application's role."""
    pieces = iter(pieces)
    while True:
        with as_application():
            try:
                piece = next(pieces)
            except StopIteration:
                return
        yield piece
