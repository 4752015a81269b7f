"""The card for customers: as plain text and lists, as Markdown and for the typesetter. Pure."""

import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass
from itertools import groupby

from django.utils.translation import get_language
from django.utils.translation import gettext as _

from tastings.maths.brewing.even_brew import even_brew_of
from tastings.maths.curve.layers import Layer
from tastings.maths.curve.profile import Profile
from tastings.maths.curve.steep_count import Steeps
from tastings.maths.guide.answer import Guide
from tastings.queries.guides import UsualPotGuide
from tastings.queries.reports import LotFacts, ReportContent
from tastings.reports.facts import growth
from tastings.reports.guide import guests_words, until_words
from tastings.reports.pairings import Pairing, pairings
from tastings.wording.labels import ALLERGENS, FOODS, TEAS, descriptor_in_sentence, descriptor_label, label
from tastings.wording.numbers import duration, in_fives, isolated, listed, number
from tastings.wording.profile import FADES, infusions_words, two_left

MOST_GROUPS = 6
MOST_LEADING, MOST_WORDS = 2, 4  # in one line
_SAYS_NOTHING = frozenset({"aroma", "finish", "body"})  # that there is some tells a customer nothing
_FOR_BUYERS = frozenset({"faults", "liquor look", "leaf look", "body feeling"})  # families that no customer needs
# What means something within a line of CommonMark or in its common extensions, and what does at a line's start.
_SPECIAL = re.compile(r"[\\`*_\[\]<>#|~&$^{}]|:(?=//)|@|(?<=www)\.", re.IGNORECASE)
_START = re.compile(r"^(\d*)([-+=.)])")


@dataclass(frozen=True, slots=True)
class CardHeads:
    """The headings of a card."""

    expect: str
    brew: str
    pair: str
    curve: str


@dataclass(frozen=True, slots=True)
class CardCups:
    """Which cups, how many they are, what leads or is there in them, in words and by key."""

    cup: str
    words: str
    n: int
    keys: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class CardBrew:
    """How to brew: sentences, a time for each cup, and whether some are guesses."""

    lines: tuple[str, ...]
    head: str = ""
    steeps: tuple[str, ...] = ()
    guess: str = ""
    until: str = ""
    guests: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Card:
    """The text of a card, in one language. What the lot cost, supplier, shop and tasters are not in it."""

    lang: str
    merchant: str
    name: str
    origin: tuple[str, ...]
    heads: CardHeads
    count: str
    course: str
    cups: tuple[CardCups, ...]
    brew: CardBrew
    pairings: tuple[str, ...]
    contains: str
    caution: str
    missing_words: str


def card_of(content: ReportContent, *, families: Mapping[str, str]) -> Card:
    """Put into words what a customer should know, in the active language; ``families`` are by descriptor key."""
    lot, figures, guide, labels = content.lot, content.development.figures, content.guide, content.labels
    brewed = guide.guide if guide is not None and guide.guide.infusions else None
    in_pot = brewed.last_worthwhile if brewed and brewed.first_beyond_tasted is None else None
    reach = in_pot or figures.steeps.recommended or 0
    worth = [layer for layer in figures.layers if layer.infusion <= reach] or figures.layers[:1]
    tasted = bool(figures.evidence.sessions)
    cups = _cups(_expected(worth, families), labels) if tasted else []
    foods = pairings([cup.keys for cup in cups for _cup in range(cup.n)], families)
    return Card(
        lang=get_language() or "en",
        merchant=content.merchant,
        name=lot.name or _("Tea card"),
        origin=tuple(origin_line(lot)),
        heads=CardHeads(
            expect=_("What to expect"), brew=_("How to brew"), pair=_("Goes with"), curve=_("Strength, cup by cup")
        ),
        count=infusions_words(figures.steeps),
        course=_course(figures.profile) if tasted else _("Not tasted enough yet to say."),
        cups=tuple(cups),
        brew=_brew(guide, kind=lot.kind or "", steeps=figures.steeps),
        pairings=tuple(_pairing(food, labels) for food in foods),
        contains=_contains(foods),
        caution=_caution(guide.guide if guide else None, herbal=lot.kind == "herbal"),
        missing_words=_("□ stands for a character that no font on this server can draw:"),
    )


def origin_line(lot: LotFacts) -> list[str]:
    """Say what kind of tea it is and where and when it grew, one short phrase each."""
    tea, code = label(TEAS, lot.kind or ""), _("lot %(code)s") % {"code": lot.code} if lot.code else ""
    parts = [tea, *growth(lot), code]
    return [part for part in parts if part.strip()]


def _course(profile: Profile) -> str:
    sentence = {
        "build_up": _("It builds up: the strongest is about cup %(peak)s, not the first."),
        "steady": _("It stays steady from cup to cup, strongest at about cup %(peak)s."),
        "slow_fade": _("It fades slowly, strongest at about cup %(peak)s."),
        "quick_fade": _("It fades quickly: enjoy the first cups, above all cup %(peak)s."),
    }.get(profile.label)
    if sentence is None and set(two_left(profile) or ()) == FADES:
        sentence = _("It is strongest at about cup %(peak)s and fades from there.")
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

    A line names what leads, and the particular flavours that are in most of its cups. Cups whose lines would read alike
    share one too.
    """
    groups = [list(group) for _key, group in groupby(expected, key=lambda cup: sorted(cup.leading))]
    lines = []
    for keys, alike in groupby(groups, key=_named):
        cups = [cup for group in alike for cup in group]
        first, last = cups[0].infusion, cups[-1].infusion
        which = _("Cup %(n)s") if first == last else _("Cups %(first)s to %(last)s")
        words = ", ".join(isolated(descriptor_label(key, labels)) for key in keys)
        lines.append(CardCups(which % {"n": first, "first": first, "last": last}, words or "\u2013", len(cups), keys))
    return lines[:MOST_GROUPS] if any(cup.leading or cup.present for cup in expected) else []


def _named(cups: Sequence[_Cup]) -> tuple[str, ...]:
    counts = Counter(key for cup in cups for key in cup.present if key not in cup.leading)
    often = [key for key, n in counts.most_common() if 2 * n > len(cups)]
    return tuple([*cups[0].leading[:MOST_LEADING], *often][:MOST_WORDS])


def _pairing(pairing: Pairing, labels: Mapping[str, str]) -> str:
    words = listed(isolated(descriptor_in_sentence(key, labels)) for key in pairing.because)
    return _("%(food)s, for its %(words)s") % {"food": label(FOODS, pairing.food), "words": words}


def _contains(foods: Sequence[Pairing]) -> str:
    """Say once which allergens the foods usually contain."""
    if not foods:
        return ""
    keys = dict.fromkeys(key for food in foods for key in food.allergens)
    if not keys:
        return _("Allergies: ask the maker of the food.")
    return _("These foods usually contain %(allergens)s; with an allergy ask their maker.") % {
        "allergens": listed(label(ALLERGENS, key) for key in keys)
    }


def _brew(usual: UsualPotGuide | None, *, kind: str, steeps: Steeps) -> CardBrew:
    if usual is None or not usual.guide.infusions:
        begin = _(
            "Not tasted enough yet: begin with %(leaf_g)s g in %(vessel_ml)s ml, water at %(heat_c)s °C and %(s)s s."
        )
        even = even_brew_of(kind)
        figures = {
            "leaf_g": number(even.leaf_g),
            "vessel_ml": number(even.vessel_ml),
            "heat_c": number(even.kettle_c),
            "s": number(even.contact_s),
        }
        return CardBrew((begin % figures,))
    guide, pot = usual.guide, usual.pot
    last = guide.last_worthwhile
    pours = [infusion for infusion in guide.infusions if last is None or infusion.number <= last] or guide.infusions[:1]
    lines = [
        _("%(leaf_g)s g of leaf, %(vessel_ml)s ml, water at %(heat_c)s °C.")
        % {
            "leaf_g": number(guide.vessel.leaf_g),
            "vessel_ml": number(pot.vessel_ml),
            "heat_c": f"{guide.vessel.poured_c:.0f}",
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
            (_("%(n)s: about %(time)s") if pour.number in guessed else _("%(n)s: %(time)s"))
            % {"n": pour.number, "time": duration(pour.steep_s)}
            for pour in pours
        ),
        guess=_("Times with “about” are guesses: taste, and go by that rather than by the clock.")
        if any(pour.number in guessed for pour in pours)
        else "",
        until=until_words(guide, steeps=steeps),
        guests=guests_words(guide.serving),
    )


def _caution(guide: Guide | None, *, herbal: bool) -> str:
    """Say in one line what to be careful about: scalding, hot drinks (IARC Monograph 116) and caffeine (EFSA 2015)."""
    hot = _("Hot water scalds; let the cup cool below 65\u00a0°C.")
    if herbal:
        unknown = _("Ask whether this herb contains caffeine, and whom it does not suit.")
        return f"{hot} {unknown}"
    contents = _("Contains caffeine.")
    if guide is not None and guide.caffeine is not None:
        low_mg, high_mg = guide.caffeine.per_pot_mg
        contents = _("Contains caffeine: about %(low)s to %(high)s mg in this pot.") % {
            "low": in_fives(low_mg),
            "high": in_fives(high_mg),
        }
    advised = _("In pregnancy and nursing at most 200 mg a day; less for children.")
    return f"{hot} {contents} {advised}"


def _escaped(text: str) -> str:
    """Return what was typed into a field as Markdown that shows it, on one line."""
    whole = isolated(" ".join(text.split()))
    return _START.sub(r"\1\\\2", _SPECIAL.sub(r"\\\g<0>", whole))


def card_markdown(card: Card, *, price: str = "") -> str:
    """Write the card and its price as CommonMark; whatever was typed into a field is escaped."""
    heads, brew = card.heads, card.brew
    lines = [f"# {_escaped(card.name)}", "", " · ".join(map(_escaped, (card.merchant, *card.origin))), ""]
    lines += [f"**{card.count}**", ""] if card.count else []
    lines += [f"## {heads.expect}", "", card.course, ""]
    lines += [f"- **{cup.cup}:** {_escaped(cup.words)}" for cup in card.cups]
    lines += ["", f"## {heads.brew}", "", " ".join(brew.lines), ""]
    if brew.steeps:
        lines += [brew.head, "", " · ".join(brew.steeps), ""]
        lines += [" ".join(filter(None, (brew.guests, brew.until, brew.guess))), ""]
    if card.pairings:
        lines += [f"## {heads.pair}", ""]
        lines += [f"- {_escaped(text)}" for text in card.pairings]
        lines += ["", card.contains, ""]
    if price.strip():
        lines += [f"**{_escaped(price)}**", ""]
    return "\n".join([*lines, card.caution]) + "\n"


@dataclass(frozen=True, slots=True, kw_only=True)
class CardExtras:
    """What a printed card has beside its text."""

    chart: Mapping[str, object] | None = None  # the curve as `tastings.reports.document.chart_payload` gives it
    # photo, logo: files of the tea's photo and of the merchant's logo; empty without one
    photo: str = ""
    logo: str = ""
    qr: Sequence[Sequence[int]] = ()  # rows of a QR code, 1 for dark; empty without a link
    price: str = ""  # as it is to be printed


def card_document(card: Card, extras: CardExtras | None = None) -> dict[str, object]:
    """Return what the layout ``card`` reads."""
    extra = extras or CardExtras()
    return {
        **asdict(card),
        "name": isolated(" ".join(card.name.split())),
        "merchant": isolated(" ".join(card.merchant.split())),
        "origin": " · ".join(isolated(" ".join(part.split())) for part in card.origin),
        "chart": extra.chart,
        "qr": [list(row) for row in extra.qr],
        "price": isolated(" ".join(extra.price.split())),
        "photos": [{"file": extra.photo, "caption": card.name}] if extra.photo else [],
        "logo": {"file": extra.logo} if extra.logo else None,
    }
