"""HTTP: one request, one response."""

import http.client
from collections.abc import Mapping
from typing import NamedTuple, Protocol
from urllib.parse import urlsplit

from table.phone.errors import UnreachableError

LINES = "application/x-ndjson"
"""Media type of an answer in JSON Lines."""


class Response(NamedTuple):
    """A response; header names in lower case."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class Transport(Protocol):
    """Anything that carries a request to the server."""

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Send once and return the response; raise `UnreachableError` when none came."""
        ...

    def close(self) -> None:
        """Close the connection; a later `send` opens it again."""
        ...


class HttpTransport:
    """One kept-alive HTTP connection to ``https://tea.example``; a silent server is waited for ``timeout_s``."""

    def __init__(self, url: str, *, timeout_s: float = 30.0) -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise UnreachableError(f"{url} is not an address that starts with http:// or https://")
        connection = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
        self._connection = connection(parts.hostname, parts.port, timeout=timeout_s)
        self._base, self._url = parts.path.rstrip("/"), url

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Send once; a connection that the server closed while it was idle is opened anew at once."""
        if self._connection.sock is not None:
            try:
                return self._send(method, path, headers=headers, body=body)
            except (ConnectionError, http.client.HTTPException):
                self._connection.close()
            except OSError as error:
                raise self._unreachable(error) from error
        try:
            return self._send(method, path, headers=headers, body=body)
        except (OSError, http.client.HTTPException) as error:
            raise self._unreachable(error) from error

    def _unreachable(self, error: Exception) -> UnreachableError:
        self._connection.close()
        return UnreachableError(f"{self._url} does not answer: {error!r}")

    def _send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        self._connection.request(method, self._base + path, body=body, headers=dict(headers))
        response = self._connection.getresponse()
        received = {name.lower(): value for name, value in response.getheaders()}
        try:
            content = response.read()
        except http.client.IncompleteRead as cut:
            if received.get("content-type") != LINES:
                raise
            self._connection.close()
            content = cut.partial  # its complete lines are as good as any
        return Response(response.status, received, content)

    def close(self) -> None:
        """Close the connection."""
        self._connection.close()
