"""What a serving plan is asked for, and its sittings before any lot is dealt: what is fixed, how many cups are free."""

from collections.abc import Sequence
from dataclasses import dataclass, field


class PlanError(ValueError):
    """No such plan can be made; ``field`` names the argument of ``plan_servings`` to change."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class PlannedSitting:
    """One taster's cups in the order of serving.

    Parameters
    ----------
    taster : str
        Who.
    number : int
        1, 2, ... for each taster.
    lots : tuple[str, ...]
        In the order of serving; a lot may stand twice (hidden duplicate).
    n_fixed : int
        The first so many were tasted already and stay. [cups]
    """

    taster: str
    number: int
    lots: tuple[str, ...]
    n_fixed: int = 0


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
            raise PlanError("lots", "a choice needs two lots or more")
        for name, what in (("lots", self.lots), ("tasters", self.tasters)):
            if len(set(what)) < len(what):
                raise PlanError(name, f"one of the {name} is named twice")
        if not self.tasters:
            raise PlanError("tasters", "nobody is there to taste")
        if self.reference in self.lots:
            raise PlanError("reference", "the reference is one of the lots to choose from")
        beside = self.reference is not None
        if self.cups < 1 + beside:
            raise PlanError("cups", "a sitting leaves no cup for a lot" + (" beside the reference" if beside else ""))
        if self.sittings < 1:
            raise PlanError("sittings", "each taster sits once or more")
        if self.repeats < 0:
            raise PlanError("repeats", "cannot be below 0")
        if self.repeats > (self.cups - beside) * self.sittings // 2:
            raise PlanError("repeats", "at most half of a taster's cups can repeat another")
        if self.repeats and self.sittings == 1 and self.cups < 3:
            raise PlanError("repeats", "a lot and its repeat need a cup between them")


def open_sittings_for(request: PlanRequest, fixed: Sequence[PlannedSitting]) -> list[OpenSitting]:
    """Set up every sitting with what is fixed of it and how many cups are free."""
    prefixes: dict[tuple[str, int], tuple[str, ...]] = {}
    for one in fixed:
        if not 0 <= one.n_fixed <= len(one.lots) or one.number < 1:
            raise PlanError("fixed", "a sitting keeps more cups than it has, or has no number")
        if prefixes.setdefault((one.taster, one.number), one.lots[: one.n_fixed]) != one.lots[: one.n_fixed]:
            raise PlanError("fixed", "a sitting stands twice")
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
        _make_room_for_repeats(request, [one for one in open_sittings if one.taster == taster])
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
            one
            for one in own
            if one.number <= request.sittings and request.cups > len(one.prefix) + one.wants_reference + one.room
        ]
        if not spare:
            return
        min(spare, key=lambda one: len(one.prefix) + one.room).room += 1
        missing -= 1
