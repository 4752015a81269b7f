"""Payload of the typeset report: the texts of the page, and the drawing as numbers. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import asdict

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import EVEN_INFUSIONS
from tastings.maths.curve.development import Development
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.curve.tasted import TastedPoint
from tastings.queries.reports import ReportContent
from tastings.reports.facts import CupRow, LayerRow, comparable
from tastings.reports.guide import GuideRow
from tastings.reports.heads import report_heads
from tastings.reports.marks import text_width
from tastings.reports.page import ReportFacts, SteepFacts, report_facts, with_names
from tastings.reports.strength import finish_line_place, forecast_words, infusions_shown, last_rated, strength_points
from tastings.reports.strips import PeakRow, by_peak, peak_words
from tastings.reports.svg import (
    LANES_WIDTH,
    finish_line_words,
    good_for_words,
    lanes,
    rated_strength,
    strength_in_words,
)
from tastings.wording.labels import descriptor_label
from tastings.wording.numbers import isolated, one_decimal

LONGEST_NAME, LONGEST_LABEL = 80, 60  # characters
LABEL_PT, PLOT_PT = 8.5, 344.0  # size of a drawing's words, and width of the narrowest drawing, that of the card [pt]


def report_document(content: ReportContent) -> dict[str, object]:
    """Return what the layout ``report`` reads, as JSON."""
    facts, figures = report_facts(content), content.development.figures
    rows = by_peak(comparable(figures))
    labels = content.labels
    return {
        "lang": get_language() or "en",
        "words": report_heads(),
        "missing_words": _("□ stands for a character that no font on this server can draw; the web page shows it:"),
        "footer": _footer(facts),
        "name": _text(facts.name),
        "merchant": _text(content.merchant),
        "logo": {"file": f"{content.logo}.jpg"} if content.logo else None,
        "provenance": " · ".join(map(_text, facts.provenance)),
        "stale": _("Newer notes on this lot are being worked in.") if facts.stale else "",
        "empty": facts.empty,
        "is_for_customers": facts.is_for_customers,
        "verdict": facts.verdict,
        "rest": facts.rest,
        "choosing": [_text(f"{row.name}: {row.sentence}") for row in facts.choosing],
        "harvests": [_text(f"{row.name}: {row.sentence}") for row in facts.harvests],
        "next_steps": [
            _("We cannot tell yet how this tea develops or how many infusions it is worth."),
            _text(facts.next),
        ],
        "profile_sentence": " ".join(filter(None, (facts.profile_sentence, facts.forecast))),
        "chart": chart_payload(figures, with_names(figures.tasted, content.tasters))
        if figures.curve_of("strength")
        else None,
        "infusions": max([EVEN_INFUSIONS, *(point.infusion for row in rows for point in row.points)]),
        "strips": [_strip(descriptor_label(row.descriptor, labels), row) for row in rows],
        "strips_alt": "; ".join(peak_words(descriptor_label(row.descriptor, labels), row) for row in rows),
        "steeps": None if facts.steeps is None else {"count": facts.steeps.count, "unit": _unit(facts.steeps)},
        "steeps_sentence": _text(facts.steeps_sentence),
        "evidence_sentence": _text(facts.evidence_sentence),
        "even_brew_sentence": _text(facts.even_brew_sentence),
        "layer_sentence": _text(facts.layer_sentence),
        "counterfactual": _text(facts.counterfactual),
        "next": _text(facts.next),
        "guide": None
        if facts.guide is None
        else {**asdict(facts.guide), "rows": [_texts(r) for r in facts.guide.rows]},
        "layers": [_layer(row) for row in facts.layers],
        "departures": facts.departures,
        "nothing_corrected": facts.nothing_corrected,
        "left_out": [
            f"{', '.join(filter(None, (_text(row.session), row.infusion)))}: {_text(row.reason)}"
            for row in facts.left_out
        ],
        "ageing": facts.ageing,
        "body": [_text(sentence) for sentence in facts.body],
        "agreement": facts.agreement,
        "probabilities": [asdict(row) for row in facts.probabilities],
        "cups": [_texts(row) for row in facts.cups],
        "sessions": [
            ", ".join(_text(part) for part in (row.day, row.taster, row.shop, row.brew) if part) or _("Day not noted")
            for row in facts.sessions
        ],
        "photos": [
            {"caption": row.caption, "colour": row.colour, "swatch": row.swatch, "file": f"{row.file}.jpg"}
            for row in facts.photos
            if row.file
        ],
        "cautions": [_text(caution) for caution in facts.cautions],
    }


def _footer(facts: ReportFacts) -> str:
    name = _text(facts.name[:LONGEST_NAME])
    if not facts.computed_at or facts.empty:
        return f"{name} \u2013 Leafspan"
    return _("%(name)s \u2013 Leafspan, figures of %(day)s") % {"name": name, "day": facts.computed_at}


def _text(value: str) -> str:
    return isolated(" ".join(value.split()))


def _texts(row: GuideRow | CupRow) -> dict[str, str]:
    return {name: str(value) for name, value in asdict(row).items()}


def _unit(steeps: SteepFacts) -> str:
    return f"{steeps.unit} ({steeps.span})" if steeps.span else steeps.unit


def _layer(row: LayerRow) -> dict[str, str]:
    parts = [
        _("also: %(flavours)s") % {"flavours": ", ".join(map(_text, row.also))} if row.also else "",
        _("new: %(flavours)s") % {"flavours": ", ".join(map(_text, row.new))} if row.new else "",
        _("gone: %(flavours)s") % {"flavours": ", ".join(map(_text, row.gone))} if row.gone else "",
    ]
    return {
        "infusion": str(row.infusion),
        "leading": ", ".join(map(_text, row.leading)) or "\u2013",
        "change": "; ".join(filter(None, parts)) or "\u2013",
        "richness": row.richness,
    }


def _strip(label: str, row: PeakRow) -> dict[str, object]:
    return {
        "label": _text(label)[:LONGEST_LABEL],
        "peak": row.peak,
        "points": [
            {
                "x": point.infusion,
                "mean": point.mean,
                "low": point.low,
                "high": point.high,
                "text": one_decimal(point.mean),
            }
            for point in row.points
        ],
    }


def chart_payload(figures: Development, tasted: Sequence[TastedPoint]) -> dict[str, object]:
    """Return the strength curve as the layouts draw it."""
    points, ratings, steeps = strength_points(figures), rated_strength(tasted), figures.steeps
    tasters = sorted({rating.taster for rating in ratings})
    infusions = infusions_shown(points, ratings, steeps=steeps)
    label = finish_line_words(steeps.finish_line)
    words_width = text_width(label, size=LABEL_PT) * infusions / PLOT_PT
    place = finish_line_place(points, ratings, steeps=steeps, infusions=infusions, words_width=words_width)
    return {
        "infusions": infusions,
        "infusion_word": " · ".join(filter(None, (_("infusion"), forecast_words(points)))),
        "rated": last_rated(points),
        "scale_word": _("strength, 0 to 10"),
        "alt": strength_in_words(figures, tasters),
        "points": [{"x": point.infusion, "mean": point.mean} for point in points],
        "banded": [{"x": point.infusion, "low": point.low, "high": point.high} for point in points],
        "marks": [
            {"x": mark.infusion, "y": mark.adjusted, "taster": tasters.index(mark.taster), "beside": LANES_WIDTH * lane}
            for mark, lane in zip(ratings, lanes(ratings), strict=True)
        ],
        "tasters": [_text(name)[:LONGEST_NAME] for name in tasters],
        "finish": {"y": steeps.finish_line, "label": label, "x": place.left, "above": place.is_above},
        "steeps": _steeps(steeps),
    }


def _steeps(steeps: Steeps) -> Mapping[str, object] | None:
    if not steeps.recommended:
        return None
    low = None if steeps.low is None else max(steeps.low, 0.5)
    return {"x": steeps.recommended, "low": low, "high": steeps.high, "label": good_for_words(steeps)}
