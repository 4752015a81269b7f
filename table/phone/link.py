"""The line to the server: one request, one answer."""

import http.client
from collections.abc import Mapping
from typing import NamedTuple, Protocol
from urllib.parse import urlsplit

from table.phone.errors import UnreachableError


class Answer(NamedTuple):
    """What came back; header names in lower case."""

    status: int
    headers: Mapping[str, str]
    body: bytes


class Link(Protocol):
    """Anything that carries a request to the server."""

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Answer:
        """Send once and return the answer; raise `UnreachableError` when none came."""
        ...

    def close(self) -> None:
        """Let go of the line; a later `send` opens it again."""
        ...


class HttpLink:
    """One kept-alive HTTP connection.

    Parameters
    ----------
    url : str
        Base address of the server, as ``https://tea.example``.
    timeout_s : float
        So long a silent server is waited for. [s]
    """

    def __init__(self, url: str, *, timeout_s: float = 30.0) -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise UnreachableError(f"{url} is not an address that starts with http:// or https://")
        kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
        self._line = kind(parts.hostname, parts.port, timeout=timeout_s)
        self._base, self._url = parts.path.rstrip("/"), url

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Answer:
        """Send once; a line that the server closed while it was idle is opened anew at once."""
        if self._line.sock is not None:
            try:
                return self._send(method, path, headers=headers, body=body)
            except (ConnectionError, http.client.HTTPException):
                self._line.close()
        try:
            return self._send(method, path, headers=headers, body=body)
        except (OSError, http.client.HTTPException) as error:
            self._line.close()
            raise UnreachableError(f"{self._url} does not answer: {error!r}") from error

    def _send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Answer:
        self._line.request(method, self._base + path, body=body, headers=dict(headers))
        response = self._line.getresponse()
        answered = response.read()
        return Answer(response.status, {name.lower(): value for name, value in response.getheaders()}, answered)

    def close(self) -> None:
        """Close the connection."""
        self._line.close()
