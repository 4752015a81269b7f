"""Why a flight has no serving plan."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

from django.utils.translation import gettext as _
from django.utils.translation import gettext_noop

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


_SENTENCES: Mapping[str, str] = {
    "too_few_lots": gettext_noop("a choice needs two lots or more"),
    "lot_twice": gettext_noop("one of the lots is named twice"),
    "taster_twice": gettext_noop("one of the tasters is named twice"),
    "no_taster": gettext_noop("nobody is there to taste"),
    "reference_among_lots": gettext_noop("the reference is one of the lots to choose from"),
    "no_cup": gettext_noop("a sitting leaves no cup for a lot"),
    "no_cup_beside_reference": gettext_noop("a sitting leaves no cup for a lot beside the reference"),
    "no_sitting": gettext_noop("each taster sits once or more"),
    "negative_repeats": gettext_noop("cannot be below 0"),
    "too_many_repeats": gettext_noop("at most half of a taster's cups can repeat another"),
    "repeat_beside_its_lot": gettext_noop("a lot and its repeat need a cup between them"),
    "impossible_fixed_cups": gettext_noop("a sitting keeps more cups than it has, or has no number"),
    "fixed_sitting_twice": gettext_noop("a sitting stands twice"),
    "too_few_cups": gettext_noop("%(lots)s lots want a cup and %(cups)s cups are free for them"),
    "repeats_leave_lots_out": gettext_noop("with so many repeats there are too few cups for all lots"),
    "no_even_plan": gettext_noop("what was tasted leaves no even plan for the rest: change lots, cups or sittings"),
    "no_code_left": gettext_noop("the flight has used up its three-digit codes"),
}


def plan_failure(failure: PlanFailure) -> str:
    """Say why there is no plan."""
    if failure.code == "program_error":
        return failure.detail
    return _(_SENTENCES[failure.code]) % {"lots": failure.lots, "cups": failure.cups}
