"""The card for customers: as plain text and lists, as Markdown and for the typesetter. Pure."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby

from django.utils.translation import get_language, ngettext
from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import MOST_INFUSIONS
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.guide.answer import Guide
from tastings.queries.guides import UsualPotGuide
from tastings.queries.reports import LotFacts, ReportContent
from tastings.reports.facts import elevation, harvest
from tastings.reports.pairings import pairings
from tastings.wording.labels import ALLERGENS, COUNTRIES, FOODS, TEAS, descriptor_label, label
from tastings.wording.numbers import duration, isolated, listed, number

MOST_GROUPS = 6
MOST_LEADING, MOST_WORDS = 2, 4  # in one line
_SAYS_NOTHING = frozenset({"aroma", "finish", "body"})  # that there is some tells a customer nothing
_FOR_BUYERS = frozenset({"faults", "liquor look", "leaf look", "body feeling"})  # families that no customer needs
_EVEN = {"leaf_g": 5, "vessel_ml": 110, "s": 20}
# Heat to begin with while nobody has tasted the lot (common practice, no source). [deg C]
_BEGIN_C = {
    "green": 80,
    "yellow": 85,
    "white": 90,
    "scented": 85,
    "oolong": 95,
    "black": 95,
    "dark": 100,
    "herbal": 100,
}
_BEGIN_OTHER_C = 90
# What means something within a line of CommonMark or in its common extensions, and what does at a line's start.
_SPECIAL = re.compile(r"[\\`*_\[\]<>#|~&$^{}]|:(?=//)|@|(?<=www)\.", re.IGNORECASE)
_START = re.compile(r"^(\d*)([-+=.)])")


@dataclass(frozen=True, slots=True)
class CardHeads:
    """The headings of a card."""

    expect: str
    brew: str
    many: str
    pair: str
    care: str


@dataclass(frozen=True, slots=True)
class CardCups:
    """Which cups, and what leads or is there in them."""

    cup: str
    words: str


@dataclass(frozen=True, slots=True)
class CardBrew:
    """How to brew: sentences, a time for each cup, and whether some are guesses."""

    lines: tuple[str, ...]
    head: str = ""
    steeps: tuple[str, ...] = ()
    guess: str = ""


@dataclass(frozen=True, slots=True)
class CardPairing:
    """A food with its reason, and what it usually contains."""

    text: str
    contains: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The text of a card, in one language. Price, supplier, shop and tasters are not in it."""

    lang: str
    name: str
    origin: tuple[str, ...]
    heads: CardHeads
    course: str
    cups: tuple[CardCups, ...]
    brew: CardBrew
    many: tuple[str, ...]
    pairings: tuple[CardPairing, ...]
    pairing_note: str
    cautions: tuple[str, ...]
    missing_words: str


def card_of(content: ReportContent, *, families: Mapping[str, str]) -> Card:
    """Put into words what a customer should know, in the language that is active.

    Parameters
    ----------
    content : ReportContent
        What is known of the lot.
    families : Mapping[str, str]
        Family of each descriptor, by key.
    """
    lot, figures, guide, labels = content.lot, content.development.figures, content.guide, content.labels
    brewed = guide.guide if guide is not None and guide.guide.infusions else None
    in_pot = brewed.last_worthwhile if brewed else None
    reach = in_pot or figures.steeps.recommended or 0
    worth = [layer for layer in figures.layers if layer.infusion <= reach] or figures.layers[:1]
    tasted = bool(figures.evidence.sessions)
    expected = _expected(worth, families) if tasted else []
    herbal = lot.kind == "herbal"
    return Card(
        lang=get_language() or "en",
        name=lot.name or _("Tea card"),
        origin=tuple(origin_line(lot)),
        heads=CardHeads(
            expect=_("What to expect"),
            brew=_("How to brew"),
            many=_("How many cups"),
            pair=_("Goes with"),
            care=_("Take care"),
        ),
        course=_course(figures.profile) if tasted else _("Not tasted enough yet to say."),
        cups=tuple(_cups(expected, labels)),
        brew=_brew(guide, kind=lot.kind or ""),
        many=tuple(_many(figures.steeps, brewed)) if tasted else (_("Not known yet."),),
        pairings=tuple(_pairings(expected, labels=labels, families=families)),
        pairing_note=_(
            "Suggested by rule from the flavours above: common practice, no promise. Flavour words name a likeness, not"
            " an ingredient. Allergies: ask the maker of the tea and of the food."
        ),
        cautions=(
            _("Near-boiling water scalds at once. Keep kettle and pot out of children's reach."),
            _("Let the cup cool: drinking hotter than 65 °C is classed as probably carcinogenic (IARC Monograph 116)."),
            " ".join(filter(None, (_caffeine(guide.guide if guide else None), _contents(herbal=herbal)))),
        ),
        missing_words=_("□ stands for a character that no font on this server can draw:"),
    )


def origin_line(lot: LotFacts) -> list[str]:
    """Say what kind of tea it is and where and when it grew, one short phrase each."""
    parts = [
        label(TEAS, lot.kind) if lot.kind else "",
        lot.cultivar or "",
        lot.garden or "",
        lot.region or "",
        label(COUNTRIES, lot.country) if lot.country else "",
        elevation(lot),
        harvest(lot),
        _("lot %(code)s") % {"code": lot.code} if lot.code else "",
    ]
    return [part for part in parts if part.strip()]


def _course(profile: Profile) -> str:
    sentence = {
        "build_up": _("It builds up: the strongest is about cup %(peak)s, not the first."),
        "steady": _("It stays steady from cup to cup, strongest at about cup %(peak)s."),
        "slow_fade": _("It fades slowly, strongest at about cup %(peak)s."),
        "quick_fade": _("It fades quickly: enjoy the first cups, above all cup %(peak)s."),
    }.get(profile.label)
    if sentence is None:
        return _("How it develops from cup to cup is still open.")
    return sentence % {"peak": profile.peak_infusion}


@dataclass(frozen=True, slots=True)
class _Cup:
    """What a customer may expect of one cup: what leads, and which particular flavours are there, by key."""

    infusion: int
    leading: tuple[str, ...]
    present: tuple[str, ...]


def _expected(layers: Sequence[Layer], families: Mapping[str, str]) -> list[_Cup]:
    """Read the cups off their layers, which follow each other from the first infusion on."""
    present: list[str] = []
    cups = []
    for layer in layers:
        present = [key for key in present if key not in layer.gone]
        present += [key for key in layer.new if key not in present]
        cups.append(
            _Cup(
                infusion=layer.infusion,
                leading=tuple(
                    key for key in layer.leading if key not in _SAYS_NOTHING and families.get(key) not in _FOR_BUYERS
                ),
                present=tuple(key for key in present if families.get(key) not in {*_FOR_BUYERS, "structure"}),
            )
        )
    return cups


def _cups(expected: Sequence[_Cup], labels: Mapping[str, str]) -> list[CardCups]:
    """Say what to expect of which cup; cups that follow each other and are led alike share a line.

    A line names what leads, and the particular flavours that are in most of its cups.
    """
    groups = [list(group) for _key, group in groupby(expected, key=lambda cup: sorted(cup.leading))]
    lines = []
    for cups in groups[:MOST_GROUPS]:
        counts = Counter(key for cup in cups for key in cup.present if key not in cup.leading)
        often = [key for key, n in counts.most_common() if 2 * n > len(cups)]
        keys = [*cups[0].leading[:MOST_LEADING], *often][:MOST_WORDS]
        first, last = cups[0].infusion, cups[-1].infusion
        which = _("Cup %(n)s") if first == last else _("Cups %(first)s to %(last)s")
        words = ", ".join(isolated(descriptor_label(key, labels)) for key in keys)
        lines.append(CardCups(which % {"n": first, "first": first, "last": last}, words or "\u2013"))
    return lines if any(cup.leading or cup.present for cup in expected) else []


def _pairings(expected: Sequence[_Cup], *, labels: Mapping[str, str], families: Mapping[str, str]) -> list[CardPairing]:
    return [
        CardPairing(
            text=_("%(food)s, for its %(words)s")
            % {
                "food": label(FOODS, one.food),
                "words": listed(isolated(descriptor_label(key, labels)) for key in one.because),
            },
            contains=_("usually contains %(allergens)s")
            % {"allergens": listed(label(ALLERGENS, key) for key in one.allergens)}
            if one.allergens
            else _("usually without the allergens that must be declared"),
        )
        for one in pairings([(*cup.leading, *cup.present) for cup in expected], families)
    ]


def _brew(found: UsualPotGuide | None, *, kind: str) -> CardBrew:
    if found is None or not found.guide.infusions:
        begin = _(
            "Not tasted enough yet: begin with %(leaf_g)s g in %(vessel_ml)s ml, water at %(heat_c)s °C and %(s)s s."
        )
        return CardBrew((begin % {**_EVEN, "heat_c": _BEGIN_C.get(kind, _BEGIN_OTHER_C)},))
    guide, pot = found.guide, found.pot
    last = guide.last_worthwhile
    pours = [one for one in guide.infusions if last is None or one.number <= last] or guide.infusions[:1]
    lines = [
        _("%(leaf_g)s g of leaf, %(vessel_ml)s ml, water at %(heat_c)s °C.")
        % {
            "leaf_g": number(guide.vessel.leaf_g),
            "vessel_ml": number(pot.vessel_ml),
            "heat_c": number(round(guide.vessel.poured_c, 1)),
        }
    ]
    if pot.warmed:
        lines.append(_("Warm the pot first."))
    if guide.rinse_s:
        lines.append(_("Rinse the leaf for %(s)s s and pour the water away.") % {"s": number(guide.rinse_s)})
    guessed = guide.guessed_infusions
    return CardBrew(
        lines=tuple(lines),
        head=_("Steep cup by cup:"),
        steeps=tuple(
            (_("%(n)s: about %(time)s") if one.number in guessed else _("%(n)s: %(time)s"))
            % {"n": one.number, "time": duration(one.steep_s)}
            for one in pours
        ),
        guess=_("Times with “about” are guesses: taste, and go by that rather than by the clock.")
        if any(one.number in guessed for one in pours)
        else "",
    )


def _many(steeps: Steeps, guide: Guide | None) -> list[str]:
    """Say how many cups: in the pot of the guide where there is one, else on the even brew with its interval."""
    if guide and guide.last_worthwhile:
        n, low, high = guide.last_worthwhile, None, None
    elif steeps.recommended:
        n, low, high = steeps.recommended, steeps.low, steeps.high
    else:
        return [_("Not known yet.")]
    if n >= MOST_INFUSIONS:
        first = _("Good for %(n)s cups or more.") % {"n": n}
    else:
        first = ngettext("Good for about %(n)s cup.", "Good for about %(n)s cups.", n) % {"n": n}
    if low is None or high is None or low == high:
        return [first]
    span = (
        _("With 80 %% probability %(low)s to %(high)s or more.")
        if high >= MOST_INFUSIONS
        else _("With 80 %% probability %(low)s to %(high)s.")
    )
    return [first, span % {"low": low, "high": high}]


def _caffeine(guide: Guide | None) -> str:
    if guide is None or guide.caffeine is None:
        return ""
    low_mg, high_mg = guide.caffeine.per_pot_mg
    return _("About %(low)s to %(high)s mg caffeine in all cups of this pot (estimate).") % {
        "low": round(low_mg),
        "high": round(high_mg),
    }


def _contents(*, herbal: bool) -> str:
    if herbal:
        return _("Herbal: ask the maker whether it contains caffeine, and whom it does not suit.")
    return _(
        "Contains caffeine. EFSA (2015): 200 mg at a time and 400 mg a day for healthy adults, 200 mg a day in"
        " pregnancy and while nursing; children much less. In doubt ask a doctor."
    )


def _escaped(text: str) -> str:
    """Return what was typed into a field as Markdown that shows it, on one line."""
    whole = isolated(" ".join(text.split()))
    return _START.sub(r"\1\\\2", _SPECIAL.sub(r"\\\g<0>", whole))


def card_markdown(card: Card) -> str:
    """Write the card as CommonMark; whatever was typed into a field is escaped."""
    heads, brew = card.heads, card.brew
    lines = [f"# {_escaped(card.name)}", "", " · ".join(map(_escaped, card.origin)), ""]
    lines += [f"## {heads.expect}", "", card.course, ""]
    lines += [f"- **{one.cup}:** {_escaped(one.words)}" for one in card.cups]
    lines += ["", f"## {heads.many}", "", " ".join(card.many), ""]
    lines += [f"## {heads.brew}", "", " ".join(brew.lines), ""]
    if brew.steeps:
        lines += [brew.head, "", " · ".join(brew.steeps), ""]
        lines += [brew.guess, ""] if brew.guess else []
    if card.pairings:
        lines += [f"## {heads.pair}", ""]
        lines += [f"- {_escaped(one.text)} ({one.contains})" for one in card.pairings]
        lines += ["", card.pairing_note, ""]
    lines += [f"## {heads.care}", "", *(f"- {caution}" for caution in card.cautions)]
    return "\n".join(lines) + "\n"


def card_document(card: Card) -> dict[str, object]:
    """Return what the layout ``card`` reads."""
    return {
        **asdict(card),
        "name": isolated(" ".join(card.name.split())),
        "origin": " · ".join(isolated(" ".join(part.split())) for part in card.origin),
    }
