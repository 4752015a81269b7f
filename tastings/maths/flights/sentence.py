"""What a blind flight found, as a buyer says it."""

from collections.abc import Mapping, Sequence

from tastings.maths.flights.further_cups import FurtherCups
from tastings.maths.flights.standings import Standing

ALIKE = 1.5
"""Below so many times its fair share of being best the leader is not told from the others."""
NAMED = 0.1
"""Lots with at least this probability of being best are named beside the leader, three at most."""
WORTH_SAYING = 0.02
"""A further tasting that makes the right choice likelier by less than this is not spoken of."""

SMALLEST_TOLD = 0.05
"""A lead that one decimal would call 0.0 is told in words. [points]"""

_NUMBERS = ("no", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "ten", "eleven", "twelve")


def sentence(
    standings: Sequence[Standing],
    *,
    settled: bool,
    further: Sequence[FurtherCups],
    names: Mapping[str, str] | None = None,
) -> str:
    """Return the answer in plain words.

    Parameters
    ----------
    standings : Sequence[Standing]
        Of the lots that may be chosen, the highest mean first.
    settled : bool
        Whether the leader is likely enough to be best.
    further : Sequence[FurtherCups]
        What more could be tasted.
    names : Mapping[str, str], optional
        What lots and tasters are called; those not in it are called what they are.

    Returns
    -------
    str
        One to three sentences.
    """
    called = names or {}

    def name(key: str) -> str:
        return called.get(key, key)

    if not standings:
        return "No cup has been tasted yet."
    leader, others = standings[0], standings[1:]
    if not others:
        return f"Only {name(leader.lot)} has been tasted, so there is nothing to choose between."
    said = _found(leader, others, settled=settled, name=name(leader.lot), called=called)
    unknown = [name(one.lot) for one in standings if not one.cups]
    if unknown:
        said += f" {_listed(unknown)} {'has' if len(unknown) == 1 else 'have'} not been tasted."
    if settled:
        return said
    best = next(iter(further), None)
    if best is None or best.gain_p_right < WORTH_SAYING:
        return said
    return said + " " + _advice(best, called=called, alone=len({who for one in further for who in one.tasters}) == 1)


def _found(leader: Standing, others: Sequence[Standing], *, settled: bool, name: str, called: Mapping[str, str]) -> str:
    n, second = len(others) + 1, others[0]
    of = f"the {_number(n)} lots"
    by = leader.mean - second.mean
    far = f"{by:.1f} points" if by >= SMALLEST_TOLD else "hardly"
    ahead = f"{far} above {called.get(second.lot, second.lot)}"
    if settled:
        better = "the better" if n == 2 else "the best"
        return f"{name} is {better} of {of}, {ahead}; that is right in {_hundredths(leader.p_best)} of 100 such cases."
    likeliest = sorted(others, key=lambda one: -one.p_best)
    if max(leader.p_best, likeliest[0].p_best) < ALIKE / n:
        return f"{of[0].upper()}{of[1:]} cannot be told apart by these cups; {name} is ahead, but only just."
    near = [one for one in likeliest if one.p_best >= NAMED][:3] or likeliest[:1]
    rivals = _listed([f"{called.get(one.lot, one.lot)} ({_hundredths(one.p_best)})" for one in near])
    return (
        f"Which of {of} is best cannot be told yet: {name} is ahead, {ahead}, and is the best in "
        f"{_hundredths(leader.p_best)} of 100 such cases, against {rivals}."
    )


def _advice(best: FurtherCups, *, called: Mapping[str, str], alone: bool) -> str:
    lots = _listed([called.get(lot, lot) for lot in best.lots])
    often = {1: "once more", 2: "twice more"}.get(best.times, f"{_number(best.times)} times more")
    if alone:
        who = ""
    elif len(best.tasters) == 1:
        who = f" by {called.get(best.tasters[0], best.tasters[0])}"
    else:
        who = f" by all {_number(len(best.tasters))} tasters"
    before, after = _hundredths(best.p_right - best.gain_p_right), _hundredths(best.p_right)
    return (
        f"If {lots} were tasted side by side {often}{who}, the lot then chosen could be expected to be the best in "
        f"{after} of 100 cases instead of {before}."
    )


def _hundredths(probability: float) -> str:
    """Return a probability as so many in a hundred; neither never nor always is claimed."""
    # rounded first as the figures are sent, so that text and figures say the same
    return str(min(max(round(100 * round(probability, 3)), 1), 99))


def _number(n: int) -> str:
    return _NUMBERS[n] if n < len(_NUMBERS) else str(n)


def _listed(names: Sequence[str]) -> str:
    return names[0] if len(names) == 1 else f"{', '.join(names[:-1])} and {names[-1]}"
