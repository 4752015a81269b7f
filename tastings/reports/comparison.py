"""Lots compared, in words: curves, and for each pair who outlasts, is stronger, is liked more. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from django.utils.safestring import SafeString
from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.comparison.arrival import NOTICEABLE
from tastings.maths.comparison.best import best_of
from tastings.maths.comparison.side_by_side import FIRST_INFUSIONS, LIKING, Comparison, Pair
from tastings.maths.curve.estimate import STRENGTH
from tastings.queries.lot_search import ListedLot
from tastings.reports.lot_list import LotRow, lot_row
from tastings.reports.marks import both_widths
from tastings.reports.side_by_side import LETTERS, curves_chart, lot_mark
from tastings.wording.counts import counted
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import isolated, number, number_range, one_decimal, percent, signed

SURE = 0.6
"""Least probability at which a sentence names one of two lots; below, it says that one cannot tell yet."""


@dataclass(frozen=True, slots=True)
class ComparedRow:
    """One of the lots with its letter and mark."""

    lot: LotRow
    letter: str
    mark: SafeString
    rank: str
    cells: Sequence[tuple[str, str]]


@dataclass(frozen=True, slots=True)
class ComparedChart:
    """The curves of one descriptor."""

    title: str
    id: str
    wide: SafeString
    narrow: SafeString


@dataclass(frozen=True, slots=True)
class DifferenceRow:
    """One descriptor of a pair."""

    label: str
    mean: str
    span: str
    more: str


@dataclass(frozen=True, slots=True)
class PairRow:
    """Two lots in sentences and as a line of the table."""

    first: ComparedRow
    second: ComparedRow
    sentences: list[str]
    shared: str
    probabilities: list[str]
    differences: list[DifferenceRow]


@dataclass(frozen=True, slots=True)
class ComparisonPage:
    """What the template of a comparison shows; ``why`` says why lots cannot be compared, empty when they can."""

    again: str
    why: str = ""
    heads: Sequence[str] = ()
    rows: Sequence[ComparedRow] = ()
    charts: Sequence[ComparedChart] = ()
    pairs: Sequence[PairRow] = ()
    small: str = ""
    first_infusions: int = FIRST_INFUSIONS
    across: str = ""


def comparison_page(
    comparison: Comparison, *, lots: Sequence[ListedLot], labels: Mapping[str, str], rests: Mapping[str, str]
) -> ComparisonPage:
    """Build what the page of a comparison shows: rows, letters and pairs in the order of rank.

    The groups of ``comparison`` are the lots, by id; ``labels`` are descriptors' by key; ``rests`` says of each roasted
    lot by its id whether it has rested.
    """
    rows = []
    best = best_of(comparison, descriptor=LIKING)
    ranked = sorted(best, key=lambda lot: -best[lot])
    for place, lot in enumerate(sorted(lots, key=lambda lot: -best.get(str(lot.id), 0.0))):
        id_, figures = str(lot.id), comparison.groups[str(lot.id)]
        has_figures = lot.profile is not None and not lot.stale
        row = lot_row(lot if has_figures else with_figures(lot, comparison))
        rows.append(
            ComparedRow(
                lot=row,
                letter=LETTERS[place],
                mark=SafeString(lot_mark(place)),
                rank=str(ranked.index(id_) + 1) if id_ in best else "\u2013",
                cells=_cells(
                    row,
                    best=best.get(id_),
                    liking=lot.liking if has_figures else figures.good_cups.get(LIKING),
                    rest=rests.get(id_, ""),
                    sessions=figures.evidence.sessions,
                ),
            )
        )
    by_id = {row.lot.id: row for row in rows}
    titles = ((STRENGTH, _("Strength")), (LIKING, _("Liking")))
    return ComparisonPage(
        again=tick_again([str(lot.id) for lot in lots]),
        across=across_sentence(comparison),
        heads=[_("Rank"), _("Lot"), *(label for label, _value in rows[0].cells)] if rows else [],
        rows=rows,
        charts=[
            _chart(comparison, rows, key=key, title=title)
            for key, title in titles
            if any(figures.curve_of(key) for figures in comparison.groups.values())
        ],
        pairs=[
            pair_row(pair, first=by_id[pair.first], second=by_id[pair.second], labels=labels)
            for pair in pairs_in_order(comparison.pairs, list(by_id))
        ],
        small=small_note(comparison),
    )


def pairs_in_order(pairs: Sequence[Pair], lots: Sequence[str]) -> list[Pair]:
    """Return the pairs in the order of the lots, each with the earlier one first."""
    place = {lot: i for i, lot in enumerate(lots)}
    swapped = [pair if place[pair.first] < place[pair.second] else pair.swapped() for pair in pairs]
    return sorted(swapped, key=lambda pair: (place[pair.first], place[pair.second]))


def _cells(row: LotRow, *, best: float | None, liking: float | None, rest: str, sessions: int) -> list[tuple[str, str]]:
    """Return what a lot is decided by, each under its heading; a dash where it is not known.

    On a telephone only the first two show their heading, since the others speak for themselves.
    """
    price, cup = (*row.prices, "", "")[:2]
    cells = [
        (_("Probably best"), "" if best is None else percent(best)),
        (_("Liking"), "" if liking is None else one_decimal(liking)),
        (_("Infusions"), row.infusions),
        (_("Price"), price),
        (_("Price of a good cup"), cup),
        (_("Tasted in"), counted(sessions, "session")),
        (_("Rest after roasting"), rest),
    ]
    return [(label, value or "\u2013") for label, value in cells]


def across_sentence(comparison: Comparison) -> str:
    """Say that lots of different kinds stand on different even brews; empty when they do not."""
    if comparison.one_even_brew:
        return ""
    return _(
        "These lots are of kinds that are brewed differently: each is shown as its own kind is brewed, so strengths and"
        " counts compare less well than among lots of one kind."
    )


def tick_again(lots: Sequence[str]) -> str:
    """Return the query that has these lots ticked in the list."""
    return "&".join(f"lots={lot}" for lot in lots)


def with_figures(lot: ListedLot, comparison: Comparison) -> ListedLot:
    """Return the lot with the figures of the comparison, for one whose own are missing or behind its notes.

    A lot's row is of its own figures, so that list, report and comparison say the same of it.
    """
    figures = comparison.groups[str(lot.id)]
    return replace(lot, profile=figures.profile, steeps=figures.steeps, curve=figures.curve_of(STRENGTH), stale=False)


def _chart(comparison: Comparison, rows: Sequence[ComparedRow], *, key: str, title: str) -> ComparedChart:
    curves = [comparison.groups[row.lot.id].curve_of(key) for row in rows]
    names = [row.lot.name for row in rows]
    drawing = both_widths(lambda width: curves_chart(curves, names=names, of=title, width=width))
    return ComparedChart(title=title, id=key, wide=drawing.wide, narrow=drawing.narrow)


def pair_row(pair: Pair, *, first: ComparedRow, second: ComparedRow, labels: Mapping[str, str]) -> PairRow:
    """Put two lots' comparison into sentences and into a line of the table."""
    same = first.lot.name == second.lot.name  # as a sample and what was bought after it often are
    tea, other = (isolated(row.lot.name) + (f" ({row.letter})" if same else "") for row in (first, second))
    stronger, liked = pair.more(STRENGTH), pair.more(LIKING)
    shared = _("Nobody tasted both, which leaves more in doubt.")
    if pair.shared_tasters:
        shared = ngettext("%(n)s taster tasted both.", "%(n)s tasters tasted both.", pair.shared_tasters)
    return PairRow(
        first=first,
        second=second,
        sentences=[
            lasting_sentence(pair.outlasts, pair.outlasted, tea=tea, other=other),
            f"{stronger_sentence(stronger, tea=tea, other=other)}{size_words(pair, STRENGTH)}",
            f"{liked_sentence(liked, tea=tea, other=other)}{size_words(pair, LIKING)}",
        ],
        shared=shared % {"n": pair.shared_tasters},
        probabilities=[_probability(chance) for chance in (pair.outlasts, pair.outlasted, stronger, liked)],
        differences=[
            DifferenceRow(
                label=descriptor_label(difference.descriptor, labels),
                mean=signed(difference.mean),
                span=number_range(signed(difference.low), signed(difference.high)),
                more=percent(difference.probability_more),
            )
            for difference in pair.differences
        ],
    )


def lasting_sentence(outlasts: float | None, outlasted: float | None, *, tea: str, other: str) -> str:
    """Say which of two lots has more steeps worth drinking, and how sure that is.

    ``outlasts`` and ``outlasted`` are the probabilities that the first has more, or fewer; the rest is that of as many.
    """
    if outlasts is None or outlasted is None:
        return _("Which of them lasts longer cannot be told: strength was not rated in both.")
    same = max(0.0, 1.0 - outlasts - outlasted)
    for probability, longer, shorter in ((outlasts, tea, other), (outlasted, other, tea)):
        if probability >= SURE:
            return _("%(longer)s outlasts %(shorter)s with %(probability)s probability.") % {
                "longer": longer,
                "shorter": shorter,
                "probability": percent(probability),
            }
    if same >= SURE:
        return _("They last equally long, with %(probability)s probability.") % {"probability": percent(same)}
    return _(
        "Which of them lasts longer cannot be told yet: %(one)s with %(p_one)s probability, %(other)s with %(p_other)s,"
        " equally long with %(p_same)s."
    ) % {"one": tea, "other": other, "p_one": percent(outlasts), "p_other": percent(outlasted), "p_same": percent(same)}


def size_words(pair: Pair, descriptor: str) -> str:
    """Say that a difference, however sure, is small: one that an arrival check would call the same; else nothing.

    So the two answers on one pair do not contradict each other.
    """
    difference = next((difference for difference in pair.differences if difference.descriptor == descriptor), None)
    if difference is None or not -NOTICEABLE < difference.low <= difference.high < NOTICEABLE:
        return ""
    if SURE > difference.probability_more > 1 - SURE:
        return ""
    return " " + _("The difference is small, about %(points)s points.") % {"points": one_decimal(abs(difference.mean))}


def small_note(comparison: Comparison) -> str:
    """Say once what a small difference is; empty where none was called so."""
    if not any(size_words(pair, key) for pair in comparison.pairs for key in (STRENGTH, LIKING)):
        return ""
    return _("Small is a difference of less than %(noticeable)s points, which an arrival check calls “same”.") % {
        "noticeable": number(NOTICEABLE)
    }


def stronger_sentence(probability: float | None, *, tea: str, other: str) -> str:
    """Say which of two lots is stronger; the probability is that of the first, None unless both were rated."""
    if probability is None:
        return _("Which of them is the stronger cannot be told: it was not rated in both.")
    likelier = _likelier(probability, tea=tea, other=other)
    if likelier is not None:
        return _("%(lot)s is stronger over the first %(n)s cups with %(probability)s probability.") % {
            **likelier,
            "n": FIRST_INFUSIONS,
        }
    return _("Which of them is the stronger cannot be told yet: %(lot)s with %(probability)s probability.") % (
        _either(probability, tea=tea, other=other)
    )


def liked_sentence(probability: float | None, *, tea: str, other: str) -> str:
    """Say which of two lots is liked more; the probability is that of the first, None unless both were rated."""
    if probability is None:
        return _("Which of them is liked more cannot be told: it was not rated in both.")
    likelier = _likelier(probability, tea=tea, other=other)
    if likelier is not None:
        return _("%(lot)s is liked more with %(probability)s probability.") % likelier
    return _("Which of them is liked more cannot be told yet: %(lot)s with %(probability)s probability.") % (
        _either(probability, tea=tea, other=other)
    )


def _likelier(probability: float, *, tea: str, other: str) -> dict[str, str] | None:
    """Return the lot that is likely enough to have more, with its probability; None when neither is."""
    for likely, lot in ((probability, tea), (1.0 - probability, other)):
        if likely >= SURE:
            return {"lot": lot, "probability": percent(likely)}
    return None


def _either(probability: float, *, tea: str, other: str) -> dict[str, str]:
    """Return the likelier lot with its probability, however little that is above a half."""
    lot, likely = (tea, probability) if probability >= 0.5 else (other, 1.0 - probability)
    return {"lot": lot, "probability": percent(likely)}


def _probability(probability: float | None) -> str:
    return _("cannot be told") if probability is None else percent(probability)
