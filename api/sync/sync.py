"""Push and pull in one round trip."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any
from uuid import UUID

from django.utils import timezone
from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.request import Request
from rest_framework.response import Response
from rest_framework.views import APIView

from api.http.auth import device_token, member_of
from api.http.bodies import body_of
from api.http.examples import SYNC_EXAMPLES
from api.http.openapi import BAD_BODY, operation, problem_responses
from api.http.parsing import TooLarge
from api.operations.metrics import count_verdicts
from api.sync.schema_versions import SCHEMA_VERSIONS, SchemaVersion
from api.sync.scope import SentScope, read_scope, read_scope_token
from api.sync.serializers import DEFAULT_LIMIT, MAX_CHANGES, MAX_LIMIT, SyncAnswerSerializer, SyncBodySerializer
from lots.schema import InvalidValue, clean_id, format_utc
from lots.wording import field_problem
from tastings.actions.push import push
from tastings.queries.pull import pull
from tastings.queries.scope import Scope, ScopeToken
from teams.actions.people import check_cursor
from teams.errors import Invalid, Problem, Refused

_KEYS = frozenset(("schema", "device", "cursor", "limit", "changes", "scope", "scope_token"))


class UnknownSchema(Refused):
    """The client uses a version of the record schemas that the server does not have."""

    status = 409
    code = "unknown_schema"
    title = gettext_lazy("This schema is not spoken here")


@dataclass(frozen=True, slots=True)
class _SyncRequest:
    """A checked body; each change is checked by the push."""

    device: UUID
    cursor: int
    limit: int
    changes: list[object]
    scope: SentScope | None
    scope_token: ScopeToken | None


class Sync(APIView):
    """A phone's changes in, one verdict each; everything new to it out."""

    @operation(
        request=SyncBodySerializer,
        responses={200: SyncAnswerSerializer, **BAD_BODY, **problem_responses(409, 410, 503)},
        examples=SYNC_EXAMPLES,
    )
    def post(self, request: Request) -> Response:
        """Push changes and pull what is new: the answer has what changed after the cursor, one's own included."""
        member, now = member_of(request), timezone.now()
        body = body_of(request)
        version = _schema_version(body)
        sent = _read_body(body)
        check_cursor(device_token(request), cursor=sent.cursor, now=now)
        changes = [version.upgrade(change) for change in sent.changes]
        verdicts = push(member, device=sent.device, sent=changes, now=now)
        count_verdicts(verdicts)
        scope = None if sent.scope is None else Scope.of(days=sent.scope.days, lots=sent.scope.lots, now=now)
        page = pull(member, cursor=sent.cursor, limit=sent.limit, scope=scope, token=sent.scope_token)
        answer = {
            "verdicts": [verdict.as_json() for verdict in verdicts],
            "changes": [version.downgrade(change) for change in page.changes],
            "cursor": page.cursor,
            "more": page.more,
            "now": format_utc(now),
        }
        return Response(answer if page.token is None else answer | {"scope_token": page.token.encode()})


def _schema_version(body: Mapping[str, Any]) -> SchemaVersion:
    schema = body.get("schema")
    if not _is_integer(schema) or schema not in SCHEMA_VERSIONS:
        known = ", ".join(map(str, sorted(SCHEMA_VERSIONS)))
        raise UnknownSchema(
            _("schemas spoken: %(spoken)s") % {"spoken": known},
            problems=[Problem("schema", "choice", _("one of %(choices)s") % {"choices": known})],
        )
    return SCHEMA_VERSIONS[schema]


def _read_body(body: Mapping[str, Any]) -> _SyncRequest:
    problems = [
        Problem(name.encode(errors="replace").decode()[:80], "unknown_field", _("is not part of a sync body"))
        for name in body.keys() - _KEYS
    ]
    device = ""
    try:
        device = clean_id(body.get("device"))
    except InvalidValue as error:
        problems.append(field_problem("device", error.fault))
    cursor, limit, changes = body.get("cursor", 0), body.get("limit", DEFAULT_LIMIT), body.get("changes", [])
    if not _is_integer(cursor) or not 0 <= cursor < 2**63:
        problems.append(Problem("cursor", "range", _("must be a whole number, 0 or more")))
    if not _is_integer(limit) or not 1 <= limit <= MAX_LIMIT:
        detail = _("must be a whole number from 1 to %(highest)s") % {"highest": MAX_LIMIT}
        problems.append(Problem("limit", "range", detail))
    if not isinstance(changes, list):
        problems.append(Problem("changes", "type", _("must be a list")))
    elif len(changes) > MAX_CHANGES:
        raise TooLarge
    scope, scope_problems = read_scope(body.get("scope"))
    token, token_problems = read_scope_token(body.get("scope_token"))
    problems += scope_problems + token_problems
    if problems:
        raise Invalid(problems=problems)
    return _SyncRequest(
        device=UUID(device), cursor=cursor, limit=limit, changes=changes, scope=scope, scope_token=token
    )


def _is_integer(value: object) -> bool:
    return isinstance(value, int) and not isinstance(value, bool)
