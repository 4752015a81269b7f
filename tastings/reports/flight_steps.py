"""The next step of a flight, for each of its people: those who taste, pour, decide or look on."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.answers.flight_answers import FlightAnswer
from tastings.answers.flights import FlightItem
from tastings.wording import flight_steps as words

Names = Mapping[str, str]


@dataclass(frozen=True, slots=True)
class Way:
    """A link to where something is done."""

    href: str
    words: str


@dataclass(frozen=True, slots=True)
class NextStep:
    """What comes next, where it is done, and what else can be done now.

    ``is_mine`` is whether the one who reads has to do it, ``is_waiting`` whether looking again may show more.
    """

    sentences: Sequence[str]
    ways: Sequence[Way] = ()
    others: Sequence[Way] = ()
    is_mine: bool = False
    is_waiting: bool = False


def next_step(
    flight: FlightItem, *, me: UUID, decides: bool, people: Names, answer: FlightAnswer | None = None
) -> NextStep:
    """Return what comes next for a member; ``answer`` is that of a revealed flight, where it is read."""
    at = f"/flights/{flight.id}/"
    match flight.state:
        case "called_off":
            return NextStep(
                [words.called_off()], others=[Way("/flights/new/", _("Set a flight up"))] if decides else []
            )
        case "revealed" | "decided":
            return _after_reveal(flight, at, me=me, decides=decides, answer=answer)
        case "set_up" | "tasting":
            pass
    change = [Way(f"{at}change/", _("Change people, samples or cups"))] if decides else []
    if flight.plan.state == "failed":
        return NextStep([words.plan_failed(flight.plan.failure or "")], change, is_mine=decides)
    if flight.plan.state == "making":
        return NextStep([words.plan_is_made(flight.plan.progress)], others=change, is_waiting=True)
    return _while_tasting(flight, at, me=me, decides=decides, people=people, change=change)


def _while_tasting(  # noqa: PLR0913 - of one caller
    flight: FlightItem, at: str, *, me: UUID, decides: bool, people: Names, change: list[Way]
) -> NextStep:
    own = [cup for cup in flight.cups if cup.taster == me]
    missing = [
        (people.get(str(taster.taster), ""), taster.planned - taster.tasted)
        for taster in flight.progress.tasters
        if taster.planned > taster.tasted
    ]
    scores = Way(f"{at}scores/", _("Enter scores"))
    sheet = [Way(f"{at}cups/", _("Print my sheet"))] if own else []
    plan = [Way(f"{at}pouring/", _("Pouring plan"))] if me in flight.pourers else []
    early = [Way(f"{at}reveal/", _("Reveal early"))] if decides else []
    untasted = [(number, cup) for number, cup in enumerate(own, 1) if not cup.tasted]
    if untasted:
        number, cup = untasted[0]
        table = Way(f"/table/#/flight/{flight.id}", _("Taste at the tasting table"))
        sentences = [words.taste(cup.code, number=number, of=len(own))]
        return NextStep(sentences, [scores, table], [*sheet, *change, *early], is_mine=True)
    looked_over = [Way(scores.href, _("My scores"))] if own else []
    if not missing:
        others = [*looked_over, *plan, *change]
        if decides:
            return NextStep([words.reveal()], [Way(f"{at}reveal/", _("Reveal it"))], others, is_mine=True)
        return NextStep([words.others_reveal()], others=others)
    waiting = words.waiting_for(missing)
    if plan:
        left = flight.progress.planned - flight.progress.tasted
        return NextStep([words.pour(left), waiting], plan, [*change, *early], is_mine=True)
    done = [words.own_cups_done()] if own else []
    return NextStep([*done, waiting], others=[*looked_over, *change, *early])


def _after_reveal(flight: FlightItem, at: str, *, me: UUID, decides: bool, answer: FlightAnswer | None) -> NextStep:
    late = sum(score.admissible for score in answer.late) if answer is not None and decides else 0
    admit = [words.late_scores(late)] if late else []
    to_late = [Way("#late", _("To the late scores"))] if late else []
    untasted = any(cup.taster == me and not cup.tasted for cup in flight.cups)
    late_ones = [Way(f"{at}scores/", _("Enter late scores"))] if untasted else []
    if answer is not None and answer.stale and not answer.measures:
        return NextStep([words.working_out()], others=late_ones, is_waiting=True)
    if flight.state == "decided":
        return NextStep(admit, to_late, is_mine=bool(late))
    if not decides:
        return NextStep([words.others_decide()], others=late_ones)
    choose = Way(f"{at}decision/", _("Decide"))
    return NextStep([words.decide(), *admit], [choose, *to_late], late_ones, is_mine=True)
