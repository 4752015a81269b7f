"""Requests of the tests are served by the application's role, while what they stand on is made by the owner."""

from contextlib import contextmanager, suppress

from django.db import connection
from psycopg import Error

from teams.row_security import role


@contextmanager
def as_application():
    """Work as the application's role on this thread's connection, acting for nobody at first."""
    _run(f"SET ROLE {connection.ops.quote_name(role())}")
    try:
        yield
    finally:
        with suppress(Error):  # a transaction that failed takes the role back itself
            _run("RESET ROLE")


def _run(statement):
    """Run a statement beside Django, so that a test that counts statements counts the code's own."""
    connection.ensure_connection()
    with connection.connection.cursor() as cursor:
        cursor.execute(statement)


class RowSecurityMiddleware:
    """Serve a request as the application's role."""

    def __init__(self, get_response):
        self._answer = get_response

    def __call__(self, request):
        if request.path.startswith("/health/"):  # which must work without a database
            return self._answer(request)
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
