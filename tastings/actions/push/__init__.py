from tastings.actions.push.change import SHAPES, Change, Verdict, checked, read_change
from tastings.actions.push.checks import NEW
from tastings.actions.push.push import push, push_changes

__all__ = ["NEW", "SHAPES", "Change", "Verdict", "checked", "push", "push_changes", "read_change"]
