"""A line from reference phones to the application in this process, which loses and repeats what it carries."""

import gzip
import json
from collections.abc import Callable
from datetime import datetime

from django.test import Client

from table.phone import Response, UnreachableError
from table.phone.transport import LINES

FAULTS = ("none", "request lost", "answer lost", "answer cut", "twice")


class Wire:
    """Carries requests for all phones; calls ``on_answer`` for every sync that the server answered.

    A request that was lost, and any that was carried, may be carried once more at any later time by `again`: networks
    do that.
    """

    def __init__(self, on_answer: Callable[[str, list[dict[str, object]], list[dict[str, object]]], None]) -> None:
        self._client, self._on_answer = Client(), on_answer
        self.faults: list[str] = []
        self.carried: list[tuple[str, str, dict[str, str], bytes | None]] = []

    def send(self, method, path, *, headers, body):
        """Carry a request as the next of the faults has it."""
        fault = self.faults.pop(0) if self.faults else "none"
        request = (method, path, dict(headers), body)
        self.carried.append(request)
        if fault == "request lost":
            raise UnreachableError(fault)
        if fault == "twice":
            self._carry(request)
        answer = self._carry(request)
        if fault == "answer lost":
            raise UnreachableError(fault)
        if fault == "answer cut" and answer.headers["content-type"] == LINES:
            return answer._replace(body=answer.body[: len(answer.body) // 2])
        return answer

    def again(self, index: int) -> None:
        """Carry an old request once more; nobody waits for the answer."""
        self._carry(self.carried[index])

    def close(self) -> None:
        """Do nothing."""

    def _carry(self, request) -> Response:
        method, path, headers, body = request
        response = self._client.generic(
            method, path, data=body or b"", content_type=headers.get("Content-Type", ""), headers=headers
        )
        content = response.getvalue()  # reads a stream, once
        if path == "/api/v1/sync" and response.status_code == 200:
            sent = json.loads(gzip.decompress(body))
            self._on_answer(sent["device"], sent["changes"], json.loads(_unpacked(content))["verdicts"])
        return Response(response.status_code, {k.lower(): v for k, v in response.headers.items()}, content)


def _unpacked(content: bytes) -> bytes:
    return gzip.decompress(content) if content.startswith(b"\x1f\x8b") else content


class Clock:
    """The server's clock, which stands still unless it is moved."""

    def __init__(self, now: datetime) -> None:
        self.now = now

    def __call__(self) -> datetime:
        return self.now
