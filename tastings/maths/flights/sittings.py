"""What a serving plan is asked for, and its sittings before any lot is dealt: what is kept, how many cups are free."""

from collections.abc import Sequence
from dataclasses import dataclass, field


class PlanError(ValueError):
    """No such plan can be made; ``field`` names the argument of ``plan_servings`` to change."""

    def __init__(self, field: str, message: str) -> None:
        super().__init__(message)
        self.field = field


@dataclass(frozen=True, slots=True)
class Sitting:
    """One taster's cups in the order of serving.

    Parameters
    ----------
    taster : str
        Who.
    number : int
        1, 2, ... for each taster.
    lots : tuple[str, ...]
        In the order of serving; a lot may stand twice (hidden duplicate).
    kept : int
        The first so many were tasted already and stay. [cups]
    """

    taster: str
    number: int
    lots: tuple[str, ...]
    kept: int = 0


@dataclass(slots=True)
class Table:
    """A sitting while it is planned."""

    taster: str
    number: int
    prefix: tuple[str, ...] = ()
    wants_reference: bool = False
    room: int = 0  # free cups of compared lots
    lots: list[str] = field(default_factory=list)

    def all(self) -> tuple[str, ...]:
        """Return kept and new lots."""
        return (*self.prefix, *self.lots)


@dataclass(frozen=True, slots=True)
class Wish:
    """What is asked for, as in ``plan_servings``."""

    lots: tuple[str, ...]
    tasters: tuple[str, ...]
    cups: int
    sittings: int
    reference: str | None
    repeats: int

    def refuse_nonsense(self) -> None:
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


def tables_for(wish: Wish, kept: Sequence[Sitting]) -> list[Table]:
    """Set up every sitting with what is kept of it and how many cups are free."""
    prefixes: dict[tuple[str, int], tuple[str, ...]] = {}
    for one in kept:
        if not 0 <= one.kept <= len(one.lots) or one.number < 1:
            raise PlanError("kept", "a sitting keeps more cups than it has, or has no number")
        if prefixes.setdefault((one.taster, one.number), one.lots[: one.kept]) != one.lots[: one.kept]:
            raise PlanError("kept", "a sitting stands twice")
    tables = []
    for taster in wish.tasters:
        numbers = {number for name, number in prefixes if name == taster and prefixes[name, number]}
        for number in sorted(numbers | set(range(1, wish.sittings + 1))):
            table = Table(taster, number, prefixes.get((taster, number), ()))
            if number <= wish.sittings:
                left = wish.cups - len(table.prefix)
                table.wants_reference = wish.reference is not None and wish.reference not in table.prefix and left > 0
                had = len(set(table.prefix) & set(wish.lots))
                table.room = max(min(left - table.wants_reference, len(wish.lots) - had), 0)
            tables.append(table)
        _make_room_for_repeats(wish, [one for one in tables if one.taster == taster])
    out = sorted((name, number) for name, number in prefixes if name not in wish.tasters and prefixes[name, number])
    return tables + [Table(name, number, prefixes[name, number]) for name, number in out]


def _make_room_for_repeats(wish: Wish, own: list[Table]) -> None:
    """Add cups to sittings that have every lot already, the emptiest first, until the repeats fit."""
    had = [lot for table in own for lot in table.prefix if lot in wish.lots]
    free = sum(table.room for table in own)
    different = len(set(had)) + min(free, len(wish.lots) - len(set(had)))
    missing = wish.repeats - (len(had) + free - different)
    while missing > 0:
        spare = [
            one
            for one in own
            if one.number <= wish.sittings and wish.cups > len(one.prefix) + one.wants_reference + one.room
        ]
        if not spare:
            return
        min(spare, key=lambda one: len(one.prefix) + one.room).room += 1
        missing -= 1
