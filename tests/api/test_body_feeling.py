"""What tasters reported to feel in the body, as a client and a reader get it."""

from datetime import UTC, datetime

import pytest

from tastings.actions.developments import refresh_development
from tastings.models import Session
from tests.api.openapi import schema_errors
from tests.api.phone import change, sync, verdict_names
from tests.api.test_development import session_of
from tests.factories import LotFactory


@pytest.fixture
def lot(taster, lexicon):
    return LotFactory(team=taster.team, by=taster.user)


def felt(person, lot, *keys, text=""):
    """Send a session whose taster noted these of the body."""
    tasting = session_of(lot.id, [6])
    notes = [{"descriptor": key} for key in keys] + ([{"text": text}] if text else [])
    changes = [*tasting, *(change("note", session=tasting[0]["id"], moment="body", **note) for note in notes)]
    assert set(verdict_names(sync(person.client, changes))) == {"applied"}
    return tasting[0]["id"]


def answer_for(person, lot):
    return person.client.get(f"/api/v1/lots/{lot.id}/body-feeling").json()


def test_words_are_counted_by_taster_and_session_with_their_agreement(taster, buyer, viewer, lot):
    felt(taster, lot, "warming", "calm")
    felt(taster, lot, "warming")
    felt(buyer, lot, "warming")
    felt(buyer, lot)  # noted nothing of the body
    found = answer_for(viewer, lot)

    assert schema_errors("BodyFeeling", found) == []
    assert (found["tasters"], found["sessions"]) == (2, 3)
    assert found["words"] == [
        {"descriptor": "warming", "tasters": 2, "sessions": 3},
        {"descriptor": "calm", "tasters": 1, "sessions": 1},
    ]
    # of the ten words of the family both tasters agree on nine
    p = 3 / 20
    chance = p * p + (1 - p) ** 2
    assert found["kappa"] == pytest.approx((0.9 - chance) / (1 - chance), abs=1e-3)
    assert found["sentence"] == "Of 2 tasters who wrote down what they felt: warming by 2 and calm by 1."
    assert "nothing about effects on health" in found["cautions"][0]


def test_agreement_is_said_of_three_tasters(taster, buyer, owner, lot):
    for person, keys in ((taster, ["warming"]), (buyer, ["warming", "calm"]), (owner, ["warming"])):
        felt(person, lot, *keys)
    assert "They agree to 0.71 about which words fit" in answer_for(taster, lot)["sentence"]


def test_session_with_words_of_its_own_counts_and_a_private_one_does_not(taster, buyer, lot):
    felt(taster, lot, text="Nothing stands out.")
    hidden = felt(buyer, lot, "restless")
    Session.objects.filter(id=hidden).update(private=True)
    found = answer_for(taster, lot)
    assert (found["tasters"], found["words"], found["kappa"]) == (1, [], None)
    assert found["sentence"] == "Nobody reported a feeling by one of the words."


def test_report_says_it_only_where_somebody_noted_it(taster, lot):
    page = f"/lots/{lot.id}/report/"
    heading = "Felt in the body, as tasters reported it"
    felt(taster, lot)
    refresh_development(lot.id, now=datetime.now(UTC))
    assert heading not in taster.client.get(page).content.decode()
    felt(taster, lot, "warming")
    text = taster.client.get(page).content.decode()
    assert heading in text
    plain = text.replace("\u2068", "").replace("\u2069", "")
    assert "The one taster who wrote down what they felt: warming." in plain
