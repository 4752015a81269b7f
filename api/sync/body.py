"""Reading the body of a sync."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from typing import TypeGuard
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy

from api.http.parsing import TooLarge
from api.sync.schema_versions import SCHEMA_VERSIONS, SchemaVersion
from api.sync.scope import SentScope, read_scope, read_scope_token
from api.sync.serializers import DEFAULT_LIMIT, MAX_CHANGES, MAX_LIMIT
from lots.schema import InvalidValue, clean_id
from lots.wording import field_problem
from tastings.queries.scope import Scope, ScopeToken
from teams.errors import Invalid, Problem, Refused

STREAM_KEYS = frozenset(("schema", "device", "cursor", "scope", "scope_token", "nulls", "limit"))
SYNC_KEYS = STREAM_KEYS | {"changes", "echo"}


class UnknownSchema(Refused):
    """The client uses a version of the record schemas that the server does not have."""

    status = 409
    code = "unknown_schema"
    title = gettext_lazy("This schema is not spoken here")


@dataclass(frozen=True, slots=True)
class SyncRequest:
    """A checked body; each change is checked by the push."""

    device: UUID
    cursor: int
    limit: int
    changes: list[object]
    scope: SentScope | None
    scope_token: ScopeToken | None
    nulls: bool
    echo: bool

    def scope_at(self, now: datetime) -> Scope | None:
        """Return the scope that it asks for; None for everything."""
        return None if self.scope is None else Scope.of(days=self.scope.days, lots=self.scope.lots, now=now)


def schema_version_of(body: Mapping[str, object]) -> SchemaVersion:
    """Return the version of the records that the client speaks; raise UnknownSchema for another."""
    schema = body.get("schema")
    if not _is_integer(schema) or schema not in SCHEMA_VERSIONS:
        known = ", ".join(map(str, sorted(SCHEMA_VERSIONS)))
        raise UnknownSchema(
            _("schemas spoken: %(spoken)s") % {"spoken": known},
            problems=[Problem("schema", "choice", _("one of %(choices)s") % {"choices": known})],
        )
    return SCHEMA_VERSIONS[schema]


def read_body(
    body: Mapping[str, object], *, known: frozenset[str] = SYNC_KEYS, default_limit: int = DEFAULT_LIMIT
) -> SyncRequest:
    """Return the checked body; raise Invalid with all that is wrong, TooLarge for too many changes."""
    problems = [
        Problem(name.encode(errors="replace").decode()[:80], "unknown_field", _("is not part of a sync body"))
        for name in body.keys() - known
    ]
    device = ""
    try:
        device = clean_id(body.get("device"))
    except InvalidValue as error:
        problems.append(field_problem("device", error.fault))
    cursor, limit, changes = body.get("cursor", 0), body.get("limit", default_limit), body.get("changes", [])
    if not _is_integer(cursor) or not 0 <= cursor < 2**63:
        cursor = 0
        problems.append(Problem("cursor", "range", _("must be a whole number, 0 or more")))
    if not _is_integer(limit) or not 1 <= limit <= MAX_LIMIT:
        limit, detail = 0, _("must be a whole number from 1 to %(highest)s") % {"highest": MAX_LIMIT}
        problems.append(Problem("limit", "range", detail))
    if not isinstance(changes, list):
        changes = []
        problems.append(Problem("changes", "type", _("must be a list")))
    elif len(changes) > MAX_CHANGES:
        raise TooLarge
    scope, scope_problems = read_scope(body.get("scope"))
    token, token_problems = read_scope_token(body.get("scope_token"))
    problems += scope_problems + token_problems
    flags: dict[str, bool] = {}
    for name in ("nulls", "echo"):
        if isinstance(flag := body.get(name, True), bool):
            flags[name] = flag
        else:
            problems.append(Problem(name, "type", _("must be true or false")))
    if problems:
        raise Invalid(problems=problems)
    return SyncRequest(UUID(device), cursor, limit, changes, scope, token, **flags)


def _is_integer(value: object) -> TypeGuard[int]:
    return isinstance(value, int) and not isinstance(value, bool)
