"""Edit distance, and which known word a misspelt one is taken for."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from tastings.reading.language import is_english_word
from tastings.reading.spelling import Spelling, distance

WORDS = st.text("abc", max_size=6)


def slow(a, b):
    """The same distance by its recursive definition (optimal string alignment)."""
    if not a or not b:
        return len(a) + len(b)
    ways = [slow(a[1:], b) + 1, slow(a, b[1:]) + 1, slow(a[1:], b[1:]) + (a[0] != b[0])]
    if len(a) > 1 and len(b) > 1 and (a[0], a[1]) == (b[1], b[0]):
        ways.append(slow(a[2:], b[2:]) + 1)
    return min(ways)


@given(a=WORDS, b=WORDS)
def test_distance_is_that_of_its_definition(a, b):
    assert distance(a, b) == slow(a, b) == distance(b, a)


@pytest.mark.parametrize(
    ("word", "nearest"),
    [
        ("orchd", "orchid"), ("orhcid", "orchid"), ("xrchid", "orchid"), ("orcxxd", None),
        ("astrngnt", "astringent"), ("astrngn", None), ("swet", "sweet"), ("sw", None), ("zzzz", None),
    ],
)  # fmt: skip
def test_nearest_allows_one_slip_and_two_in_a_long_word(word, nearest):
    assert Spelling(dict.fromkeys(("orchid", "astringent", "sweet"))).nearest(word) == nearest


def test_nearest_of_several_is_one_only_if_they_mean_the_same():
    two = {"peach": {1}, "peace": {2}, "beach": {1}}

    assert Spelling(two).nearest("peacx") is None
    assert Spelling(two | {"peace": {1}}).nearest("peacx") == "peace"
    assert Spelling(two).nearest("pxach") == "peach"


@pytest.mark.parametrize("word", ["sweat", "sweats", "batch", "batches", "baked", "balms", "basin's"])
def test_plain_words_are_known_with_their_regular_forms(word):
    assert is_english_word(word)


@pytest.mark.parametrize("word", ["orchird", "honye", "huigan"])
def test_no_words_are_not_plain(word):
    assert not is_english_word(word)
