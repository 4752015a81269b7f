"""What a serving plan is asked for, and its sittings before any lot is dealt: what is fixed, how many cups are free."""

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal

PlanProblem = Literal[
    "too_few_lots",
    "lot_twice",
    "taster_twice",
    "no_taster",
    "reference_among_lots",
    "no_cup",
    "no_cup_beside_reference",
    "no_sitting",
    "negative_repeats",
    "too_many_repeats",
    "repeat_beside_its_lot",
    "impossible_fixed_cups",
    "fixed_sitting_twice",
    "too_few_cups",
    "repeats_leave_lots_out",
    "no_even_plan",
]


class PlanError(ValueError):
    """No such plan can be made.

    Parameters
    ----------
    field : str
        The argument of ``plan_servings`` to change.
    code : PlanProblem
        What is wrong with it.
    lots, cups : int
        Of ``too_few_cups``: how many lots have none yet, and how many cups are free for them.
    """

    def __init__(self, field: str, code: PlanProblem, *, lots: int = 0, cups: int = 0) -> None:
        super().__init__(f"{field}: {code}")
        self.field, self.code, self.lots, self.cups = field, code, lots, cups


@dataclass(frozen=True, slots=True)
class PlannedSitting:
    """One taster's cups in the order of serving."""

    taster: str
    number: int  # 1, 2, ... for each taster
    lots: tuple[str, ...]  # in the order of serving; a lot may stand twice (hidden duplicate)
    n_fixed: int = 0  # the first so many were tasted already and stay [cups]


@dataclass(slots=True)
class OpenSitting:
    """A sitting while it is planned."""

    taster: str
    number: int
    prefix: tuple[str, ...] = ()
    wants_reference: bool = False
    room: int = 0  # free cups of compared lots
    lots: list[str] = field(default_factory=list)

    def all(self) -> tuple[str, ...]:
        """Return fixed and new lots."""
        return (*self.prefix, *self.lots)


@dataclass(frozen=True, slots=True)
class PlanRequest:
    """What is asked for, as in ``plan_servings``."""

    lots: tuple[str, ...]
    tasters: tuple[str, ...]
    cups: int
    sittings: int
    reference: str | None
    repeats: int

    def check(self) -> None:
        """Raise PlanError for what no plan can follow."""
        if len(self.lots) < 2:
            raise PlanError("lots", "too_few_lots")
        if len(set(self.lots)) < len(self.lots):
            raise PlanError("lots", "lot_twice")
        if len(set(self.tasters)) < len(self.tasters):
            raise PlanError("tasters", "taster_twice")
        if not self.tasters:
            raise PlanError("tasters", "no_taster")
        if self.reference in self.lots:
            raise PlanError("reference", "reference_among_lots")
        has_reference = self.reference is not None
        if self.cups < 1 + has_reference:
            raise PlanError("cups", "no_cup_beside_reference" if has_reference else "no_cup")
        if self.sittings < 1:
            raise PlanError("sittings", "no_sitting")
        if self.repeats < 0:
            raise PlanError("repeats", "negative_repeats")
        if self.repeats > (self.cups - has_reference) * self.sittings // 2:
            raise PlanError("repeats", "too_many_repeats")
        if self.repeats and self.sittings == 1 and self.cups < 3:
            raise PlanError("repeats", "repeat_beside_its_lot")


def open_sittings_for(request: PlanRequest, fixed: Sequence[PlannedSitting]) -> list[OpenSitting]:
    """Set up every sitting with what is fixed of it and how many cups are free."""
    prefixes: dict[tuple[str, int], tuple[str, ...]] = {}
    for row in fixed:
        if not 0 <= row.n_fixed <= len(row.lots) or row.number < 1:
            raise PlanError("fixed", "impossible_fixed_cups")
        if prefixes.setdefault((row.taster, row.number), row.lots[: row.n_fixed]) != row.lots[: row.n_fixed]:
            raise PlanError("fixed", "fixed_sitting_twice")
    open_sittings = []
    for taster in request.tasters:
        numbers = {number for name, number in prefixes if name == taster and prefixes[name, number]}
        for number in sorted(numbers | set(range(1, request.sittings + 1))):
            sitting = OpenSitting(taster, number, prefixes.get((taster, number), ()))
            if number <= request.sittings:
                left = request.cups - len(sitting.prefix)
                sitting.wants_reference = (
                    request.reference is not None and request.reference not in sitting.prefix and left > 0
                )
                had = len(set(sitting.prefix) & set(request.lots))
                sitting.room = max(min(left - sitting.wants_reference, len(request.lots) - had), 0)
            open_sittings.append(sitting)
        _make_room_for_repeats(request, [sitting for sitting in open_sittings if sitting.taster == taster])
    out = sorted((name, number) for name, number in prefixes if name not in request.tasters and prefixes[name, number])
    return open_sittings + [OpenSitting(name, number, prefixes[name, number]) for name, number in out]


def _make_room_for_repeats(request: PlanRequest, own: list[OpenSitting]) -> None:
    """Add cups to sittings that have every lot already, the emptiest first, until the repeats fit."""
    had = [lot for sitting in own for lot in sitting.prefix if lot in request.lots]
    free = sum(sitting.room for sitting in own)
    different = len(set(had)) + min(free, len(request.lots) - len(set(had)))
    missing = request.repeats - (len(had) + free - different)
    while missing > 0:
        spare = [
            s for s in own if s.number <= request.sittings and request.cups > len(s.prefix) + s.wants_reference + s.room
        ]
        if not spare:
            return
        min(spare, key=lambda s: len(s.prefix) + s.room).room += 1
        missing -= 1
