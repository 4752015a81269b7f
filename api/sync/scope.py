"""Reading the scope of a sync's body, and the token of an earlier answer."""

from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from lots.schema import InvalidValue, clean_id
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
    days, lots = sent.get("days"), sent.get("lots", [])
    if not isinstance(days, int) or isinstance(days, bool) or not 0 <= days <= MOST_DAYS:
        days, detail = 0, _("must be a whole number from 0 to %(highest)s") % {"highest": MOST_DAYS}
        problems.append(Problem("scope.days", "range", detail))
    if not isinstance(lots, list) or len(lots) > MOST_LOTS:
        detail = _("must be a list of at most %(highest)s ids") % {"highest": MOST_LOTS}
        return None, [*problems, Problem("scope.lots", "range", detail)]
    ids = set[UUID]()
    for lot in lots:
        try:
            ids.add(UUID(clean_id(lot)))
        except InvalidValue as error:
            problems.append(field_problem("scope.lots", error.fault))
            break
    return (None, problems) if problems else (SentScope(days, frozenset(ids)), [])


def read_scope_token(sent: object) -> tuple[ScopeToken | None, list[Problem]]:
    """Return what the phone has, None when it has never named a scope, and what is wrong with the token."""
    if sent is None:
        return None, []
    try:
        return ScopeToken.decode(sent if isinstance(sent, str) else ""), []
    except InvalidScopeTokenError:
        return None, [Problem("scope_token", "wrong", _("must be that of the last answer"))]


_KEYS = frozenset(("days", "lots"))
