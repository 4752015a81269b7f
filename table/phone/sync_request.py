"""One request to the server, tried again until a usable answer comes."""

import gzip
import json
import zlib
from collections.abc import Mapping
from http import HTTPStatus

from table.phone.errors import RefusedError, SignedOutError, UnreachableError
from table.phone.retry import RetryPolicy
from table.phone.transport import LINES, Response, Transport

_PASSING = (HTTPStatus.REQUEST_TIMEOUT, HTTPStatus.TOO_MANY_REQUESTS)
"""Beside 5xx, answers after which the same request may succeed: sent too slowly, or one too many."""


def encode_json(value: object) -> bytes:
    """Return strict JSON in UTF-8; raise ValueError for what JSON has no form for (NaN, a lone surrogate)."""
    return json.dumps(value, ensure_ascii=False, allow_nan=False, separators=(",", ":")).encode()


def send_request(  # noqa: PLR0913 - what a request is made of
    transport: Transport,
    request: tuple[str, str],
    *,
    token: str,
    body: Mapping[str, object] | None,
    retry: RetryPolicy,
    piece: tuple[int, bytes] | None = None,
    lines: bool = False,
) -> Mapping[str, object]:
    """Send a request (method and path) and return the JSON object of the answer.

    ``piece`` is a part of a file with the offset where it begins, sent as it is. With ``lines`` the answer may
    have many objects, one a line: they are returned as ``pages``, after a break those that came. Without an answer, or
    after 408, 429 or 5xx, the request is sent again: nothing that a phone sends does harm when it is sent twice. Raise
    SignedOutError for 401; at the last attempt RefusedError for another refusal, UnreachableError without an answer.
    """
    method, path = request
    headers = {"Accept": LINES if lines else "application/json", "Accept-Encoding": "gzip"}
    headers |= {"Authorization": f"Bearer {token}"} if token else {}
    content = None
    if body is not None:
        content = gzip.compress(encode_json(body), compresslevel=5, mtime=0)
        headers |= {"Content-Type": "application/json", "Content-Encoding": "gzip"}
    elif piece is not None:
        offset, content = piece
        headers |= {"Content-Type": "application/octet-stream", "Upload-Offset": str(offset)}
    failures = 0
    while True:
        at_least_s = 0.0
        try:
            response = transport.send(method, path, headers=headers, body=content)
        except UnreachableError:
            if failures + 1 >= retry.attempts:
                raise
        else:
            passing = response.status >= 500 or response.status in _PASSING
            if not passing or failures + 1 >= retry.attempts:
                return _json_of(response, request=f"{method} {path}")
            at_least_s = _retry_after_s(response)
        failures += 1
        retry.pause(failures, at_least_s=at_least_s)


def _json_of(response: Response, *, request: str) -> Mapping[str, object]:
    try:
        content = response.body
        is_lines = response.headers.get("content-type") == LINES
        if response.headers.get("content-encoding") == "gzip":
            content = zlib.decompressobj(wbits=31).decompress(content) if is_lines else gzip.decompress(content)
        body: object
        if is_lines:
            body = {"pages": [json.loads(line) for line in content[: content.rfind(b"\n") + 1].splitlines()]}
        else:
            body = json.loads(content) if content else {}
    except (ValueError, EOFError, OSError, zlib.error) as error:
        raise RefusedError(
            f"{request}: {response.status}, and the answer is not JSON", status=response.status
        ) from error
    if response.status < 400 and isinstance(body, dict):
        return body
    problem = body if isinstance(body, dict) else {}
    reason = problem.get("detail") or problem.get("title") or "without a reason"
    kind = SignedOutError if response.status == HTTPStatus.UNAUTHORIZED else RefusedError
    raise kind(f"{request}: {response.status} {reason}", status=response.status, problem=problem)


def _retry_after_s(response: Response) -> float:
    text = response.headers.get("retry-after", "")
    return min(float(text), 300.0) if text.isascii() and text.isdigit() else 0.0
