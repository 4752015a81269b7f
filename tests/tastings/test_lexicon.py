"""The built-in descriptors: complete, unambiguous, and stored in the shape the contract names."""

import json
import re
from collections import Counter
from pathlib import Path

import tastings

LEXICON = json.loads((Path(tastings.__file__).parent / "data" / "lexicon.json").read_text(encoding="utf-8"))
DESCRIPTORS = LEXICON["descriptors"]
# The contract's own list ("Always there, rated 0-10").
ALWAYS_THERE = {
    "strength", "liking", "body", "sweetness", "bitterness", "astringency",
    "savouriness", "aroma", "finish", "minerality", "roast",
}  # fmt: skip


def repeated(words):
    return sorted(word for word, n in Counter(words).items() if n > 1)


def test_lexicon_has_at_least_130_descriptors():
    assert len(DESCRIPTORS) >= 130


def test_lexicon_descriptors_have_exactly_the_contract_fields():
    fields = {"key": str, "label": str, "family": str, "rated_each_infusion": bool, "synonyms": list}
    wrong = [d for d in DESCRIPTORS if {name: type(value) for name, value in d.items()} != fields]
    assert wrong == []


def test_lexicon_keys_are_snake_case_ascii_and_unique():
    keys = [d["key"] for d in DESCRIPTORS]
    assert [key for key in keys if not re.fullmatch(r"[a-z]+(_[a-z]+)*", key)] == []
    assert repeated(keys) == []


def test_lexicon_always_there_keys_are_the_ones_rated_each_infusion():
    rated = {d["key"]: d["family"] for d in DESCRIPTORS if d["rated_each_infusion"]}
    assert rated == dict.fromkeys(ALWAYS_THERE, "structure")


def test_lexicon_labels_are_unique_whatever_their_case():
    assert repeated(d["label"].casefold() for d in DESCRIPTORS) == []


def test_lexicon_no_synonym_belongs_to_two_descriptors_or_is_given_twice():
    assert repeated(word.casefold() for d in DESCRIPTORS for word in d["synonyms"]) == []


def test_lexicon_no_synonym_is_a_label_or_another_descriptors_key():
    labels = {d["label"].casefold() for d in DESCRIPTORS}
    keys = {d["key"].replace("_", " "): d["key"] for d in DESCRIPTORS}
    clashes = [
        (d["key"], word)
        for d in DESCRIPTORS
        for word in d["synonyms"]
        if word.casefold() in labels or keys.get(word.casefold(), d["key"]) != d["key"]
    ]
    assert clashes == []


def test_lexicon_texts_are_trimmed_and_never_empty():
    texts = [text for d in DESCRIPTORS for text in (d["label"], d["family"], *d["synonyms"])]
    assert [text for text in texts if not text or text != " ".join(text.split())] == []


def test_lexicon_chinese_synonyms_are_characters_alone():
    """A synonym is either characters or Latin letters, so that a search for one never meets half of the other."""
    mixed = [
        word
        for d in DESCRIPTORS
        for word in d["synonyms"]
        if re.search(r"[\u4e00-\u9fff]", word) and not re.fullmatch(r"[\u4e00-\u9fff]+", word)
    ]
    assert mixed == []


def test_lexicon_families_are_exactly_the_listed_ones():
    assert {d["family"] for d in DESCRIPTORS} == set(LEXICON["families"])
    assert repeated(LEXICON["families"]) == []


def test_lexicon_names_the_sources_of_its_descriptors():
    about = " ".join(LEXICON["about"])
    missing = [w for w in ("our own", "common practice, no source", "ISO 6078", "GB/T 14487", "ISO 5492", "allergens")
               if w not in about]  # fmt: skip
    assert missing == []
