"""What a note's text says, rule by rule. Sentences are invented; what words mean is common practice, no source."""

# ruff: noqa: RUF001 - Chinese is written with its own comma

import pytest

from benchmarks.reading import built_in_descriptors, sentences
from tastings.reading.lexicon import Lexicon, lexicon_of
from tastings.reading.reader import Suggestion, read
from tastings.reading.terms import DescriptorTerms


@pytest.fixture(scope="module")
def lexicon():
    return Lexicon(built_in_descriptors())


def suggestions(text, lexicon):
    """Return what is there with its intensity, and what is not with "no"."""
    return {one.descriptor: one.intensity if one.present else "no" for one in read(text, lexicon)}


@pytest.mark.parametrize(
    ("text", "there"),
    [
        ("honeyed, malty, smoky, floral", {"honey", "malt", "wood_smoke", "floral"}),
        ("apricots and cherries", {"apricot", "cherry"}),
        ("peachy and plummy", {"peach", "plum"}),
        ("baked sweet potato", {"sweet_potato"}),
        ("green apple", {"green_apple"}),
        ("Savory and bitter-sweet", {"savouriness", "bitterness", "sweetness"}),
        ("honey honey honey", {"honey"}),
        ("回甘，岩韵，兰花香", {"returning_sweetness", "rock_character", "orchid"}),
        ("回甘，巖韻，蘭花香", {"returning_sweetness", "orchid"}),
        ("hui gan, yan yun", {"returning_sweetness", "rock_character"}),
        ("huígān, yányùn", {"returning_sweetness", "rock_character"}),
        ("huigan", {"returning_sweetness"}),
        ("蜜香，苦，涩，甜，鲜", {"honey", "bitterness", "astringency", "sweetness", "savouriness"}),
        ("苦涩", {"bitterness", "astringency"}),
    ],
)
def test_terms_their_forms_and_chinese_terms_are_found(lexicon, text, there):
    assert set(suggestions(text, lexicon)) == there


@pytest.mark.parametrize(
    ("text", "found"),
    [
        ("no bitterness", {"bitterness": "no"}),
        ("not at all smoky", {"wood_smoke": "no"}),
        ("without bitterness or astringency", {"bitterness": "no", "astringency": "no"}),
        ("lacks sweetness, honey later", {"sweetness": "no", "honey": None}),
        ("no smoke but orchid", {"wood_smoke": "no", "orchid": None}),
        ("no bitterness lots of sweetness", {"bitterness": "no", "sweetness": 7}),
        ("no smoke, ash or tar", {"wood_smoke": "no", "ash": "no", "tar": "no"}),
        ("no smoke, some ash", {"wood_smoke": "no", "ash": 4}),
        ("neither sweet nor sour", {"sweetness": "no", "sourness": "no"}),
        ("the bitterness is gone", {"bitterness": "no"}),
        ("smoke-free", {"wood_smoke": "no"}),
        ("I can't find any peach", {"peach": "no"}),
        ("not only sweet but floral", {"sweetness": None, "floral": None}),
        ("not without smoke", {"wood_smoke": None}),
        ("不苦，无烟味，没有酸味", {"bitterness": "no", "wood_smoke": "no", "sourness": "no"}),
        ("bu ku", {"bitterness": "no"}),
        ("smoke at first. Then no smoke.", {"wood_smoke": None}),
    ],
)
def test_denials_end_where_the_clause_ends(lexicon, text, found):
    assert suggestions(text, lexicon) == found


def test_denial_of_a_rated_word_is_a_rating_of_nothing(lexicon):
    found = read("no bitterness, no smoke", lexicon)

    assert [(one.descriptor, one.present, one.intensity) for one in found] == [
        ("bitterness", False, 0), ("wood_smoke", False, None),
    ]  # fmt: skip


@pytest.mark.parametrize(
    ("text", "compared"),
    [
        ("less honey than before", {"honey": "less"}),
        ("more floral than the last", {"floral": "more"}),
        ("a lot more honey", {"honey": "more"}),
        ("much sweeter", {"sweetness": "more"}),
        ("not as smoky as the sample", {"wood_smoke": "less"}),
        ("the roast has faded", {"roast": "less"}),
        ("bitterness is growing", {"bitterness": "more"}),
        ("更甜", {"sweetness": "more"}),
        ("more orchid than honey", {"orchid": "more"}),
    ],
)
def test_comparison_gives_presence_and_direction_only(lexicon, text, compared):
    found = read(text, lexicon)

    assert {one.descriptor: one.compared for one in found} == compared
    assert {(one.present, one.intensity) for one in found} == {(True, None)}


@pytest.mark.parametrize(
    ("text", "intensity"),
    [
        ("a trace of honey", 1), ("slight honey", 2), ("a touch of honey", 2), ("a bit of honey", 2.5),
        ("moderate honey", 5), ("quite honeyed", 6), ("very honeyed", 7), ("a lot of honey", 7),
        ("intense honey", 8), ("overwhelming honey", 9), ("the honey is strong", 7), ("honey, strong", None),
        ("honey 6", 6), ("honey: 6.5", 6.5), ("honey 6.3", 6.5), ("honey 3/5", 6), ("7/10 honey", 7),
        ("honey seven out of ten", 7), ("honey 11", None), ("honey 3 minutes", None), ("not very honeyed", 2),
        ("微蜜香", 2), ("蜜香很浓", 8), ("非常蜜", 8),
    ],
)  # fmt: skip
def test_degree_words_and_numbers_grade(lexicon, text, intensity):
    assert suggestions(text, lexicon) == {"honey": intensity}


def test_suggestion_has_its_place_and_degree_words(lexicon):
    text = "Wet leaf: a touch of honey."

    assert read(text, lexicon) == [
        Suggestion(descriptor="honey", start=21, end=26, intensity=2, degree="touch of"),
    ]


@pytest.mark.parametrize(
    ("text", "there"),
    [
        ("honye", {"honey"}), ("orchird", {"orchid"}), ("astrigent", {"astringency"}), ("minerallity", {"minerality"}),
        ("sweat on the forehead of the host", set()), ("a peer and some flour", set()), ("stake", set()),
        ("paper", set()), ("beach", set()), ("hone", set()), ("mind the step", set()), ("tea", set()),
    ],
)  # fmt: skip
def test_misspelling_is_mended_and_a_plain_word_stays_itself(lexicon, text, there):
    assert set(suggestions(text, lexicon)) == there


@pytest.mark.parametrize(
    "text",
    [
        "", " ", "?!", "Poured the second round.", "used the iron kettle", "brewed in a clay pot", "roasted in March",
        "the oak table", "you run the water", "expected honey", "yesterday's tea was smoky", "served with milk",
        "quiet morning", "辛苦", "per se", "9" * 400, "🍯", "\u0301", "ate an orange before",
    ],
)  # fmt: skip
def test_text_without_flavour_words_suggests_nothing(lexicon, text):
    assert read(text, lexicon) == []


def test_descriptors_of_the_team_are_read_before_built_in_ones():
    own = (DescriptorTerms(key="porch", label="Porch after rain", synonyms=("petrichor", "wet veranda"), rated=True),)
    lexicon = lexicon_of(own, tuple(built_in_descriptors()))

    assert suggestions("a hint of petrichor, no wet veranda", lexicon) == {"porch": 2}
    assert suggestions("porch and honye", lexicon) == {"porch": None, "honey": None}
    assert suggestions("petrichorr", lexicon) == {"porch": None}


def test_team_without_own_descriptors_reads_like_the_built_in_ones(lexicon):
    team = lexicon_of((), tuple(built_in_descriptors()))
    texts = [sentence["text"] for sentence in sentences("development")]

    assert [read(text, team) for text in texts] == [read(text, lexicon) for text in texts]


def test_only_the_first_8000_characters_are_read(lexicon):
    assert read("a " * 4000 + "honey", lexicon) == []
