"""``Idempotency-Key``: a repeated request is not carried out again, and gets the answer of the first.

For POST and PATCH. Not for sync, which may be repeated anyway. Answers are stored, so it is not for those that hold a
secret either: tokens, invitations, links.
"""

from __future__ import annotations

import hashlib
from typing import TYPE_CHECKING
from uuid import UUID

from django.http import HttpRequest, HttpResponse
from django.http.response import HttpResponseBase
from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.exceptions import AuthenticationFailed
from rest_framework.request import Request

from api.http.auth import BearerAuthentication
from api.http.middleware import Middleware
from api.http.parsing import MAX_BODY_BYTES
from api.http.problems import problem_response
from teams.actions.stored_answers import release_key, reserve_key, store_answer
from teams.errors import Refused

if TYPE_CHECKING:
    from teams.models import Member

HEADER = "Idempotency-Key"
MAX_KEY_LENGTH = 255
MAX_STORED_BYTES = 64 * 1024
METHODS = ("POST", "PATCH")
_ROOT = "/api/v1/"
_WITHOUT = ("auth", "invitations", "me", "shares", "sync", "team")
_STORED_HEADERS = ("Content-Type", "Content-Language", "ETag", "Location")


class InvalidKey(Refused):
    """The header holds no key."""

    status = 400
    code = "invalid_key"
    title = gettext_lazy("This is no Idempotency-Key")


def takes_key(method: str, path: str) -> bool:
    """Whether an address heeds the header."""
    return method in METHODS and path.startswith(_ROOT) and path.split("/")[3] not in _WITHOUT


class IdempotencyKeys(Middleware):
    """Answers repeated requests from what is stored."""

    def __call__(self, request: HttpRequest) -> HttpResponseBase:
        """Answer."""
        sent = request.headers.get(HEADER)
        if sent is None or not takes_key(str(request.method), request.path_info):
            return self.answer(request)
        if int(request.META.get("CONTENT_LENGTH") or 0) > MAX_BODY_BYTES:
            return self.answer(request)  # which refuses it
        member = _caller(request)
        if member is None:
            return self.answer(request)
        try:
            stored = reserve_key(member, key=_key(sent), request=_digest(request), now=timezone.now())
        except Refused as refused:
            return problem_response(refused)
        if stored.status is not None:
            return HttpResponse(bytes(stored.body), status=stored.status, headers=stored.headers)
        return self._carry_out(request, stored.id)

    def _carry_out(self, request: HttpRequest, row: UUID) -> HttpResponseBase:
        """Answer and store the answer in the row, or free the key if there is nothing to store."""
        stores = False
        try:
            response = self.answer(request)
            body = _body_to_store(response)
            if stores := body is not None:
                headers = {name: response[name] for name in _STORED_HEADERS if name in response}
                store_answer(row, status=response.status_code, headers=headers, body=body)
        finally:
            if not stores:
                release_key(row)
        return response


def _caller(request: HttpRequest) -> Member | None:
    try:
        signed_in = BearerAuthentication().authenticate(Request(request))
    except AuthenticationFailed:
        return None
    return None if signed_in is None else signed_in[1].member


def _key(sent: str) -> str:
    """Return the key, a string in quotes after RFC 9651; one without quotes is taken as well."""
    key = sent.strip()
    if len(key) > 1 and key[0] == key[-1] == '"':
        key = key[1:-1]
    if not key or len(key) > MAX_KEY_LENGTH or not (key.isascii() and key.isprintable()):
        raise InvalidKey(_("1 to %(most)s printable characters of ASCII") % {"most": MAX_KEY_LENGTH})
    return key


def _digest(request: HttpRequest) -> str:
    parts = (str(request.method).encode(), request.get_full_path().encode(), request.body)
    return hashlib.sha256(b"\0".join(parts)).hexdigest()


def _body_to_store(response: HttpResponseBase) -> bytes | None:
    """Return the body of a request that was carried out; None for a refusal, a stream and what is too large."""
    if not (200 <= response.status_code < 300 and isinstance(response, HttpResponse)):
        return None
    return response.content if len(response.content) <= MAX_STORED_BYTES else None
