"""What is known of a lot, its sessions and its cups, put into words for the page. Pure."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from django.utils.translation import gettext as _
from django.utils.translation import ngettext

from tastings.maths.brewing.even_brew import EvenBrew
from tastings.maths.curve.development import CurvePoint, DescriptorCurve, Development
from tastings.maths.curve.evidence import LeftOut
from tastings.maths.curve.layers import Layer
from tastings.queries.developments import SessionFacts
from tastings.queries.reports import LotFacts
from tastings.wording.counts import counted
from tastings.wording.harvests import harvest_words
from tastings.wording.labels import COUNTRIES, MATERIALS, ROASTS, TEAS, descriptor_label, label
from tastings.wording.left_out import left_out_reason
from tastings.wording.numbers import capitalised, day, listed, number, number_range, one_decimal


def provenance(lot: LotFacts) -> list[str]:
    """Return what is known of a lot's kind and origin, one short phrase each, in the order one would say them.

    Price and supplier are left out on purpose: the page is shown to guests.
    """
    parts = [
        capitalised(label(TEAS, lot.kind)) if lot.kind else "",
        *growth(lot),
        "" if lot.oxidation_pct is None else _("%(percent)s\u00a0%% oxidised") % {"percent": number(lot.oxidation_pct)},
        label(ROASTS, lot.roast) if lot.roast else "",
        _("made by %(producer)s") % {"producer": lot.producer} if lot.producer else "",
        _("lot %(code)s") % {"code": lot.code} if lot.code else "",
    ]
    return [part for part in parts if part.strip()]


def growth(lot: LotFacts) -> list[str]:
    """Say which plant it is of, where it grew and when it was picked; a part that is not known is empty."""
    return [
        lot.cultivar or "",
        lot.garden or "",
        lot.region or "",
        label(COUNTRIES, lot.country) if lot.country else "",
        elevation(lot),
        harvest_words(lot.harvest_year, lot.harvest_season),
    ]


def origin(lot: LotFacts) -> list[str]:
    """Return only the kind and where it grew, for a line of a list."""
    kind, country = capitalised(label(TEAS, lot.kind or "")), label(COUNTRIES, lot.country or "")
    return [part for part in (kind, lot.garden or "", lot.region or "", country) if part.strip()]


def elevation(lot: LotFacts) -> str:
    """Say how high a lot grew; empty where that is not known."""
    heights = [number(m) for m in (lot.elevation_low_m, lot.elevation_high_m) if m is not None]
    if not heights:
        return ""
    return _("%(height)s m") % {"height": number_range(*heights) if len(set(heights)) > 1 else heights[0]}


def evidence_sentence(figures: Development) -> str:
    """Say how much tasting the figures rest on."""
    evidence = figures.evidence
    counts = [
        counted(n, noun)
        for n, noun in (
            (evidence.sessions, "session"),
            (evidence.infusions, "infusion"),
            (evidence.tasters, "taster"),
            (evidence.shops, "shop"),
        )
        if n
    ]
    if not counts:
        return _("No session behind it yet.")
    spent, stopped = figures.sessions_spent, figures.sessions_stopped
    ends = [
        ngettext("%(n)s went on until the leaf was spent", "%(n)s went on until the leaf was spent", spent)
        % {"n": spent}
        if spent
        else "",
        ngettext("%(n)s stopped before", "%(n)s stopped before", stopped) % {"n": stopped} if stopped else "",
    ]
    values = {"counts": listed(counts), "ends": listed(filter(None, ends))}
    if any(ends):
        return _("This rests on %(counts)s; of the sessions, %(ends)s.") % values
    return _("This rests on %(counts)s.") % values


def even_brew_sentence(even: EvenBrew) -> str:
    """Say what the even brew is."""
    values = {
        "leaf_g": number(even.leaf_g),
        "vessel_ml": number(even.vessel_ml),
        "heat_c": number(even.kettle_c),
        "contact_s": number(even.contact_s),
    }
    if even.rinse_s is None:
        return (
            _(
                "All figures are for one and the same brew, the even brew, so that lots of this kind can be compared:"
                " %(leaf_g)s g in %(vessel_ml)s ml, water at %(heat_c)s °C, %(contact_s)s s for each infusion,"
                " without a rinse."
            )
            % values
        )
    return _(
        "All figures are for one and the same brew, the even brew, so that lots of this kind can be compared:"
        " %(leaf_g)s g in %(vessel_ml)s ml, water at %(heat_c)s °C, %(contact_s)s s for each infusion, after a rinse"
        " of %(rinse_s)s s."
    ) % {**values, "rinse_s": number(even.rinse_s)}


@dataclass(frozen=True, slots=True)
class CupRow:
    """One infusion of the strength curve, for the table of numbers."""

    infusion: int
    mean: str
    span: str
    observed: str
    n: int


def cup_row(point: CurvePoint) -> CupRow:
    """Write one infusion of the strength curve."""
    return CupRow(
        infusion=point.infusion,
        mean=one_decimal(point.mean),
        span=number_range(one_decimal(point.low), one_decimal(point.high)),
        observed=_("none") if point.observed is None else one_decimal(point.observed),
        n=point.n,
    )


@dataclass(frozen=True, slots=True)
class LayerRow:
    """Which flavours lead one cup, and which come and go; ``also`` are those that are there in the first besides."""

    infusion: int
    leading: tuple[str, ...]
    also: tuple[str, ...]
    new: tuple[str, ...]
    gone: tuple[str, ...]
    richness: str


def layer_row(layer: Layer, labels: Mapping[str, str]) -> LayerRow:
    """Write one cup of the layers; in the first nothing is new against a cup before."""

    def names(keys: Sequence[str]) -> tuple[str, ...]:
        return tuple(descriptor_label(key, labels) for key in keys)

    return LayerRow(
        infusion=layer.infusion,
        leading=names(layer.leading),
        also=names([key for key in layer.new if key not in layer.leading]) if layer.infusion == 1 else (),
        new=() if layer.infusion == 1 else names(layer.new),
        gone=names(layer.gone),
        richness=one_decimal(layer.richness),
    )


@dataclass(frozen=True, slots=True)
class SessionRow:
    """One session: when, who, where, and how it was brewed."""

    id: str
    href: str
    name: str
    day: str
    taster: str
    shop: str
    brew: str


def session_row(session: SessionFacts, people: Mapping[str, str]) -> SessionRow:
    """Write one session; ``people`` are the tasters' names by id."""
    started, taster = day(session.started_at), people.get(session.taster, session.taster)
    return SessionRow(
        id=session.id,
        href=session.href,
        name=", ".join(filter(None, (started, taster))) or _("Session"),
        day=started,
        taster=taster,
        shop=session.shop,
        brew=brew_words(session.leaf_g, session.vessel_ml, session.vessel_material, session.kettle_c),
    )


def brew_words(
    leaf_g: float | None, vessel_ml: float | None, vessel_material: str | None, kettle_c: float | None
) -> str:
    """Say leaf, vessel and heat as far as they were written down."""
    pot = [
        "" if leaf_g is None else _("%(leaf_g)s g") % {"leaf_g": number(leaf_g)},
        "" if vessel_ml is None else _("in %(vessel_ml)s ml") % {"vessel_ml": number(vessel_ml)},
        label(MATERIALS, vessel_material) if vessel_material else "",
    ]
    heat = "" if kettle_c is None else _("kettle at %(heat_c)s °C") % {"heat_c": number(kettle_c)}
    return ", ".join(filter(None, (" ".join(filter(None, pot)), heat)))


@dataclass(frozen=True, slots=True)
class LeftOutRow:
    """What the figures leave out, and why."""

    session: str
    infusion: str
    reason: str


def left_out_rows(left_out: Sequence[LeftOut], names: Mapping[str, str]) -> list[LeftOutRow]:
    """Write what the figures leave out; ``names`` are those of the sessions by id."""
    return [
        LeftOutRow(
            session=names.get(item.session, _("One session")),
            infusion="" if item.infusion is None else _("infusion %(number)s") % {"number": item.infusion},
            reason=left_out_reason(item),
        )
        for item in left_out
    ]


def comparable(figures: Development) -> list[DescriptorCurve]:
    """Return the curves that may be shown on the even brew.

    Liking is a judgement on a cup and nothing that leaves the leaf: while nobody rated the strength of the cups, what
    it would be on another brew is not known.
    """
    is_rated = bool(figures.curve_of("strength"))
    return [curve for curve in figures.curves if is_rated or curve.descriptor != "liking"]
