"""Texts and drawings of a lot's report, the same in every format. Pure."""

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise

from django.utils.translation import gettext as _

from tastings.maths.curve.development import DescriptorCurve
from tastings.maths.curve.tasted import TastedPoint
from tastings.maths.forecast.course import course_forecast
from tastings.queries.reports import ReportContent
from tastings.reports.ageing import ageing_section
from tastings.reports.agreement import agreement_section
from tastings.reports.choosing import ChoosingRow, choosing_rows, harvest_rows
from tastings.reports.departures import departure_sentences
from tastings.reports.facts import (
    CupRow,
    LayerRow,
    LeftOutRow,
    SessionRow,
    comparable,
    cup_row,
    even_brew_sentence,
    evidence_sentence,
    layer_row,
    left_out_rows,
    provenance,
    session_row,
)
from tastings.reports.guide import GuideSection, guide_section
from tastings.reports.heads import report_heads
from tastings.reports.marks import Drawing, both_widths
from tastings.reports.other_vessel import OtherVesselSection, other_vessel_section
from tastings.reports.photos import PhotoRow, photo_row
from tastings.reports.strips import by_peak, descriptor_strips
from tastings.reports.svg import strength_chart
from tastings.wording.body_feeling import body_agreement_sentence, body_feeling_note, body_feeling_sentence
from tastings.wording.development import (
    counterfactual_sentence,
    development_cautions,
    flavour_sentence,
    next_session_sentence,
)
from tastings.wording.forecast import course_forecast_sentence
from tastings.wording.numbers import capitalised, day, percent
from tastings.wording.profile import (
    count_words,
    infusions_unit,
    interval_words,
    profile_sentence,
    profile_words,
    steeps_sentence,
    verdict_words,
)
from tastings.wording.readiness import rest_words

STRIPS_TOGETHER = 12  # rows of flavours in one drawing, so that each fits on a printed page


@dataclass(frozen=True, slots=True)
class SteepFacts:
    """The count of infusions, the word after it, and its interval, empty where there is none."""

    count: str
    unit: str
    span: str


@dataclass(frozen=True, slots=True)
class LabelProbability:
    """How likely one course of strength is."""

    label: str
    probability: str


@dataclass(frozen=True, slots=True, kw_only=True)
class ReportFacts:
    """The texts of the report: plain text and lists, no markup."""

    merchant: str
    logo: str
    """The address of its picture, or nothing."""
    name: str
    provenance: list[str]
    stale: bool
    computed_at: str
    empty: bool
    is_for_customers: bool
    verdict: str
    rest: str
    profile_sentence: str
    forecast: str
    """That only the first cups were rated; nothing for a lot tasted further."""
    probabilities: list[LabelProbability]
    steeps_sentence: str
    steeps: SteepFacts | None
    evidence_sentence: str
    even_brew_sentence: str
    cups: list[CupRow]
    layer_sentence: str
    layers: list[LayerRow]
    guide: GuideSection | None
    choosing: list[ChoosingRow]
    harvests: list[ChoosingRow]
    agreement: list[str]
    ageing: list[str]
    body: list[str]
    departures: list[str]
    nothing_corrected: str
    left_out: list[LeftOutRow]
    counterfactual: str
    next: str
    sessions: list[SessionRow]
    photos: list[PhotoRow]
    cautions: list[str]


@dataclass(frozen=True, slots=True)
class ReportPage:
    """What the report's template shows."""

    facts: ReportFacts
    heads: dict[str, str]
    chart: Drawing | None
    strips: list[Drawing]
    other_vessel: OtherVesselSection | None


def report_facts(content: ReportContent) -> ReportFacts:
    """Put into words what the report shows, in the language that is active."""
    figures, labels = content.development.figures, content.labels
    shows_all = not content.is_for_customers
    people = distinct_names(content.tasters)
    sessions = [session_row(session, people) for session in content.sessions]
    names = {session.id: session.name for session in sessions}
    strength = figures.curve_of("strength")
    has_layers = any(layer.leading or layer.new for layer in figures.layers)
    steeps, forecast = figures.steeps, course_forecast(figures)
    return ReportFacts(
        merchant=content.merchant,
        logo=content.logo_href,
        name=content.lot.name or _("Lot without a name"),
        provenance=provenance(content.lot),
        stale=content.development.stale,
        computed_at=day(content.development.computed_at) if shows_all else "",
        empty=not figures.evidence.sessions,
        is_for_customers=content.is_for_customers,
        verdict=capitalised(verdict_words(figures.profile)),
        rest=_rest(content),
        profile_sentence=profile_sentence(figures.profile),
        forecast=course_forecast_sentence(forecast) if forecast is not None and shows_all else "",
        probabilities=[
            LabelProbability(capitalised(profile_words(label)), percent(probability))
            for label, probability in figures.profile.probability.items()
            if strength and shows_all
        ],
        steeps_sentence=steeps_sentence(steeps),
        steeps=None
        if steeps.recommended is None
        else SteepFacts(count_words(steeps.recommended), infusions_unit(steeps.recommended), interval_words(steeps)),
        evidence_sentence=evidence_sentence(figures) if shows_all else "",
        even_brew_sentence=even_brew_sentence(figures.even_brew),
        cups=[cup_row(point) for point in strength] if shows_all else [],
        layer_sentence=flavour_sentence(
            figures.layers, labels=labels, steeps=figures.steeps.recommended, points=figures.flavour_points
        ),
        layers=[layer_row(layer, labels) for layer in figures.layers] if has_layers else [],
        guide=guide_section(content.guide, steeps=steeps, names_shop=shows_all),
        choosing=choosing_rows(content.flights, content.arrivals, labels=labels),
        harvests=harvest_rows(content.development.lot, content.harvests, labels=labels),
        agreement=agreement_section(figures.tasted, strength, people=people, panel=content.panel)
        if strength and shows_all
        else [],
        ageing=ageing_section(content.lot.roast, content.readiness) if shows_all else [],
        body=_body(content) if shows_all else [],
        departures=departure_sentences(figures.departures, session_names=names) if shows_all else [],
        nothing_corrected=_("Nothing: every session was brewed much like the others.")
        if strength
        else _("Nothing: nobody rated the strength of the cups."),
        left_out=left_out_rows(figures.evidence.left_out, names) if shows_all else [],
        counterfactual=counterfactual_sentence(figures.counterfactual, even_brew=figures.even_brew)
        if strength and shows_all
        else "",
        next=next_session_sentence(figures.next) if shows_all else "",
        sessions=sessions,
        photos=[photo_row(photo) for photo in content.photos],
        cautions=development_cautions(
            figures,
            kind=content.development.kind,
            water_tds_mg_l=content.development.water_tds_mg_l if shows_all else (),
        ),
    )


def _body(content: ReportContent) -> list[str]:
    """Say what tasters reported to feel in the body; nothing when nobody noted it."""
    feeling = content.body
    if feeling is None or not feeling.sessions:
        return []
    sentences = (
        body_feeling_sentence(feeling, labels=content.labels),
        body_agreement_sentence(feeling),
        body_feeling_note(),
    )
    return [sentence for sentence in sentences if sentence]


def _rest(content: ReportContent) -> str:
    """Say in a few words whether the roast has rested; nothing for a lot without one."""
    known = content.readiness
    if known is not None and known.readiness is not None:
        return rest_words(known.readiness)
    return _("Rested after roasting? Its day is not noted") if content.lot.roast not in (None, "", "none") else ""


def report_page(content: ReportContent) -> ReportPage:
    """Build what the report's template shows: the words and the drawings."""
    figures = content.development.figures
    drawn = with_names(figures.tasted, content.tasters)
    curves = {curve.descriptor: curve for curve in comparable(figures)}
    groups = _evenly([row.descriptor for row in by_peak(list(curves.values()))], at_most=STRIPS_TOGETHER)
    return ReportPage(
        facts=report_facts(content),
        heads=report_heads(),
        chart=both_widths(lambda width: strength_chart(figures, drawn, width=width))
        if figures.curve_of("strength")
        else None,
        strips=[_strips([curves[key] for key in group], labels=content.labels) for group in groups],
        other_vessel=None if content.is_for_customers else other_vessel_section(content.other_vessel),
    )


def with_names(tasted: Sequence[TastedPoint], tasters: Mapping[str, str]) -> list[TastedPoint]:
    """Return the ratings with each taster's name in place of the id, as the drawings take them."""
    people = distinct_names(tasters)
    return [replace(rating, taster=people.get(rating.taster, rating.taster)) for rating in tasted]


def distinct_names(tasters: Mapping[str, str]) -> dict[str, str]:
    """Give each taster a name of their own, so that two of the same name stay two."""
    same = Counter(tasters.values())
    seen: Counter[str] = Counter()
    names = {}
    for taster, name in tasters.items():
        seen[name] += 1
        names[taster] = f"{name} ({seen[name]})" if same[name] > 1 else name
    return names


def _strips(curves: Sequence[DescriptorCurve], *, labels: Mapping[str, str]) -> Drawing:
    return both_widths(lambda width: descriptor_strips(curves, labels=labels, width=width))


def _evenly(rows: Sequence[str], *, at_most: int) -> list[Sequence[str]]:
    """Split rows, in their order, into as few groups as allowed, none much smaller than another."""
    n_groups = -(-len(rows) // at_most)
    ends = [round(i * len(rows) / n_groups) for i in range(n_groups + 1)] if n_groups else []
    return [rows[a:b] for a, b in pairwise(ends)]
