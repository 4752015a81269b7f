"""Accepting what a note's text suggests: ordinary notes, which merge like any other edit."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import NotRequired, TypedDict
from uuid import UUID, uuid5

from django.utils.translation import gettext as _

from tastings.actions.push import Change, push_changes
from tastings.queries.records import Record, record_for
from tastings.queries.suggestions import all_suggestions, notes_at_same_moment
from tastings.reading.reader import Suggestion
from teams.errors import Invalid, NotAllowed, Problem
from teams.models import Member

_NAMESPACE = UUID("5d0a1b7e-2f6c-5b8e-9c64-0d4e6a7f3b12")


class Accepted(TypedDict):
    """A suggestion that the taster accepts, with the intensity if it is another than the suggested one."""

    descriptor: str
    intensity: NotRequired[float | None]


def check_may_accept(member: Member, note: UUID) -> Record:
    """Return the note whose suggestions the member may accept.

    Raise NotFound if the note cannot be seen, NotAllowed if the member is not its session's taster.
    """
    record = record_for(member, "note", note)
    session = record_for(member, "session", UUID(str(record.fields["session"])))
    if session.fields["taster"] != str(member.user_id) or not member.may_write:
        raise NotAllowed(_("only the taster of the session accepts what a text suggests"))
    return record


def accept_suggestions(
    member: Member, *, note: UUID, accepted: Sequence[Accepted], device: UUID, now: datetime
) -> Sequence[Record]:
    """Store what the taster accepts of a text as notes; return these notes in the order accepted.

    What is noted of that infusion and moment already stays as it is, so repeating changes nothing. Raise the errors of
    `check_may_accept`, and Invalid if something accepted is not suggested.
    """
    record = check_may_accept(member, note)
    intensities = _intensities(accepted, all_suggestions(member, record))
    position = {name: record.fields[name] for name in ("session", "infusion", "moment")}
    existing = {str(row.fields["descriptor"]): row.id for row in notes_at_same_moment(member, record, of=intensities)}
    changes = [
        Change(
            type="note",
            id=uuid5(_NAMESPACE, f"{note}/{key}"),
            fields={**position, "descriptor": key, "intensity": intensity},
            stamp=None,
        )
        for key, intensity in intensities.items()
        if key not in existing
    ]
    verdicts = push_changes(member, device=device, changes=changes, now=now)
    if problems := [p for verdict in verdicts if verdict.verdict == "refused" for p in verdict.problems]:
        raise Invalid(problems=problems)
    created = {str(change.fields["descriptor"]): change.id for change in changes}
    return [record_for(member, "note", existing.get(key) or created[key]) for key in intensities]


def _intensities(accepted: Sequence[Accepted], suggestions: Mapping[str, Suggestion]) -> dict[str, float | None]:
    """Return the intensity of each accepted descriptor; of two with one descriptor the first counts."""
    intensities: dict[str, float | None] = {}
    problems: list[Problem] = []
    for i, item in enumerate(accepted):
        suggestion = suggestions.get(item["descriptor"])
        if suggestion is None:
            problems.append(Problem(f"accept.{i}.descriptor", "choice", _("is not among what the text suggests")))
        elif not suggestion.present and suggestion.intensity is None:
            problems.append(Problem(f"accept.{i}.descriptor", "choice", _("the text says it is not there")))
        else:
            intensities.setdefault(suggestion.descriptor, item.get("intensity", suggestion.intensity))
    if problems:
        raise Invalid(problems=problems)
    return intensities
