"""What must hold for a record beyond each field's own limits: references, fixed fields, who may do what."""

from collections.abc import Iterator

from django.utils.translation import gettext as _

from lots.merge import StampedRecord
from lots.schema import record_faults, uuid_of
from lots.wording import field_problem
from tastings.actions.push.change import Change
from tastings.actions.push.pending import Draft
from tastings.actions.push.state import Ground
from teams.errors import Problem

NEW = 0
"""As the expected revision: the record must not be there yet."""
UNKNOWN_PARENT = "unknown_parent"


def problems_of(change: Change, draft: Draft, trial: StampedRecord, *, ground: Ground) -> list[Problem]:
    """Return what stands against the change, given what the record would become."""
    if change.id in ground.built_in:
        return [Problem("id", "not_allowed", _("a built-in descriptor cannot be changed"))]
    if not draft.exists:
        if change.deletes:
            return [Problem("id", "unknown_record", _("there is no such %(type)s here") % {"type": change.type})]
        if missing := _between(draft, trial):
            return missing
        if (change.type, change.id) in ground.hidden:
            return [Problem("id", "taken", _("choose another id"))]
    elif change.expected == NEW:
        return [Problem("id", "taken", _("there is a %(type)s with this id already") % {"type": change.type})]
    elif change.expected is not None and change.expected != draft.revision:
        return [
            Problem(
                "",
                "changed",
                _("the %(type)s is at revision %(revision)s") % {"type": change.type, "revision": draft.revision},
            )
        ]
    if change.deletes:
        return []
    return [
        *_between(draft, trial),
        *_fixed(change, draft),
        *_references(change, ground),
        *_of_its_type(change, draft, trial, ground),
    ]


def _between(draft: Draft, trial: StampedRecord) -> list[Problem]:
    return [field_problem(name, fault) for name, fault in record_faults(draft.schema, trial.values)]


def _fixed(change: Change, draft: Draft) -> Iterator[Problem]:
    for field in draft.schema.fields:
        if field.fixed and draft.exists and field.name in change.fields:
            if change.fields[field.name] == draft.values.get(field.name):
                continue
            yield Problem(field.name, "fixed", _("cannot change once it is set"))


def _references(change: Change, ground: Ground) -> Iterator[Problem]:
    for field in ground.draft_of(change).schema.fields:
        value = change.fields.get(field.name)
        if value is None:
            continue
        if field.kind == "key":
            known = ground.word(value) is not None
        elif field.to == "shop":
            known = uuid_of(str(value)) in ground.shops
        elif field.to == "flight_cup":
            known = uuid_of(str(value)) in ground.cups or value == ground.draft_of(change).values.get(field.name)
        elif field.to is not None:
            if uuid_of(str(value)) == change.id:
                yield Problem(field.name, "itself", _("a %(type)s cannot hang on itself") % {"type": change.type})
                continue
            known = ground.find(field.to, value) is not None
        else:
            continue
        if not known:
            detail = _("the server has no such %(type)s yet") % {"type": field.to or "descriptor"}
            yield Problem(field.name, UNKNOWN_PARENT, detail)


def _of_its_type(change: Change, draft: Draft, trial: StampedRecord, ground: Ground) -> Iterator[Problem]:
    match change.type:
        case "session":
            cup = trial.values.get("flight_cup")
            known = cup and (draft.exists or uuid_of(str(cup)) in ground.cups)
            if known and trial.values.get("lot") != draft.values.get("lot"):
                yield Problem("lot", "not_allowed", _("is set when the flight is revealed"))
            if draft.row is not None and "private" in change.fields:
                taster = draft.row.server_values()["taster"]
                flips = change.fields["private"] != draft.values["private"]
                if flips and taster != str(ground.member.user_id):
                    yield Problem("private", "not_allowed", _("only the taster may change this"))
        case "note":
            infusion = trial.values.get("infusion")
            parent = ground.find("infusion", infusion) if infusion is not None else None
            if parent is not None and parent.values["session"] != trial.values["session"]:
                yield Problem("infusion", "other_session", _("is an infusion of another session"))
        case "descriptor":
            key = str(trial.values.get("key"))
            drafts = ground.drafts["descriptor"]
            stored = {word.id for word in ground.descriptors.get(key, ()) if not word.removed}
            drafted = {
                other.id
                for other in drafts.values()
                if other.exists and not other.copy.removed and other.values["key"] == key
            }
            if ((stored - drafts.keys()) | drafted) - {change.id}:
                yield Problem("key", "taken", _("there is a descriptor with this key already"))
        case _:
            return
