"""Of which sessions a phone has infusions, notes and photos: those of the last days, and those of some lots.

The server stores nothing about it. What a phone has is written in a token, which every answer with a scope carries; the
phone stores it together with the answer's changes and sends it back. So lost and repeated answers do no harm. When the
scope asked for differs from that of the token, the difference is sent first, page by page, and the token says how far
it has come (`tastings.queries.scope_change`).
"""

import base64
import binascii
import json
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from uuid import UUID

from django.db.models import Q

from tastings.models import Session

MOST_DAYS, MOST_LOTS = 36_500, 100
SCOPED_TYPES = ("infusion", "note", "photo")
"""Types that a phone gets only for sessions of its scope."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Scope:
    """Sessions that began at ``since`` or later, and those of ``lots``."""

    since: datetime
    lots: frozenset[UUID]

    @classmethod
    def of(cls, *, days: int, lots: Collection[UUID], now: datetime) -> "Scope":
        """Return the scope of the last days; it moves on at midnight UTC, so that it changes once a day."""
        today = now.astimezone(UTC).replace(hour=0, minute=0, second=0, microsecond=0)
        return cls(since=today - timedelta(days=days), lots=frozenset(lots))

    def sessions(self, to: str = "") -> Q:
        """Return the condition of its sessions; ``to`` is the path from the filtered rows to their session."""
        return Q(**{f"{to}started_at__gte": self.since}) | Q(**{f"{to}lot_id__in": list(self.lots)})

    def has(self, session: Mapping[str, object]) -> bool:
        """Whether a session with these fields, in wire form, is one of them."""
        lot = session.get("lot")
        began_at = datetime.fromisoformat(str(session["started_at"]))
        return began_at >= self.since or (lot is not None and UUID(str(lot)) in self.lots)


def sessions_in(scope: Scope | None, to: str = "") -> Q:
    """Return the condition of a scope's sessions; None is the scope of all."""
    return Q() if scope is None else scope.sessions(to)


def sessions_outside(sessions: Collection[UUID], *, scope: Scope | None) -> set[UUID]:
    """Return which of these sessions are not in the scope."""
    if scope is None or not sessions:
        return set()
    inside = Session.objects.filter(scope.sessions(), id__in=sessions).values_list("id", flat=True)
    return set(sessions) - set(inside)


class InvalidScopeTokenError(ValueError):
    """The text is no token of ours."""


@dataclass(frozen=True, slots=True, kw_only=True)
class ScopeToken:
    """What a phone has.

    ``scope`` is whose sessions it has in full, None for all. ``target`` is the scope that it is being brought to,
    ``after`` type and id of the last row sent for that. ``revision_at_start`` is the team's revision when the phone
    began at cursor 0: what lies outside the scope up to there was never sent, so it need not be taken back.
    """

    scope: Scope | None
    revision_at_start: int = 0
    is_changing: bool = False
    target: Scope | None = None
    after: tuple[str, UUID] | None = None

    def changing_to(self, target: Scope | None) -> "ScopeToken":
        """Return the token at the beginning of a change of scope."""
        return replace(self, is_changing=True, target=target, after=None)

    def changed(self) -> "ScopeToken":
        """Return the token at the end of a change of scope."""
        return ScopeToken(scope=self.target, revision_at_start=self.revision_at_start)

    def encode(self) -> str:
        """Return it as a text that is the same for the same token."""
        parts: list[object] = [_packed(self.scope), self.revision_at_start]
        if self.is_changing:
            parts += [_packed(self.target), [self.after[0], self.after[1].hex] if self.after else None]
        text = json.dumps(parts, separators=(",", ":")).encode()
        return base64.urlsafe_b64encode(text).decode().rstrip("=")

    @classmethod
    def decode(cls, text: str) -> "ScopeToken":
        """Read a token; raise InvalidScopeTokenError for another text."""
        try:
            padded = text + "=" * (-len(text) % 4)
            parts = json.loads(base64.b64decode(padded, altchars=b"-_", validate=True))
            packed, revision_at_start, *change = parts
            if (
                not isinstance(revision_at_start, int)
                or not 0 <= revision_at_start < 2**63
                or len(change) not in (0, 2)
            ):
                raise InvalidScopeTokenError(text)
            token = cls(scope=_unpacked(packed), revision_at_start=revision_at_start)
            if not change:
                return token
            target, after = change
            if after is not None and after[0] not in SCOPED_TYPES:
                raise InvalidScopeTokenError(text)
            return replace(
                token,
                is_changing=True,
                target=_unpacked(target),
                after=None if after is None else (after[0], UUID(hex=after[1])),
            )
        except (binascii.Error, ValueError, TypeError, AttributeError, KeyError, IndexError, RecursionError) as error:
            raise InvalidScopeTokenError(text) from error


def _packed(scope: Scope | None) -> object:
    """Return a scope as JSON: the day it begins, and its lots in a fixed order."""
    return scope and [scope.since.date().isoformat(), *sorted(lot.hex for lot in scope.lots)]


def _unpacked(packed: object) -> Scope | None:
    if packed is None:
        return None
    if not isinstance(packed, list) or not 1 <= len(packed) <= 1 + MOST_LOTS:
        raise InvalidScopeTokenError(packed)
    day, *lots = packed
    since = datetime.strptime(day, "%Y-%m-%d").replace(tzinfo=UTC)
    return Scope(since=since, lots=frozenset(UUID(hex=lot) for lot in lots))
