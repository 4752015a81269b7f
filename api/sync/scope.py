"""Reading the scope of a sync's body, and the token of an earlier answer."""

from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _
from rest_framework.fields import empty

from api.http.bodies import present, whole_number
from lots.schema import InvalidValue, clean_id, gettext_noop
from lots.wording import field_problem
from tastings.queries.scope import MOST_DAYS, MOST_LOTS, InvalidScopeTokenError, ScopeToken
from teams.errors import Problem


@dataclass(frozen=True, slots=True)
class SentScope:
    """Sessions of so many days back, and of these lots."""

    days: int
    lots: frozenset[UUID]


def read_scope(sent: object) -> tuple[SentScope | None, list[Problem]]:
    """Return the scope, None when there is none, and what is wrong with it."""
    if sent is None:
        return None, []
    if not isinstance(sent, dict):
        return None, [Problem("scope", "type", _("must be an object"))]
    problems = [
        Problem(f"scope.{name}"[:80], "unknown_field", _("is not part of a scope")) for name in sent.keys() - _KEYS
    ]
    days, lots = 0, frozenset[UUID]()
    try:
        days = whole_number(present(sent.get("days", empty)), lowest=0, highest=MOST_DAYS)
    except InvalidValue as error:
        problems.append(field_problem("scope.days", error.fault))
    try:
        lots = _clean_lots(present(sent.get("lots", [])))
    except InvalidValue as error:
        problems.append(field_problem("scope.lots", error.fault))
    return (None, problems) if problems else (SentScope(days, lots), [])


def _clean_lots(sent: object) -> frozenset[UUID]:
    message = gettext_noop("must be a list of at most %(highest)s ids")
    if not isinstance(sent, list):
        raise InvalidValue("type", message, highest=MOST_LOTS)
    if len(sent) > MOST_LOTS:
        raise InvalidValue("range", message, highest=MOST_LOTS)
    return frozenset(UUID(clean_id(lot)) for lot in sent)


def read_scope_token(sent: object) -> tuple[ScopeToken | None, list[Problem]]:
    """Return what the phone has, None when it has never named a scope, and what is wrong with the token."""
    if sent is None:
        return None, []
    try:
        return ScopeToken.decode(sent if isinstance(sent, str) else ""), []
    except InvalidScopeTokenError:
        return None, [Problem("scope_token", "wrong", _("must be that of the last answer"))]


_KEYS = frozenset(("days", "lots"))
