"""The German catalogue is complete, compiled, and names the placeholders that its messages have."""

import ast
import re

import pytest

from config.dev.home import ROOT
from config.messages import FOLDERS, KEYWORDS, LANGUAGES, catalogue_of, compiled, messages_in_use, mo_file, untranslated


@pytest.fixture(scope="module")
def in_use():
    """The messages in use, which takes reading all files."""
    return messages_in_use()


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_is_translated(language, in_use):
    missing = [(message.context, message.id) for message in untranslated(language, in_use)]

    assert missing == [], "manage.py translations writes them into the catalogue"


@pytest.mark.parametrize("language", LANGUAGES)
def test_catalogue_holds_nothing_that_is_not_in_use(language, in_use):
    keys = {(message.context, message.id) for message in in_use}

    assert {(one.context, one.id) for one in catalogue_of(language) if one.id} <= keys


@pytest.mark.parametrize("language", LANGUAGES)
def test_compiled_catalogue_is_that_of_the_text(language):
    assert mo_file(language).read_bytes() == compiled(language)


def placeholders(text):
    return set(re.findall(r"%\((\w+)\)", text))


@pytest.mark.parametrize("language", LANGUAGES)
def test_translation_has_the_placeholders_of_its_message(language):
    wrong = [
        message.id
        for message in catalogue_of(language)
        if message.id and not message.pluralizable and placeholders(message.string) != placeholders(message.id)
    ]

    assert wrong == []


@pytest.mark.parametrize("language", LANGUAGES)
def test_translated_plural_has_the_placeholders_of_its_message(language):
    """A singular may leave the number out."""
    wrong = [
        message.id
        for message in catalogue_of(language)
        if message.pluralizable
        for text, of_message in zip(message.string, message.id, strict=True)
        if placeholders(text) | {"n"} != placeholders(of_message) | {"n"}
    ]

    assert wrong == []


def test_no_message_stands_inside_an_f_string():
    """Babel does not find it there on Python 3.11, so that it would stay English."""
    sources = [file for folder in FOLDERS for file in (ROOT / folder).rglob("*.py")]
    found = [
        f"{file.relative_to(ROOT)}:{call.lineno}"
        for file in sources
        for string in ast.walk(ast.parse(file.read_text("utf-8")))
        if isinstance(string, ast.JoinedStr)
        for call in ast.walk(string)
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id in KEYWORDS
    ]

    assert found == []
