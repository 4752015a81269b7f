"""Reading the body of a sync."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import datetime
from functools import partial
from typing import Any
from uuid import UUID

from django.utils.translation import gettext as _
from django.utils.translation import gettext_lazy
from rest_framework.fields import empty

from api.http.bodies import present, whole_number
from api.http.parsing import TooLarge
from api.sync.schema_versions import SCHEMA_VERSIONS, SchemaVersion
from api.sync.scope import SentScope, read_scope, read_scope_token
from api.sync.serializers import DEFAULT_LIMIT, MAX_CHANGES, MAX_LIMIT
from lots.schema import Field, InvalidValue, clean_id, clean_value, gettext_noop
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

    version: SchemaVersion
    device: UUID
    cursor: int
    limit: int
    changes: list[object]
    nulls: bool
    echo: bool
    scope: SentScope | None
    scope_token: ScopeToken | None

    def scope_at(self, now: datetime) -> Scope | None:
        """Return the scope that it asks for; None for everything."""
        return None if self.scope is None else Scope.of(days=self.scope.days, lots=self.scope.lots, now=now)


def read_body(
    body: Mapping[str, object], *, known: frozenset[str] = SYNC_KEYS, default_limit: int = DEFAULT_LIMIT
) -> SyncRequest:
    """Return the checked body.

    Raise Invalid with all that is wrong, UnknownSchema for a version that is not spoken, TooLarge for too many changes.
    """
    problems = [
        Problem(name.encode(errors="replace").decode()[:80], "unknown_field", _("is not part of a sync body"))
        for name in body.keys() - known
    ]
    fields: Mapping[str, tuple[object, Callable[[object], object]]] = {
        "version": (empty, _version),
        "device": (empty, _device),
        "cursor": (0, partial(whole_number, lowest=0, highest=_MAX_CURSOR)),
        "limit": (default_limit, partial(whole_number, lowest=1, highest=MAX_LIMIT)),
        "changes": ([], _changes),
        "nulls": (True, _truth),
        "echo": (True, _truth),
    }
    values: dict[str, Any] = {}  # each of its field's type
    for name, (default, clean) in fields.items():
        sent_as = "schema" if name == "version" else name
        try:
            values[name] = clean(present(body.get(sent_as, default)))
        except InvalidValue as error:
            problems.append(field_problem(sent_as, error.fault))
    scope, scope_problems = read_scope(body.get("scope"))
    token, token_problems = read_scope_token(body.get("scope_token"))
    problems += scope_problems + token_problems
    if problems:
        raise Invalid(problems=problems)
    return SyncRequest(**values, scope=scope, scope_token=token)


def _version(value: object) -> SchemaVersion:
    """Return the version of the records that the client speaks; raise UnknownSchema for another number."""
    if isinstance(value, bool) or not isinstance(value, int):
        raise InvalidValue("type", gettext_noop("must be a whole number"))
    if value not in SCHEMA_VERSIONS:
        known = ", ".join(map(str, sorted(SCHEMA_VERSIONS)))
        raise UnknownSchema(
            _("schemas spoken: %(spoken)s") % {"spoken": known},
            problems=[Problem("schema", "choice", _("one of %(choices)s") % {"choices": known})],
        )
    return SCHEMA_VERSIONS[value]


def _device(value: object) -> UUID:
    return UUID(clean_id(value))


def _changes(value: object) -> list[object]:
    if not isinstance(value, list):
        raise InvalidValue("type", gettext_noop("must be a list"))
    if len(value) > MAX_CHANGES:
        raise TooLarge
    return value


def _truth(value: object) -> object:
    return clean_value(_TRUTH, value)


_MAX_CURSOR = 2**63 - 1
_TRUTH = Field(name="truth", kind="truth")
