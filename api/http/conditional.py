"""Conditional requests (ETag, If-None-Match, If-Match), ids in addresses, pages of a list."""

import hashlib
import json
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import is_dataclass
from urllib.parse import urlencode
from uuid import UUID

from django.utils.cache import get_conditional_response
from django.utils.http import parse_etags
from django.utils.translation import gettext as _
from rest_framework.request import Request
from rest_framework.response import Response

from lots.schema import InvalidValue, clean_id
from lots.wording import field_problem
from tastings.figures import to_stored
from teams.errors import Invalid, NotFound, PreconditionFailed, Problem

DEFAULT_LIMIT, MAX_LIMIT = 100, 500


def id_from_path(text: str) -> UUID:
    """Return the id; raise NotFound for a text that is no id, as for an absent record."""
    try:
        return UUID(clean_id(text))
    except InvalidValue as error:
        raise NotFound from error


def conditional_response(request: Request, body: object, *, tag: str | None = None) -> Response:
    """Answer with an ETag, or with 304 if the caller has this version; PreconditionFailed if If-Match names another.

    ``body`` is JSON or the dataclass of an answer. ``tag`` is a version that is the same in every language, such as a
    record's revision; None takes a digest.
    """
    body = to_stored(body) if is_dataclass(body) else body
    if tag is None:
        tag = hashlib.sha256(json.dumps(body, sort_keys=True, default=str).encode()).hexdigest()[:32]
    response = Response(
        body, headers={"ETag": f'"{tag}"', "Cache-Control": "private, no-cache", "Vary": "Authorization"}
    )
    conditional = get_conditional_response(request._request, etag=response["ETag"], response=response)  # noqa: SLF001 - DRF's way to Django's request
    if conditional is not None and conditional.status_code == PreconditionFailed.status:
        raise PreconditionFailed
    return conditional or response  # type: ignore[return-value]  # a 304 is a plain Django response


def expected_revision(request: Request) -> int | None:
    """Return the revision that If-Match names, None without one; raise PreconditionFailed for one it cannot have."""
    header = request.META.get("HTTP_IF_MATCH")
    if header is None or header.strip() == "*":
        return None
    # a compressed answer has its tag in the weak form
    tags = [tag.removeprefix("W/").strip('"') for tag in parse_etags(header)]
    if len(tags) != 1 or not re.fullmatch("[1-9][0-9]{0,17}", tags[0]):
        raise PreconditionFailed
    return int(tags[0])


def int_from_query(request: Request, name: str, *, default: int, highest: int) -> int:
    """Return a whole number from the query, at least 1 and at most ``highest``."""
    text = request.query_params.get(name)
    if text is None:
        return default
    if not (text.isascii() and text.isdigit() and 1 <= len(text) <= 9 and 1 <= int(text) <= highest):
        limits = {"lowest": 1, "highest": highest}
        detail = _("must be a whole number from %(lowest)s to %(highest)s") % limits
        raise Invalid(problems=[Problem(name, "range", detail)])
    return int(text)


def id_from_query(request: Request, name: str) -> UUID | None:
    """Return the id in the query, None without one; raise Invalid for what is no id."""
    text = request.query_params.get(name)
    try:
        return None if text is None else UUID(clean_id(text))
    except InvalidValue as error:
        raise Invalid(problems=[field_problem(name, error.fault)]) from error


def paginated_response(
    request: Request, read: Callable[[UUID | None, int], Sequence[Mapping[str, object]]]
) -> Response:
    """Answer one page: ``read(after, limit)`` gives the rows after an id, in the order of their ids."""
    limit = int_from_query(request, "limit", default=DEFAULT_LIMIT, highest=MAX_LIMIT)
    rows = read(id_from_query(request, "after"), limit + 1)
    following = None
    if len(rows) > limit:
        rest = {k: v for k, v in request.query_params.items() if k != "after"}
        following = request.build_absolute_uri(f"{request.path}?{urlencode(rest | {'after': rows[limit - 1]['id']})}")
    return conditional_response(request, {"results": rows[:limit], "next": following})
