"""One change of one record as a device sends it, and the verdict on it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta
from functools import lru_cache
from typing import Literal
from uuid import UUID

from django.utils.translation import gettext as _

from lots.merge import DELETED, Stamp
from lots.schema import (
    InvalidValue,
    RecordSchema,
    clean_fields,
    clean_id,
    clean_stamp,
    clean_text,
    format_stamp,
    gettext_noop,
    uuid_of,
)
from lots.wording import field_problem
from tastings.schemas import RECORD_SCHEMAS
from teams.errors import Problem

VerdictName = Literal["applied", "merged", "unchanged", "refused"]
_HIGHEST_SEQ = 2**53
_CLOCK_LEEWAY = timedelta(minutes=2)
_KEYS = frozenset(("type", "id", "at", "seq", "fields", "deleted"))


@dataclass(frozen=True, slots=True, kw_only=True)
class Change:
    """A checked change: clean field values, or ``{"deleted": True}``.

    ``stamp`` is None for a change made on the server's own state, as REST makes it: then it is later than every other.
    ``expected`` is the revision that the record must still have.
    """

    type: str
    id: UUID
    fields: Mapping[str, object]
    stamp: Stamp | None
    expected: int | None = None

    @property
    def deletes(self) -> bool:
        """Whether this is a deletion."""
        return DELETED in self.fields


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """The outcome of a change: applied, merged (part of it lost to something newer), unchanged or refused."""

    type: str
    id: str
    verdict: VerdictName
    revision: int | None = None
    problems: Sequence[Problem] = ()
    lost: Sequence[Mapping[str, object]] = ()
    """Fields whose value did not win: what stands, since when and by whom."""

    def as_json(self) -> dict[str, object]:
        """Return the wire form."""
        content: dict[str, object] = {
            "type": self.type,
            "id": self.id,
            "verdict": self.verdict,
            "revision": self.revision,
            "problems": [problem.as_json() for problem in self.problems],
        }
        return content | {"lost": list(self.lost)} if self.lost else content


def refused(change: Change, problems: Sequence[Problem]) -> Verdict:
    """Return the verdict on a refused change."""
    return Verdict(type=change.type, id=str(change.id), verdict="refused", problems=problems)


def read_change(sent: object, *, device: str, by: str, now: datetime) -> Change | Verdict:
    """Check one change of a sync body; return the change, or a refusal that names each invalid field."""
    if not isinstance(sent, dict):
        return Verdict(type="", id="", verdict="refused", problems=[Problem("", "type", _("must be an object"))])
    problems = [
        Problem(str(name)[:80], "unknown_field", _("is not part of a change")) for name in sent if name not in _KEYS
    ]
    schema = RECORD_SCHEMAS.get(sent["type"]) if isinstance(sent.get("type"), str) else None
    if schema is None:
        choices = ", ".join(RECORD_SCHEMAS)
        problems.append(Problem("type", "choice", _("must be one of %(choices)s") % {"choices": choices}))
    record: UUID | None = None
    try:
        record = uuid_of(clean_id(sent.get("id")))
    except InvalidValue as error:
        problems.append(field_problem("id", error.fault))
    stamp: Stamp | None = None
    try:
        stamp = _read_stamp(sent.get("at"), sent.get("seq"), device=device, by=by, now=now)
    except InvalidValue as error:
        problems.append(field_problem("seq" if error.fault.code == "seq" else "at", error.fault))
    fields, field_problems = _read_fields(sent, schema)
    problems += field_problems
    if problems or schema is None or record is None or stamp is None:
        return Verdict(type=_echo(sent.get("type")), id=_echo(sent.get("id")), verdict="refused", problems=problems)
    return Change(type=schema.type, id=record, fields=fields, stamp=stamp)


def validate_fields(schema: RecordSchema, fields: Mapping[str, object]) -> tuple[dict[str, object], list[Problem]]:
    """Return the clean values of the fields and the problems of the others."""
    values, faults = clean_fields(schema, fields)
    return values, [field_problem(name, fault) for name, fault in faults]


def _read_fields(sent: Mapping[str, object], schema: RecordSchema | None) -> tuple[Mapping[str, object], list[Problem]]:
    deleted, fields = sent.get("deleted", False), sent.get("fields")
    if not isinstance(deleted, bool):
        return {}, [Problem("deleted", "type", _("must be true or false"))]
    if deleted:
        return {DELETED: True}, [Problem("fields", "with_deleted", _("a deletion carries no fields"))] if fields else []
    if not isinstance(fields, dict):
        return {}, [Problem("fields", "type", _("must be an object"))]
    if schema is None:
        return {}, []
    return validate_fields(schema, fields)


def _read_stamp(at: object, seq: object, *, device: str, by: str, now: datetime) -> Stamp:
    """Return the stamp of a change; a moment in the future becomes the server's, with the device's beside it."""
    reported = clean_stamp(at)
    if seq is None:
        seq = 0
    elif isinstance(seq, bool) or not isinstance(seq, int) or not 1 <= seq <= _HIGHEST_SEQ:
        raise InvalidValue("seq", gettext_noop("must be a whole number from 1 that rises with each change of a device"))
    if reported > _latest_plausible(now):
        return Stamp(format_stamp(now), device, by, reported, seq)
    return Stamp(reported, device, by, seq=seq)


@lru_cache(maxsize=8)
def _latest_plausible(now: datetime) -> str:
    return format_stamp(now + _CLOCK_LEEWAY)


def _echo(value: object) -> str:
    try:
        return clean_text(value, longest=80)
    except InvalidValue:
        return ""
