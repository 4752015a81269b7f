"""Push: what phones, REST and imports change goes through here.

In this order: `change` (read and check each change), `reading` (read the `state`), `applying` (check against the state
and merge into `pending` records), `numbers` (one infusion of a number), `store`.
"""

from tastings.actions.push.blind import set_lot
from tastings.actions.push.change import Change, Verdict, read_change, validate_fields
from tastings.actions.push.checks import NEW
from tastings.actions.push.push import push, push_changes
from tastings.actions.push.rows import check_constraints_now
from tastings.actions.push.store import renew_child_revisions

__all__ = [
    "NEW",
    "Change",
    "Verdict",
    "check_constraints_now",
    "push",
    "push_changes",
    "read_change",
    "renew_child_revisions",
    "set_lot",
    "validate_fields",
]
