"""A phone, as far as the server can tell: it signs in, syncs with gzip bodies, and reads figures. Nothing else."""

import gzip
import http.client
import json
import time
from collections.abc import Mapping, Sequence
from typing import Self
from urllib.parse import urlsplit
from uuid import UUID

_ATTEMPTS = 4
_TIMEOUT_S = 30.0


class PhoneError(Exception):
    """The server answered with a refusal; ``status`` is its HTTP status."""

    def __init__(self, detail: str, *, status: int) -> None:
        super().__init__(detail)
        self.status = status


class NoServerError(Exception):
    """Nothing that speaks HTTP answers at the address."""


class Phone:
    """One device and its token.

    Parameters
    ----------
    url : str
        Base address of the server, as ``http://127.0.0.1:8000``.
    device : UUID
        Under which its edits are kept.
    """

    def __init__(self, url: str, *, device: UUID) -> None:
        parts = urlsplit(url)
        if parts.scheme not in ("http", "https") or not parts.hostname:
            raise NoServerError(f"{url} is not an address that starts with http:// or https://")
        kind = http.client.HTTPSConnection if parts.scheme == "https" else http.client.HTTPConnection
        self._link = kind(parts.hostname, parts.port, timeout=_TIMEOUT_S)
        self._base = parts.path.rstrip("/")
        self._url = url
        self._device = str(device)
        self._token = ""

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self._link.close()

    def sign_in(self, *, username: str, password: str, team: UUID) -> Mapping[str, object]:
        """Sign in and return who and where the server says this is."""
        sent = {"username": username, "password": password, "device": "demo phone", "team": str(team)}
        answer = self.ask("POST", "/api/v1/auth/tokens", body=sent)
        self._token = str(answer["token"])
        return answer

    def sign_out(self) -> None:
        """End this phone's token."""
        self.ask("DELETE", "/api/v1/auth/tokens/current")
        self._token = ""

    def sync(self, changes: Sequence[Mapping[str, object]]) -> Sequence[Mapping[str, object]]:
        """Send changes and return one verdict for each.

        A real phone also takes in what comes back, from its cursor on; this one keeps nothing, so it asks for little.
        """
        body = {"schema": 1, "device": self._device, "cursor": 0, "limit": 1, "changes": changes}
        verdicts = self.ask("POST", "/api/v1/sync", body=body)["verdicts"]
        return verdicts if isinstance(verdicts, list) else []

    def ask(self, method: str, path: str, *, body: Mapping[str, object] | None = None) -> Mapping[str, object]:
        """Ask the server and return its JSON answer.

        Raises
        ------
        PhoneError
            The answer is a refusal.
        NoServerError
            There is no answer after several attempts.
        """
        headers = {"Accept": "application/json"}
        if self._token:
            headers["Authorization"] = f"Bearer {self._token}"
        content = None
        if body is not None:
            content = gzip.compress(json.dumps(body).encode(), compresslevel=5)
            headers |= {"Content-Type": "application/json", "Content-Encoding": "gzip"}
        status, answered = self._send(method, self._base + path, content=content, headers=headers)
        try:
            answer = json.loads(answered) if answered else {}
        except ValueError as error:
            raise PhoneError(f"{method} {path}: {status}, and the answer is not JSON", status=status) from error
        if status >= 400 or not isinstance(answer, dict):
            detail = answer.get("detail") or answer.get("title") if isinstance(answer, dict) else "no object"
            raise PhoneError(f"{method} {path}: {status} {detail}", status=status)
        return answer

    def _send(self, method: str, path: str, *, content: bytes | None, headers: Mapping[str, str]) -> tuple[int, bytes]:
        """Send until an answer comes: servers close an idle line, and all that is sent here may be sent twice."""
        attempt = 1
        while True:
            try:
                self._link.request(method, path, body=content, headers=dict(headers))
                response = self._link.getresponse()
                answered = response.read()
                if response.status < 500 or attempt == _ATTEMPTS:
                    return response.status, answered
            except (OSError, http.client.HTTPException) as error:
                self._link.close()
                if attempt == _ATTEMPTS:
                    raise NoServerError(f"{self._url} does not answer: {error}") from error
            time.sleep(0.3 * (attempt - 1))
            attempt += 1
