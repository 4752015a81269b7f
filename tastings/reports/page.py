"""From plain records to the report page. Reads nothing and writes nothing."""

from collections import Counter
from collections.abc import Mapping, Sequence
from itertools import pairwise
from typing import Any

from django.http import HttpRequest
from django.template.loader import render_to_string
from django.utils.safestring import SafeString

from tastings.queries.guides import UsualPotGuide
from tastings.reports.facts import (
    caution_text,
    comparable,
    cup_row,
    day_of,
    even_brew_sentence,
    evidence_sentence,
    layer_row,
    left_out_rows,
    provenance,
    session_row,
    steep_facts,
)
from tastings.reports.guide import count_in_pot, guide_section
from tastings.reports.sections import ageing_section, agreement_section, photo_rows
from tastings.reports.svg import by_peak, curve_of, descriptor_strips, strength_chart
from tastings.reports.words import (
    departure_sentences,
    layer_sentence,
    percent,
    profile_sentence,
    profile_words,
    steeps_sentence,
)

WIDE, NARROW = 720, 350  # of the drawings: a page of paper or a desk, a telephone [px]
STRIPS_TOGETHER = 12  # rows of flavours in one drawing, so that each fits on a printed page
STANDING_CAUTIONS = (
    "Water near boiling scalds at once: keep kettles and pots away from the table's edge and from children.",
    "Let a cup cool before drinking: very hot drinks can injure the mouth and throat.",
    "Tea contains caffeine, and tasting many cups adds up.",
    "Flavour words such as almond or milk name a likeness. They say nothing about allergens in the tea.",
)


def report_facts(  # noqa: PLR0913 - one argument for each kind of record that the report shows
    *,
    lot: Mapping[str, Any],
    development: Mapping[str, Any],
    tasted: Sequence[Mapping[str, Any]],
    tasters: Mapping[str, str],
    sessions: Sequence[Mapping[str, Any]],
    labels: Mapping[str, str] | None = None,
    guide: UsualPotGuide | None = None,
    readiness: Mapping[str, Any] | None = None,
    panel: Mapping[str, Any] | None = None,
    photos: Sequence[Mapping[str, Any]] = (),
) -> dict[str, Any]:
    """Put into words what the report shows, the same for every form of it: plain text and lists of it, no markup.

    Parameters
    ----------
    lot : mapping
        The lot's facts under the contract's field names.
    development : mapping
        The lot's development record.
    tasted : sequence of mappings
        ``session``, ``taster``, ``infusion``, ``descriptor``, ``rating``, ``adjusted``. [points, 0 to 10]
    tasters : mapping
        Names by taster id.
    sessions : sequence of mappings
        ``id``, ``started_at``, ``taster``, ``shop``, ``leaf_g``, ``vessel_ml``, ``vessel_material``, ``kettle_c``,
        ``href``; any may be missing.
    labels : mapping, optional
        Descriptor labels by key.
    guide, readiness, panel, photos
        As in :mod:`tastings.reports.sections`.
    """
    known = {str(key): label for key, label in (labels or {}).items()}
    people = _distinct(tasters)
    told = [session_row(s, people) for s in sorted(sessions, key=lambda s: str(s.get("started_at")))]
    names = {s["id"]: s["name"] for s in told}
    evidence, steeps = development.get("evidence") or {}, development.get("steeps") or {}
    strength = curve_of(development, "strength")
    led = [layer for layer in development.get("layers") or () if layer.get("leading") or layer.get("new")]
    return {
        "name": str(lot.get("name") or "") or "Lot without a name",
        "provenance": provenance(lot),
        "stale": bool(development.get("stale")),
        "computed_at": day_of(development.get("computed_at")),
        "empty": not evidence.get("sessions"),
        "profile_sentence": profile_sentence(development.get("profile")),
        "chances": [
            {"label": profile_words({"label": label}).capitalize(), "chance": percent(chance)}
            for label, chance in ((development.get("profile") or {}).get("probability") or {}).items()
            if strength
        ],
        "steeps_sentence": " ".join(
            filter(None, (steeps_sentence(steeps), count_in_pot(steeps.get("recommended"), guide)))
        ),
        "steeps": steep_facts(development.get("steeps") or {}),
        "evidence_sentence": evidence_sentence(evidence, development.get("steeps") or {}),
        "even_brew_sentence": even_brew_sentence(development.get("even_brew") or {}),
        "cups": [cup_row(point) for point in strength],
        "layer_sentence": layer_sentence(development.get("layers") or (), known),
        "layers": [layer_row(layer, known) for layer in development.get("layers") or ()] if led else [],
        "guide": guide_section(guide),
        "agreement": agreement_section(tasted, strength, people=people, panel=panel),
        "ageing": ageing_section(lot, readiness),
        "departures": departure_sentences(development, session_names=names),
        "nothing_corrected": "Nothing: every session was brewed close to the even brew."
        if strength
        else "Nothing: nobody rated the strength of the cups.",
        "left_out": left_out_rows(evidence.get("left_out") or (), names),
        "otherwise": (development.get("otherwise") or {}).get("sentence", "") if strength else "",
        "next": development.get("next") or "",
        "sessions": told,
        "photos": photo_rows(photos),
        "cautions": [caution_text(c) for c in development.get("cautions") or ()] or list(STANDING_CAUTIONS),
    }


def named(tasted: Sequence[Mapping[str, Any]], tasters: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return the ratings with each taster's name, as the drawings take them."""
    people = _distinct(tasters)
    return [{**t, "taster": people.get(str(t.get("taster")), str(t.get("taster")))} for t in tasted]


def report_context(*, downloads: Mapping[str, str] | None = None, **told: Any) -> dict[str, Any]:  # noqa: ANN401
    """Build what the report's template shows: :func:`report_facts` with the drawings.

    Parameters
    ----------
    downloads : mapping, optional
        Addresses of the same report in other forms, by what to call them.
    told
        As :func:`report_facts` takes it.
    """
    development, known = told["development"], told.get("labels") or {}
    drawn = named(told["tasted"], told["tasters"])
    curves = {curve["descriptor"]: curve for curve in comparable(development)}
    rows = {descriptor: points for descriptor, points, _ in by_peak(list(curves.values()))}
    chunks = _evenly(list(rows), at_most=STRIPS_TOGETHER)
    return {
        **report_facts(**told),
        "chart": _both(lambda width: strength_chart(development, drawn, width=width))
        if curve_of(development, "strength")
        else None,
        "strips": [
            _both(
                lambda width, chunk=chunk: descriptor_strips(
                    {"curves": [curves[d] for d in chunk]}, labels=known, width=width
                )
            )
            for chunk in chunks
        ],
        "downloads": downloads or {},
    }


def render_article(*, downloads: Mapping[str, str] | None = None, **told: Any) -> SafeString:  # noqa: ANN401
    """Write the report itself, without the page around it; see :func:`report_context`."""
    return render_to_string("pages/article.html", report_context(downloads=downloads, **told))


def render_report(
    *,
    downloads: Mapping[str, str] | None = None,
    request: HttpRequest | None = None,
    **told: Any,  # noqa: ANN401 - as report_facts takes it
) -> str:
    """Write the report page of one lot; see :func:`report_context`."""
    article = render_article(downloads=downloads, **told)
    return render_around(article, name=str(told["lot"].get("name") or ""), request=request)


def render_around(  # noqa: PLR0913 - one argument for each thing that a page has around it
    article: SafeString,
    *,
    name: str,
    request: HttpRequest | None = None,
    public: bool = False,
    lang: str = "en",
    links: str = "",
) -> str:
    """Write the page around a report or card. A public one links nowhere and asks not to be indexed.

    ``links`` is the address of the page on which links to it are given.
    """
    around = {"article": article, "name": name or "Lot without a name", "public": public, "lang": lang, "links": links}
    return render_to_string("pages/report.html", around, request=request)


def _evenly(rows: Sequence[str], *, at_most: int) -> list[Sequence[str]]:
    """Split rows, in their order, into as few groups as allowed, none much smaller than another."""
    n_groups = -(-len(rows) // at_most)
    ends = [round(i * len(rows) / n_groups) for i in range(n_groups + 1)] if n_groups else []
    return [rows[a:b] for a, b in pairwise(ends)]


def _distinct(tasters: Mapping[str, str]) -> dict[str, str]:
    """Give each taster a name of their own, so that two of the same name stay two."""
    same = Counter(tasters.values())
    seen: Counter[str] = Counter()
    names = {}
    for taster, name in tasters.items():
        seen[name] += 1
        names[str(taster)] = f"{name} ({seen[name]})" if same[name] > 1 else name
    return names


def _both(draw: Any) -> dict[str, SafeString]:  # noqa: ANN401 - a function of the width, told apart by its use
    """Draw for the desk and for the telephone. The drawings escape every text themselves, so the template need not."""
    return {"wide": SafeString(draw(WIDE)), "narrow": SafeString(draw(NARROW))}
