"""Details of a verdict: which fields lost to newer values, and which parents are deleted."""

from collections.abc import Collection, Mapping, Sequence

from django.utils.translation import gettext as _

from lots.merge import DELETED, same_json
from tastings.actions.push.change import Change
from tastings.actions.push.pending import PendingRecord
from teams.errors import Problem


def lost_fields(change: Change, pending: PendingRecord) -> Sequence[Mapping[str, object]]:
    """Return the fields of the change that lost: the present value, since when, and who set it."""
    record = pending.current
    lost = []
    for name, value in change.fields.items():
        stands = record.values.get(name)
        if same_json(stands, value):
            continue
        if name != DELETED and (stamp := record.stamps.get(name)) is not None:
            lost.append({"field": name, "value": stands, "at": stamp.at, "by": stamp.by})
    if change.deletes != record.removed:
        others = [stamp for name, stamp in record.stamps.items() if (name == DELETED) == record.removed]
        latest = max(others)
        lost.append({"field": DELETED, "value": record.removed, "at": latest.at, "by": latest.by})
    return lost


def deleted_parents(pending: PendingRecord, deleted: Collection[str]) -> Sequence[Problem]:
    """Return the references to records that are deleted, of which these are the ids.

    The change stands: the record is stored, pulled and in the history, and is shown again once its parent is brought
    back by a later edit. Bringing the parent back here would undo what somebody meant to do.
    """
    if not deleted or pending.current.removed:
        return []
    problems = []
    for field in pending.schema.references:
        if field.to is not None and pending.values.get(field.name) in deleted:
            detail = _("the %(type)s is deleted: this is stored, and shown once it is brought back")
            problems.append(Problem(field.name, "parent_deleted", detail % {"type": field.to}))
    return problems
