"""The card for customers, in every language there is."""

import json
import re
from pathlib import Path
from string import Formatter

import pytest

from tastings.reports.card import card_facts, card_markdown, card_paper, render_card
from tastings.reports.catalogue import FIRST, UnknownLanguageError, catalogue, languages
from tastings.reports.pairings import pairings, rules
from tastings.reports.typeset import typeset
from tests.tastings.reports import sample
from tests.tastings.reports.pdf import pages_of, text_of
from tests.tastings.reports.test_sections import GUIDE
from tests.tastings.reports.test_typeset import HOSTILE

DATA = Path(__file__).resolve().parents[3] / "tastings/data"
LEXICON = json.loads((DATA / "lexicon.json").read_text())["descriptors"]
FAMILIES = {word["key"]: word["family"] for word in LEXICON}


def facts(lang="en", **changed):
    whole = {"lot": sample.LOT, "development": sample.development(), "guide": GUIDE, "labels": sample.LABELS}
    return card_facts(**{**whole, **changed}, families=FAMILIES, lang=lang)


def test_there_are_at_least_two_languages():
    assert languages()[0] == "en"
    assert "de" in languages()


@pytest.mark.parametrize("code", languages())
def test_catalogue_is_complete_and_takes_the_same_values(code):
    first, found = catalogue(FIRST).words, catalogue(code).words
    kinds = [kind for kind, words in first.items() if isinstance(words, dict) and kind != "descriptors"]
    assert set(found) == set(first)
    assert {kind: set(found[kind]) for kind in kinds} == {kind: set(first[kind]) for kind in kinds}
    assert [word for kind in kinds for word in found[kind].values() if not word.strip()] == []

    def taken(phrase):
        return {name for _, name, _, _ in Formatter().parse(phrase) if name}

    odd = [key for key, phrase in found["phrases"].items() if taken(phrase) != taken(first["phrases"][key])]
    assert odd == []
    if code != FIRST:
        assert set(FAMILIES) - set(found["descriptors"]) == set()


def test_catalogue_names_every_kind_food_and_allergen():
    words = catalogue(FIRST).words
    assert {rule["food"] for rule in rules()["rules"]} == set(words["foods"])
    assert {a for rule in rules()["rules"] for a in rule["allergens"]} == set(words["allergens"])
    assert {family for rule in rules()["rules"] for family in rule["families"]} <= set(FAMILIES.values())
    assert {key for rule in rules()["rules"] for key in rule["keys"]} <= set(FAMILIES)


@pytest.mark.parametrize("code", ["", "xx", "../words.en", "EN"])
def test_language_without_a_catalogue_is_refused(code):
    with pytest.raises(UnknownLanguageError):
        facts(lang=code)


def test_card_tells_name_origin_cups_brew_and_safety():
    told = facts()
    assert told["name"] == sample.LOT["name"]
    assert told["origin"] == [
        "Oolong", "narrow-leaf bush", "Lower Terrace", "Example Hills", "China", "450 to 620 m", "spring 2024 harvest",
        "lot MT-24-07",
    ]  # fmt: skip
    assert told["course"] == "It builds up: the strongest cup comes late, at about cup 3."
    assert told["cups"] == [
        {"cup": "Cup 1", "words": "Roast, Caramel"},
        {"cup": "Cup 2", "words": "Roast, Orchid"},
    ]  # the pot of the guide gives no more
    assert told["brew"]["lines"][0] == "5.5 g of leaf, 110 ml, water at 99 °C."
    assert told["brew"]["steeps"] == ["1: 22 s", "2: 1 min 35 s"]
    assert told["many"] == ["Good for about 2 cups."]
    said = " ".join(told["cautions"])
    assert all(word in said for word in ("scalds", "65 °C", "caffeine", "62 to 170 mg"))
    assert "Allergies" in told["pairing_note"]


def test_card_in_german_is_german_with_its_decimal_comma():
    told = facts(lang="de")
    assert told["brew"]["lines"][0] == "5,5 g Blätter, 110 ml, Wasser mit 99 °C."
    assert told["cups"][0] == {"cup": "Tasse 1", "words": "Röstung, Karamell"}
    assert told["origin"][4:7] == ["China", "450 bis 620 m", "Ernte Frühling 2024"]


@pytest.mark.parametrize(("lang", "word"), [("en", "about"), ("de", "etwa")])
def test_card_tells_times_that_are_guesses_as_such(lang, word):
    sure, unsure = (facts(lang=lang, guide={**GUIDE, "last_sure": n, "last_at_target": 2})["brew"] for n in (2, 1))
    assert sure["guess"] == ""
    assert unsure["steeps"] == ["1: 22 s", f"2: {word} 1 min 35 s"]
    assert word in unsure["guess"]
    told = facts(lang=lang, guide={**GUIDE, "last_sure": 1, "last_at_target": 2})
    assert unsure["guess"] in card_markdown(told)
    assert unsure["guess"] in render_card(told, downloads={}, others={})


def test_card_without_a_guide_counts_on_the_even_brew():
    told = facts(guide=None)
    assert told["many"] == ["Good for about 9 cups.", "With 80 % probability 7 to 10."]
    assert told["brew"]["lines"] == ["Not tasted enough yet: begin with 5 g in 110 ml, water at 95 °C and 20 s."]


def test_card_of_a_lot_nobody_tasted_claims_nothing():
    told = facts(development=sample.empty(), guide=None)
    assert (told["cups"], told["pairings"], told["many"]) == ([], [], ["Not known yet."])
    assert told["course"] == "Not tasted enough yet to say."


def test_card_keeps_price_supplier_and_tasters_out():
    told = json.dumps(facts(lot={**sample.LOT, "supplier": "Secret Source", "remarks": "dear"}))
    assert [word for word in ("180", "Secret", "dear", *sample.TASTERS.values()) if word in told] == []


def test_teams_own_word_is_called_as_the_team_calls_it():
    record = sample.development()
    record["layers"][0]["leading"] = ["our_word"]
    for lang in languages():
        told = facts(lang=lang, development=record, labels={"our_word": "Grandma's tin"})
        assert told["cups"][0]["words"] == "Grandma's tin"


def test_card_names_particular_flavours_and_neither_faults_nor_generalities():
    def layer(infusion, leading, new=(), gone=()):
        return {"infusion": infusion, "leading": [*leading], "new": [*new], "gone": [*gone], "richness": 1.0}

    record = sample.development()
    record["layers"] = [
        layer(1, ["aroma", "roast"], ["charcoal", "musty", "liquor_amber", "orchid"]),
        layer(2, ["roast", "aroma"], ["honey"], ["charcoal"]),
        layer(3, ["body", "sweetness"], ["wet_stone"], ["orchid", "honey"]),
    ]
    told = facts(development=record, guide={**GUIDE, "last_worthwhile": 3})
    assert told["cups"] == [
        {"cup": "Cups 1 to 2", "words": "Roast, Orchid"},  # charcoal and honey in one cup of the two
        {"cup": "Cup 3", "words": "Sweetness, Wet stone"},
    ]
    foods = " ".join(one["text"] for one in told["pairings"])
    assert ("Dark chocolate" in foods, "cheese" in foods.casefold()) == (True, False)


@pytest.mark.parametrize(("kind", "heat"), [("green", "80 °C"), ("dark", "100 °C"), (None, "90 °C")])
def test_untasted_lot_begins_at_the_heat_of_its_kind(kind, heat):
    told = facts(lot={**sample.LOT, "kind": kind}, guide=None, development=sample.empty())
    assert heat in told["brew"]["lines"][0]  # common practice, no source


def test_card_of_cups_without_flavours_expects_nothing():
    record = sample.development()
    record["layers"] = [{"infusion": n, "leading": [], "new": [], "gone": [], "richness": 0.0} for n in (1, 2, 3)]
    told = facts(development=record)
    assert (told["cups"], told["pairings"]) == ([], [])


def test_pairings_follow_the_cups_most_often_matched():
    layers = [{"leading": ["honey", "roast"]}, {"leading": ["honey"]}, {"leading": ["seaweed"]}]
    found = pairings(layers, FAMILIES)
    assert [(one.food, one.because) for one in found] == [
        ("butter_biscuits", ("honey",)),
        ("dried_figs", ("honey",)),
        ("dark_chocolate", ("roast",)),
    ]
    assert found[0].allergens == ("gluten", "milk", "egg")
    assert pairings([{"leading": ["unheard"]}, {"leading": []}], FAMILIES) == []


@pytest.mark.parametrize("lang", languages())
def test_card_fits_a6_front_and_back(lang):
    made = typeset("card", "pdf", card_paper(facts(lang=lang)))
    assert pages_of(made) <= 2
    assert b"MediaBox[0 0 297.6" in made  # 105 mm
    assert f"/Lang({lang})".encode() in made
    said = " ".join(text_of(made).split())
    assert all(" ".join(caution.split()) in said for caution in facts(lang=lang)["cautions"])


def test_markdown_tells_what_the_card_tells():
    told = facts()
    text = card_markdown(told)
    assert text.startswith(f"# {sample.LOT['name'].replace('_', chr(92) + '_')}\n")
    assert [c for c in told["cautions"] if f"- {c}" not in text] == []
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
    lot = {**sample.LOT, **dict.fromkeys(("name", "code", "cultivar", "region", "garden", "harvest_season"), hostile)}
    told = facts(lot=lot, labels=dict.fromkeys(sample.LABELS, hostile))
    record = sample.development()
    record["layers"][0]["leading"] = ["our_word"]
    told = facts(lot=lot, development=record, labels={"our_word": hostile})
    text = card_markdown(told)
    assert re.search(r"(?<!\\)<", text) is None
    assert re.search(r"(?<!\\)\]\(|(?<!\\):(?=//)|(?i:www)\.", text) is None
    assert text.count("\n# ") + text.startswith("# ") == 1
    assert len([line for line in text.splitlines() if line.startswith("#")]) == 6
    page = render_card(told, downloads={}, others={})
    assert ("<script" in page, "<b>" in page) == (False, False)
    assert typeset("card", "pdf", card_paper(told))[:5] == b"%PDF-"
