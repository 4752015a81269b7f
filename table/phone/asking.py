"""Asking the server until it answers, and reading what it said."""

import gzip
import json
from collections.abc import Mapping
from http import HTTPStatus
from typing import Any

from table.phone.errors import RefusedError, SignedOutError, UnreachableError
from table.phone.link import Answer, Link
from table.phone.patience import Patience


def encoded(value: object) -> bytes:
    """Return strict JSON in UTF-8; raise ValueError for what it cannot carry (NaN, a lone surrogate)."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def ask(  # noqa: PLR0913 - what a request is made of
    link: Link,
    request: tuple[str, str],
    *,
    token: str,
    body: Mapping[str, object] | None,
    patience: Patience,
    piece: tuple[int, bytes] | None = None,
) -> Mapping[str, Any]:
    """Send a request (method and path) until an answer comes that is worth having, and return its JSON object.

    ``piece`` is a part of a file with the offset where it begins, sent as it is.

    No answer, 429 and every 5xx are tried again, since nothing that a phone sends does harm when it is sent twice.

    Raises
    ------
    SignedOutError
        401.
    RefusedError
        Another refusal, or still a 5xx at the last attempt.
    UnreachableError
        Still no answer at the last attempt.
    """
    method, path = request
    headers = {"Accept": "application/json"} | ({"Authorization": f"Bearer {token}"} if token else {})
    content = None
    if body is not None:
        content = gzip.compress(encoded(body), compresslevel=5, mtime=0)
        headers |= {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    elif piece is not None:
        offset, content = piece
        headers |= {"Content-Type": "application/octet-stream", "Upload-Offset": str(offset)}
    failures = 0
    while True:
        at_least_s = 0.0
        try:
            answer = link.send(method, path, headers=headers, body=content)
        except UnreachableError:
            if failures + 1 >= patience.attempts:
                raise
        else:
            busy = answer.status >= 500 or answer.status == HTTPStatus.TOO_MANY_REQUESTS
            if not busy or failures + 1 >= patience.attempts:
                return _read(answer, what=f"{method} {path}")
            at_least_s = _retry_after_s(answer)
        failures += 1
        patience.wait(failures, at_least_s=at_least_s)


def _read(answer: Answer, *, what: str) -> Mapping[str, Any]:
    try:
        said = json.loads(answer.body) if answer.body else {}
    except ValueError as error:
        raise RefusedError(f"{what}: {answer.status}, and the answer is not JSON", status=answer.status) from error
    if answer.status < 400 and isinstance(said, dict):
        return said
    problem = said if isinstance(said, dict) else {}
    reason = problem.get("detail") or problem.get("title") or "without a reason"
    kind = SignedOutError if answer.status == HTTPStatus.UNAUTHORIZED else RefusedError
    raise kind(f"{what}: {answer.status} {reason}", status=answer.status, problem=problem)


def _retry_after_s(answer: Answer) -> float:
    text = answer.headers.get("retry-after", "")
    return min(float(text), 300.0) if text.isascii() and text.isdigit() else 0.0
