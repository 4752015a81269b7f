"""What tells a lot from others of its name."""

from datetime import date

from django.utils.translation import gettext as _

from tastings.wording.labels import STATUSES, label
from tastings.wording.numbers import day


def status_with_day(status: str | None, on: date) -> str:
    """Write a lot's status with the day on which it arrived, or was written down; empty text without a status.

    >>> status_with_day("bought", date(2026, 3, 4))
    'Bought, 4 March 2026'
    """
    return _("%(status)s, %(day)s") % {"status": label(STATUSES, status), "day": day(on)} if status else ""


def chosen_blind(on: date | str) -> str:
    """Say that a blind flight chose a lot that nobody has tasted since."""
    return _("Chosen blind on %(day)s, not tasted since") % {"day": day(on)}
