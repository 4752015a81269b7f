"""The app's sentences: every one of them is in the catalogue, and the file that the app loads is up to date."""

import json
import re
import subprocess

import pytest

from config.app_messages import CALL, LEXICON, app_messages, app_sources, built_in_file, built_in_module, words_file
from config.messages import LANGUAGES, app_words, catalogue_of
from tests.table.javascript_phone import NODE

GETTEXT = re.compile(r"(?<![\w.])(?:_|n?p?gettext)\((?!text|key|context)")
WORDS = re.compile(r"[^\W\d_]{2,}")

PRINT_DEFAULT = "console.log(JSON.stringify((await import(process.argv[1])).default))"


def default_of(module):
    """Return what a module of the app exports, as its browser would have it."""
    command = [NODE, "--input-type=module", "--eval", PRINT_DEFAULT, module.as_uri()]
    return json.loads(subprocess.run(command, capture_output=True, text=True, timeout=30, check=True).stdout)


def templates(source):
    """Yield the markup of every ``html`` template: the text between its expressions, which are left out."""
    for start in re.finditer(r"html`", source):
        text, depth, i = "", 0, start.end()
        while source[i] != "`" or depth:
            if source.startswith("${", i):
                depth, i = depth + 1, i + 1
            elif source[i] == "{" and depth:
                depth += 1
            elif source[i] == "}" and depth:
                depth -= 1
                text += " " * (depth == 0)
            elif not depth:
                text += source[i]
            i += 1
        yield text


def visible(markup):
    """Return what people see or hear of markup: text between tags, and labels written out."""
    labels = re.findall(r'(?:aria-label|placeholder|title|alt)="([^"]*)"', markup)
    return " ".join([re.sub(r"<[^>]*>", " ", markup), *labels])


def test_templates_hold_no_words_of_their_own():
    """A unit such as °C, ml, s or g is the same in every language."""
    found = [
        (file.name, word)
        for file in app_sources()
        for markup in templates(file.read_text("utf-8"))
        for word in WORDS.findall(visible(markup))
    ]

    assert found == []


def test_a_word_of_a_template_would_be_found():
    assert [visible(one).split() for one in templates('html`<p>${a ? html`<b>${"x"}</b>` : 1} Hello</p>`')] == [
        ["Hello"],
        [],
    ]


def test_every_call_names_its_message_in_place():
    """A message in a variable would not be found, and would stay English."""
    for file in app_sources():
        source = file.read_text("utf-8")
        if file.name != "i18n.js":
            assert len(GETTEXT.findall(source)) == len(CALL.findall(source)), file.name


def test_messages_are_found_inside_templates_inside_templates():
    assert ("Still there?", None) in {(message, context) for message, context, _file in app_messages()}
    assert ("porcelain", "vessel material") in {(message, context) for message, context, _file in app_messages()}


@pytest.mark.parametrize("language", LANGUAGES)
def test_words_of_the_app_are_those_of_the_catalogue(language):
    assert words_file(language).read_text("utf-8") == app_words(language), "run manage.py translations"


def test_built_in_descriptors_of_the_app_are_those_of_the_server():
    assert built_in_file().read_text("utf-8") == built_in_module(), "run manage.py translations"


def test_app_reads_every_built_in_descriptor_and_its_german_label():
    """Both modules are written short: keys that follow from the label and labels by their place alone."""
    descriptors = json.loads(LEXICON.read_text("utf-8"))["descriptors"]
    empty = {"rated_each_infusion": False, "synonyms": []}
    german = catalogue_of("de")

    assert default_of(built_in_file()) == [{**empty, **fields} for fields in descriptors]
    words = default_of(words_file("de"))
    for label in (fields["label"] for fields in descriptors):
        assert words[f"descriptor\x04{label}"] == german.get(label, context="descriptor").string
    assert words["Taste on"] == german.get("Taste on").string
