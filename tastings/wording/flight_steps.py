"""What is to be done next in a flight, for each of its people."""

from collections.abc import Sequence

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.wording.counts import counted
from tastings.wording.numbers import listed


def plan_is_made(share: float) -> str:
    """Say that the serving plan is not there yet, and how much of the work is done, from 0 to 1."""
    done = f"{100 * share:.0f}\u00a0%"
    return _("The serving plan is being made: %(share)s. Look again in a few seconds.") % {"share": done}


def plan_failed(failure: str) -> str:
    """Say why there is no serving plan."""
    return _("There is no plan: %(failure)s.") % {"failure": failure.rstrip(".")}


def taste(code: int, *, number: int, of: int) -> str:
    """Say which cup a taster takes next."""
    return _("Taste your next cup: %(code)s. It is cup %(number)s of %(of)s.") % {
        "code": code,
        "number": number,
        "of": of,
    }


def pour(left: int) -> str:
    """Say how many cups are still to be poured."""
    return ngettext(
        "Pour: %(n)s cup is not tasted yet.", "Pour: %(n)s cups are not tasted yet.", left
    ) % {"n": left}  # fmt: skip


def own_cups_done() -> str:
    """Say that a taster has tasted all cups."""
    return _("All your cups are tasted.")


def waiting_for(tasters: Sequence[tuple[str, int]]) -> str:
    """Say whose cups are missing, and how many."""
    return _("Waiting for %(tasters)s.") % {
        "tasters": listed(f"{name} ({counted(cups, 'cup')})" for name, cups in tasters)
    }


def reveal() -> str:
    """Say that a flight can be revealed."""
    return _("Every cup is tasted: reveal which sample is which.")


def others_reveal() -> str:
    """Say who reveals a flight."""
    return _("Every cup is tasted. A buyer or owner reveals which sample is which.")


def working_out() -> str:
    """Say that the answer is not there yet."""
    return _("The answer is being worked out. Look again in a few seconds.")


def decide() -> str:
    """Say that a flight is to be decided."""
    return _("Choose what is bought, and say why.")


def others_decide() -> str:
    """Say who decides a flight."""
    return _("A buyer or owner chooses what is bought.")


def late_scores(n: int) -> str:
    """Say how many scores wait to be admitted."""
    return ngettext(
        "%(n)s score arrived after the reveal: let it count or leave it.",
        "%(n)s scores arrived after the reveal: let them count or leave them.",
        n,
    ) % {"n": n}


def called_off() -> str:
    """Say that a flight was called off."""
    return _("It was called off; nothing comes of it.")
