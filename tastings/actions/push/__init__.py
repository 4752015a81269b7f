from tastings.actions.push.blind import name_lot
from tastings.actions.push.change import Change, Verdict, checked, read_change
from tastings.actions.push.checks import NEW
from tastings.actions.push.push import push, push_changes
from tastings.actions.push.rows import checked_now
from tastings.actions.push.store import renew_children

__all__ = [
    "NEW",
    "SHAPES",
    "Change",
    "Verdict",
    "checked",
    "checked_now",
    "name_lot",
    "push",
    "push_changes",
    "read_change",
    "renew_children",
]
