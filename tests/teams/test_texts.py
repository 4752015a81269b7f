"""Names must be seen: spaces, controls and characters without a width are none."""

from uuid import uuid4

import pytest

from teams.texts import is_blank
from tests.api.problems import refusal


@pytest.mark.parametrize("text", ["", " \u00a0", "\u200b", "\u2060\ufeff", "\u00ad", "\u3164", "\x7f", "\u202e"])
def test_what_nobody_can_see_is_blank(text):
    assert is_blank(text)


@pytest.mark.parametrize("text", ["a", "\u200ba", "\u8336", "\u00e9", "7"])
def test_what_can_be_seen_is_not(text):
    assert not is_blank(text)


@pytest.mark.django_db
def test_names_that_nobody_can_see_are_refused(owner):
    for address, body in (("lots", {"id": str(uuid4()), "kind": "oolong"}), ("shops", {})):
        refused = owner.client.post(f"/api/v1/{address}/", {"name": "\u200b\u2060", **body})
        assert refusal(refused) == (422, "invalid", {("name", "required")})
