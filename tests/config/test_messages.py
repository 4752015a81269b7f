"""The German catalogue is complete, compiled, and names the placeholders that its messages have."""

import pytest

from config.messages import LANGUAGES, catalogue_of, compiled, messages_in_use, mo_file, untranslated


@pytest.mark.parametrize("language", LANGUAGES)
def test_every_message_is_translated(language):
    missing = [(message.context, message.id) for message in untranslated(language)]

    assert missing == [], "manage.py translations writes them into the catalogue"


@pytest.mark.parametrize("language", LANGUAGES)
def test_catalogue_holds_nothing_that_is_not_in_use(language):
    in_use = {(message.context, message.id) for message in messages_in_use()}

    assert {(one.context, one.id) for one in catalogue_of(language) if one.id} <= in_use


@pytest.mark.parametrize("language", LANGUAGES)
def test_compiled_catalogue_is_that_of_the_text(language):
    assert mo_file(language).read_bytes() == compiled(language)
