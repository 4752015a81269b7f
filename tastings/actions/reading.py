"""Accepting what a note's text suggests: ordinary notes, which merge like any other edit."""

from collections.abc import Mapping, Sequence
from datetime import datetime
from uuid import UUID, uuid5

from django.utils.translation import gettext as _

from lots.schema import Unfit, clean
from lots.wording import problem_of
from tastings.actions.push import Change, push_changes
from tastings.queries.reading import noted_beside, suggested
from tastings.queries.records import Record, record_for
from tastings.reading.reader import Suggestion
from tastings.schemas import NOTE
from teams.errors import Invalid, NotAllowed, Problem
from teams.models import Member

_NAMESPACE = UUID("5d0a1b7e-2f6c-5b8e-9c64-0d4e6a7f3b12")
MOST = 100


def accept_suggestions(
    member: Member, *, note: UUID, accepted: object, device: UUID, now: datetime
) -> Sequence[Record]:
    """Note what the taster accepts of a text; return the notes that hold it now, in the order accepted.

    What is noted of that infusion and moment already stays as it is, so repeating changes nothing.

    Parameters
    ----------
    accepted : list of objects
        ``descriptor``, and ``intensity`` if another than the suggested one.

    Raises
    ------
    NotHere, NotAllowed, Invalid
        The note cannot be seen; the member is not its session's taster; something accepted is not suggested, or its
        intensity does not hold.
    """
    read = record_for(member, "note", note)
    session = record_for(member, "session", UUID(str(read.fields["session"])))
    if session.fields["taster"] != str(member.user_id) or not member.may_write:
        raise NotAllowed(_("only the taster of the session accepts what a text suggests"))
    wanted = _checked(accepted, suggested(member, read))
    place = {name: read.fields[name] for name in ("session", "infusion", "moment")}
    there = {str(row.fields["descriptor"]): row.id for row in noted_beside(member, read, of=wanted)}
    changes = [
        Change(
            type="note",
            id=uuid5(_NAMESPACE, f"{note}/{key}"),
            fields={**place, "descriptor": key, "intensity": intensity},
            stamp=None,
        )
        for key, intensity in wanted.items()
        if key not in there
    ]
    verdicts = push_changes(member, device=device, changes=changes, now=now)
    if problems := [problem for verdict in verdicts for problem in verdict.problems]:
        raise Invalid(problems=problems)
    made = {str(change.fields["descriptor"]): change.id for change in changes}
    return [record_for(member, "note", there.get(key) or made[key]) for key in wanted]


def _checked(accepted: object, suggestions: Mapping[str, Suggestion]) -> dict[str, object]:
    """Return each accepted descriptor's intensity."""
    if not isinstance(accepted, list) or not 1 <= len(accepted) <= MOST:
        raise Invalid(
            problems=[Problem("accept", "type", _("must be a list of 1 to %(most)s objects") % {"most": MOST})]
        )
    wanted: dict[str, object] = {}
    problems: list[Problem] = []
    for i, item in enumerate(accepted):
        at = f"accept.{i}"
        if not isinstance(item, dict) or not isinstance(item.get("descriptor"), str):
            problems.append(Problem(at, "type", _("must be an object with a descriptor")))
            continue
        problems += [
            Problem(f"{at}.{str(name)[:40]}", "unknown_field", _("descriptor and intensity"))
            for name in item.keys() - {"descriptor", "intensity"}
        ]
        one = suggestions.get(item["descriptor"])
        if one is None or (not one.present and one.intensity is None):
            detail = _("is not among what the text suggests") if one is None else _("the text says it is not there")
            problems.append(Problem(f"{at}.descriptor", "choice", detail))
            continue
        try:
            given = clean(NOTE.by_name()["intensity"], item["intensity"]) if "intensity" in item else one.intensity
        except Unfit as error:
            problems.append(problem_of(f"{at}.intensity", error.fault))
            continue
        wanted.setdefault(one.descriptor, given)
    if problems:
        raise Invalid(problems=problems)
    return wanted
