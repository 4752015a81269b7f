"""From a flight's answer to what its page shows: a sentence first, then a picture, then the numbers."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from uuid import UUID

from django.utils.translation import gettext as _

from tastings.answers.flight_answers import FlightAnswer, FlightMeasure, FlightStanding, LotValue
from tastings.reports.marks import Drawing, both_widths
from tastings.reports.standings import standings_chart
from tastings.wording import flight_details as words
from tastings.wording.numbers import money, number_range, one_decimal, percent

MOST_PAIRS = 12
"""Most pairs of different lots that are listed."""

TOP = 3
"""Among how many the best are counted; of no more lots than these each is one of them."""

Names = Mapping[str, str]
"""Names of lots and tasters by id."""


@dataclass(frozen=True, slots=True)
class StandingRow:
    """One lot in the table of numbers."""

    lot: UUID
    name: str
    mean: str
    band: str
    p_best: str
    p_top_three: str
    cups: int
    price: str
    is_unbeaten: bool


@dataclass(frozen=True, slots=True)
class MeasureSection:
    """What the page shows of one measure."""

    title: str
    sentence: str
    is_stale: bool
    chart: Drawing
    lines: list[str]
    rows: list[StandingRow]
    details: list[str]


@dataclass(frozen=True, slots=True)
class AnswerSection:
    """What the page shows of an answer."""

    measures: list[MeasureSection]
    left_out: list[str]
    no_figures: str


def answer_section(answer: FlightAnswer | None, *, lots: Names, people: Names) -> AnswerSection:
    """Build what the page shows of an answer; nothing before the reveal."""
    if answer is None:
        return AnswerSection([], [], "")
    return AnswerSection(
        measures=[_section(measure, lots=lots, people=people, is_stale=answer.stale) for measure in answer.measures],
        left_out=[words.left_out(item.reason, session=str(item.session)[:8]) for item in answer.left_out],
        no_figures=words.no_figures(failure=answer.failure, stale=answer.stale),
    )


def _section(measure: FlightMeasure, *, lots: Names, people: Names, is_stale: bool) -> MeasureSection:
    worth = {value.lot: value for value in measure.worth}
    return MeasureSection(
        title=words.measure_title(measure.measure, scale=measure.scale),
        sentence=measure.sentence,
        is_stale=is_stale,
        chart=both_widths(lambda width: standings_chart(measure, names=lots, width=width)),
        lines=[*_value_lines(measure, lots)],
        rows=[
            *(
                _row(lot, lots, worth=worth.get(lot.lot), currency=measure.currency, n_lots=len(measure.standings))
                for lot in measure.standings
            ),
            *(_control_row(control, lots) for control in measure.controls),
        ],
        details=[*_spread_lines(measure), *_taster_lines(measure, people), *_test_lines(measure, lots)],
    )


def _row(
    standing: FlightStanding, lots: Names, *, worth: LotValue | None, currency: str | None, n_lots: int
) -> StandingRow:
    price = worth.price if worth is not None else None
    return StandingRow(
        lot=standing.lot,
        name=lots.get(str(standing.lot), str(standing.lot)),
        mean=one_decimal(standing.mean),
        band=number_range(one_decimal(standing.low), one_decimal(standing.high)),
        p_best=percent(standing.p_best),
        p_top_three=percent(standing.p_top_three) if n_lots > TOP else "",
        cups=standing.cups,
        price="" if price is None else money(price, currency),
        is_unbeaten=worth is not None and bool(worth.on_frontier),
    )


def _control_row(standing: FlightStanding, lots: Names) -> StandingRow:
    row = _row(standing, lots, worth=None, currency=None, n_lots=0)
    return replace(row, name=_("%(lot)s (reference)") % {"lot": row.name}, p_best="")


def _value_lines(measure: FlightMeasure, lots: Names) -> Iterator[str]:
    """Say which lots no other beats on both mean and price, and what choosing the leader gives away."""
    unbeaten = [(value.price, value) for value in measure.worth if value.on_frontier and value.price is not None]
    if len(unbeaten) > 1 and len(unbeaten) == sum(value.price is not None for value in measure.worth):
        yield words.better_costs_more()
    elif unbeaten:
        yield words.best_value(
            [
                words.lot_at_price(lots.get(str(value.lot), str(value.lot)), price=price, currency=measure.currency)
                for price, value in sorted(unbeaten, key=lambda pair: pair[0])
            ]
        )
    if measure.expected_loss is not None and measure.standings:
        yield words.expected_loss(measure.expected_loss)


def _spread_lines(measure: FlightMeasure) -> Iterator[str]:
    if measure.spreads is not None:
        yield words.lot_spread(measure.spreads.lots_sd)
        yield words.noise(measure.spreads.noise_sd)
    if measure.carry_over is not None:
        yield words.carry_over(measure.carry_over)
    if measure.position is not None:
        yield words.position(measure.position)
    if measure.first_cup is not None:
        yield words.first_cup(measure.first_cup)
    if measure.repeatability_sd is not None:
        yield words.repeatability(measure.repeatability_sd)


def _taster_lines(measure: FlightMeasure, people: Names) -> Iterator[str]:
    for taster in measure.tasters:
        name = people.get(str(taster.taster))
        yield words.taster(name, cups=taster.cups, shift=taster.shift.mean, gain=taster.gain.mean)


def _test_lines(measure: FlightMeasure, lots: Names) -> Iterator[str]:
    if measure.friedman is not None:
        yield words.friedman(measure.friedman.name, p=measure.friedman.p)
    if measure.kendall_w is not None:
        yield words.kendall(measure.kendall_w)
    if measure.least_significant_difference is not None:
        pairs = [
            (lots.get(str(better), str(better)), lots.get(str(worse), str(worse))) for better, worse in measure.differ
        ]
        yield words.least_difference(measure.least_significant_difference, pairs=pairs[:MOST_PAIRS], n_pairs=len(pairs))
    if measure.page is not None:
        yield words.expected_order(measure.page.p)
