"""The card for customers, in every language there is."""

import json
import re
from dataclasses import asdict, replace
from itertools import pairwise
from pathlib import Path

import pytest
from django.conf import settings
from django.utils import translation
from PIL import Image

from pages.cards import render_card
from tastings.figures import from_stored
from tastings.maths.curve.layers import Layer
from tastings.queries.reports import LotFacts
from tastings.reports.card import CardExtras, card_document, card_markdown, card_of
from tastings.reports.document import chart_payload
from tastings.reports.pairings import pairings, rules
from tastings.reports.typeset import typeset
from tastings.wording.labels import ALLERGENS, FOODS
from tests.tastings.photos.photographs import encode_image
from tests.tastings.reports import sample
from tests.tastings.reports.pdf import heights_of, pages_of, text_of
from tests.tastings.reports.sample_guide import GUIDE, guide, pour
from tests.tastings.reports.test_typeset import HOSTILE

DATA = Path(__file__).resolve().parents[3] / "tastings/data"
LEXICON = json.loads((DATA / "lexicon.json").read_text())["descriptors"]
FAMILIES = {word["key"]: word["family"] for word in LEXICON}


LANGUAGES = [code for code, _ in settings.LANGUAGES]


def card(lang="en", **changed):
    content = sample.report(**{"guide": GUIDE, "merchant": "Example Leaf", **changed})
    with translation.override(lang):
        return card_of(content, families=FAMILIES)


def with_layers(*layers):
    return sample.development(sample.figures(layers=layers))


def lines_of(found):
    return [(one.cup, one.words) for one in found.cups]


def first_led_by(key):
    first, *others = sample.figures().layers
    return with_layers(replace(first, leading=(key,)), *others)


def test_every_pairing_names_a_food_allergens_families_and_descriptors_that_there_are():
    assert {rule["food"] for rule in rules()["rules"]} == set(FOODS)
    assert {allergen for rule in rules()["rules"] for allergen in rule["allergens"]} == set(ALLERGENS)
    assert {family for rule in rules()["rules"] for family in rule["families"]} <= set(FAMILIES.values())
    assert {key for rule in rules()["rules"] for key in rule["keys"]} <= set(FAMILIES)


def test_card_tells_name_origin_cups_brew_and_safety():
    found = card()
    assert found.name == sample.LOT.name
    assert found.origin == (
        "Oolong", "narrow-leaf bush", "Lower Terrace", "Example Hills", "China", "450 to 620 m", "spring 2024 harvest",
        "lot MT-24-07",
    )  # fmt: skip
    assert found.course == "It builds up: the strongest is about cup 3, not the first."
    assert lines_of(found) == [("Cup 1", "Roast, Caramel"), ("Cup 2", "Roast, Orchid")]  # the pot gives no more
    assert found.merchant == "Example Leaf"
    assert found.brew.lines[0] == "5.5 g of leaf, 110 ml, water at 99 °C."
    assert found.brew.steeps == ("1: 22 s", "2: 1 min 35 s")
    assert found.count == "9 infusions (7 to 10)"  # as everywhere, and why the pot gives two is said beside it
    assert found.brew.until == "Brewed to this strength the leaf gives 2 cups; short, equal infusions give 9."
    assert all(word in found.caution for word in ("scalds", "65\u00a0°C", "caffeine", "60 to 170 mg"))
    assert (
        found.contains
        == "These foods usually contain milk, nuts, soya, cereals with gluten and egg; with an allergy ask their maker."
    )


def test_card_in_german_is_german_with_its_decimal_comma():
    found = card(lang="de")
    assert found.brew.lines[0] == "5,5 g Blätter, 110 ml, Wasser mit 99 °C."
    assert lines_of(found)[0] == ("Tasse 1", "Röstung, Karamell")
    assert found.origin[4:7] == ("China", "450 bis 620 m", "Ernte Frühling 2024")


@pytest.mark.parametrize(("lang", "word"), [("en", "about"), ("de", "etwa")])
def test_card_tells_times_that_are_guesses_as_such(lang, word):
    sure, unsure = (card(lang=lang, guide=guide(last_sure=n, last_at_target=2)).brew for n in (2, 1))
    assert sure.guess == ""
    assert unsure.steeps == ("1: 22 s", f"2: {word} 1 min 35 s")
    assert word in unsure.guess
    found = card(lang=lang, guide=guide(last_sure=1, last_at_target=2))
    assert unsure.guess in card_markdown(found)
    assert unsure.guess in render_card(found)


def test_card_without_a_guide_counts_on_the_even_brew():
    found = card(guide=None)
    assert found.count == "9 infusions (7 to 10)"
    assert found.brew.lines == ("Not tasted enough yet: begin with 5 g in 110 ml, water at 100 °C and 20 s.",)


def test_card_of_a_lot_nobody_tasted_claims_nothing():
    found = card(development=sample.empty(), guide=None)
    assert (found.cups, found.pairings, found.contains, found.count) == ((), (), "", "")
    assert found.course == "Not tasted enough yet to say."


def test_card_keeps_price_supplier_and_tasters_out():
    lot = from_stored(LotFacts, {**sample.LOT_FIELDS, "supplier": "Secret Source", "remarks": "dear"})
    found = json.dumps(asdict(card(lot=lot)))
    assert [word for word in ("180", "Secret", "dear", *sample.TASTERS.values()) if word in found] == []


def test_teams_own_word_is_called_as_the_team_calls_it():
    for lang in LANGUAGES:
        found = card(lang=lang, development=first_led_by("our_word"), labels={"our_word": "Grandma's tin"})
        assert found.cups[0].words == "Grandma's tin"


def test_card_names_particular_flavours_and_neither_faults_nor_generalities():
    def layer(infusion, leading, new=(), gone=()):
        return Layer(infusion, tuple(leading), tuple(new), tuple(gone), 1.0)

    layers = [
        layer(1, ["aroma", "roast", "musty"], ["charcoal", "musty", "liquor_amber", "orchid"]),
        layer(2, ["roast", "aroma"], ["honey"], ["charcoal"]),
        layer(3, ["body", "sweetness"], ["wet_stone"], ["orchid", "honey"]),
    ]
    found = card(development=with_layers(*layers), guide=guide(last_worthwhile=3))
    assert lines_of(found) == [
        ("Cups 1 to 2", "Roast, Orchid"),  # charcoal and honey in one cup of the two
        ("Cup 3", "Sweetness, Wet stone"),
    ]
    assert found.pairings == ("Dark chocolate, for its roast", "A ripe pear or peach, for its orchid")


def test_card_pairs_for_words_that_it_names_and_not_for_stone_or_wood():
    layers = [Layer(n, ("minerality", "roast"), ("bamboo", "cedar", "wet_stone"), (), 1.0) for n in (1, 2)]
    found = card(development=with_layers(*layers))

    assert "Bamboo" in found.cups[0].words
    assert found.pairings == ("Dark chocolate, for its roast",)
    for one in card().pairings:
        assert any(
            word in lines
            for lines in [str(lines_of(card())).casefold()]
            for word in one.rpartition("its ")[2].split(" and ")
        )


@pytest.mark.parametrize(
    ("kind", "brew"),
    [("green", "4 g in 110 ml, water at 80 °C and 30 s"), (None, "5 g in 110 ml, water at 100 °C and 20 s")],
)
def test_untasted_lot_begins_with_the_even_brew_of_its_kind(kind, brew):
    found = card(lot=replace(sample.LOT, kind=kind), guide=None, development=sample.empty())
    assert brew in found.brew.lines[0]  # common practice, no source


def test_card_of_cups_without_flavours_expects_nothing():
    found = card(development=with_layers(*(Layer(n, (), (), (), 0.0) for n in (1, 2, 3))))
    assert (found.cups, found.pairings) == ((), ())


def test_pairings_follow_the_cups_most_often_matched():
    found = pairings([["honey", "roast"], ["honey"], ["seaweed"]], FAMILIES)
    assert [(one.food, one.because) for one in found] == [
        ("butter_biscuits", ("honey",)),
        ("dried_figs", ("honey",)),
        ("dark_chocolate", ("roast",)),
    ]
    assert found[0].allergens == ("gluten", "milk", "egg")
    assert pairings([["unheard"], []], FAMILIES) == []


@pytest.mark.parametrize("lang", LANGUAGES)
def test_card_with_all_there_is_fits_one_a6_page(lang):
    layers = [
        Layer(n, ("roast", "astringency"), ("returning_sweetness", "dark_chocolate"), (), 1.0) for n in range(1, 9)
    ]
    layers += [Layer(n, ("minerality", "sweetness"), ("osmanthus", "condensed_milk"), (), 1.0) for n in range(9, 13)]
    many = tuple(pour(n, 20.0 + 5 * n, 6.0, 5.0, 7.0) for n in range(1, 13))
    found = card(
        lang=lang,
        development=with_layers(*layers),
        guide=guide(infusions=many, last_worthwhile=12, last_sure=6, last_at_target=12),
    )
    with translation.override(lang):
        chart = chart_payload(sample.figures(), ())
    extras = CardExtras(chart=chart, photo="tea.jpg", qr=[[1, 0] * 15 for _ in range(30)], price="14,50 EUR / 50 g")
    made = typeset(
        "card",
        "pdf",
        card_document(found, extras),
        pictures={"tea.jpg": encode_image(Image.new("RGB", (320, 240), "#c87830"))},
    )
    assert pages_of(made) == 1
    assert b"MediaBox[0 0 297.6" in made  # 105 mm
    assert f"/Lang({lang})".encode() in made
    written = " ".join(text_of(made).split())
    for text in (found.caution, found.contains, found.count, "14,50 EUR / 50 g", "Example Leaf", *found.pairings):
        assert " ".join(text.split()) in written


@pytest.mark.parametrize("count", [1, 3, 9, 14])
@pytest.mark.parametrize("lang", LANGUAGES)
def test_words_of_the_printed_chart_have_lines_of_their_own(lang, count):
    figures = sample.figures()
    figures = replace(figures, steeps=replace(figures.steeps, recommended=count, low=count, high=count))
    with translation.override(lang):
        chart = chart_payload(figures, ())
    found = heights_of(typeset("card", "pdf", card_document(card(lang=lang), CardExtras(chart=chart))))
    above = [found[chart["scale_word"]], found[chart["steeps"]["label"]], found[chart["finish"]["label"]]]
    assert [a - b > 8.5 * 0.7 for a, b in pairwise([*above, found[chart["infusion_word"]]])] == [True] * 3
    assert chart["infusions"] == max(count, 12)
    assert chart["steeps"]["x"] == count


def test_markdown_tells_what_the_card_tells():
    found = card()
    text = card_markdown(found)
    assert text.startswith(f"# {sample.LOT.name.replace('_', chr(92) + '_')}\n")
    assert text.endswith(f"\n{found.caution}\n")
    assert "1: 22 s · 2: 1 min 35 s" in text


@pytest.mark.parametrize(
    "hostile",
    [
        *HOSTILE,
        "- [x](javascript:1)",
        "# head",
        "1. one",
        "http://evil.example www.evil.example",
        "<b>&lt;",
        "===\n---",
    ],
)
def test_hostile_text_stays_text_in_every_form_of_the_card(hostile):
    typed_in = ("name", "code", "cultivar", "region", "garden", "harvest_season")
    lot = replace(sample.LOT, **dict.fromkeys(typed_in, hostile))
    hostile_labels = dict.fromkeys((*sample.LABELS, "our_word"), hostile)
    found = card(lot=lot, development=first_led_by("our_word"), labels=hostile_labels)
    text = card_markdown(found)
    assert re.search(r"(?<!\\)<", text) is None
    assert re.search(r"(?<!\\)\]\(|(?<!\\):(?=//)|(?i:www)\.", text) is None
    assert text.count("\n# ") + text.startswith("# ") == 1
    assert len([line for line in text.splitlines() if line.startswith("#")]) == 4
    page = render_card(found)
    assert ("<script" in page, "<b>" in page) == (False, False)
    assert typeset("card", "pdf", card_document(found))[:5] == b"%PDF-"
