"""Why a flight has no serving plan."""

from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _

from tastings.maths.flights.sittings import PlanProblem


@dataclass(frozen=True, slots=True)
class PlanFailure:
    """Why the last attempt at a plan failed, as it is stored.

    ``lots`` and ``cups`` are the numbers of ``too_few_cups``; ``detail`` is the message of a program error.
    """

    code: PlanProblem | Literal["no_code_left", "program_error"]
    lots: int = 0
    cups: int = 0
    detail: str = ""


def plan_failure(failure: PlanFailure) -> str:  # noqa: PLR0911, PLR0912 - one sentence for each code
    """Say why there is no plan."""
    match failure.code:
        case "too_few_lots":
            return _("a choice needs two lots or more")
        case "lot_twice":
            return _("one of the lots is named twice")
        case "taster_twice":
            return _("one of the tasters is named twice")
        case "no_taster":
            return _("nobody is there to taste")
        case "reference_among_lots":
            return _("the reference is one of the lots to choose from")
        case "no_cup":
            return _("a sitting leaves no cup for a lot")
        case "no_cup_beside_reference":
            return _("a sitting leaves no cup for a lot beside the reference")
        case "no_sitting":
            return _("each taster sits once or more")
        case "negative_repeats":
            return _("cannot be below 0")
        case "too_many_repeats":
            return _("at most half of a taster's cups can repeat another")
        case "repeat_beside_its_lot":
            return _("a lot and its repeat need a cup between them")
        case "impossible_fixed_cups":
            return _("a sitting keeps more cups than it has, or has no number")
        case "fixed_sitting_twice":
            return _("a sitting stands twice")
        case "too_few_cups":
            return _("%(lots)s lots want a cup and %(cups)s cups are free for them") % {
                "lots": failure.lots,
                "cups": failure.cups,
            }
        case "repeats_leave_lots_out":
            return _("with so many repeats there are too few cups for all lots")
        case "no_even_plan":
            return _("what was tasted leaves no even plan for the rest: change lots, cups or sittings")
        case "no_code_left":
            return _("the flight has used up its three-digit codes")
        case "program_error":
            return failure.detail
