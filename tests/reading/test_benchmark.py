"""The figures the reader has to reach on sentences written before it was, beside plain keyword search."""

import json

import pytest

from benchmarks.reading import DATA, LEXICON, built_in_descriptors, keyword_search, measure, sentences


@pytest.fixture(scope="module")
def held_out():
    return measure("heldout")


def test_there_are_enough_sentences_and_no_one_is_in_both_sets():
    held_out, development = ({s["text"].casefold() for s in sentences(name)} for name in ("heldout", "development"))

    assert (len(held_out) >= 300, len(development) >= 150, held_out & development) == (True, True, set())
    assert "Invented" in (DATA / "README.md").read_text("utf-8")


def test_sentences_are_marked_with_descriptors_there_are():
    keys = {word["key"] for word in json.loads(LEXICON.read_text("utf-8"))["descriptors"]}
    marked = {key for name in ("heldout", "development") for s in sentences(name)
              for key in (*s["present"], *s["absent"], *s["strength"], *s["compared"])}  # fmt: skip

    assert marked - keys == set()


def test_precision_and_recall_are_reached(held_out):
    reader, _, _ = held_out

    assert (reader.precision >= 0.90, reader.recall >= 0.80) == (True, True), (reader.precision, reader.recall)


def test_reader_beats_plain_keyword_search(held_out):
    reader, keywords, _ = held_out

    assert reader.precision > keywords.precision
    assert reader.recall > keywords.recall


def test_nothing_is_suggested_without_flavour_words(held_out):
    reader, keywords, _ = held_out

    assert reader.empty_found == 0
    assert keywords.empty_found > 0  # the sentences are no easy ones


def test_denials_comparisons_and_strengths_are_mostly_right(held_out):
    _, _, details = held_out

    assert min(details.denied.precision, details.denied.recall) >= 0.9
    assert min(details.compared.precision, details.compared.recall) >= 0.8
    assert details.correct >= 0.9 * details.strengths > 0


def test_keyword_search_finds_whole_words_only():
    search = keyword_search(built_in_descriptors())

    assert search("no Honey in the hayloft") == {"honey"}
