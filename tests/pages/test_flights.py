"""Pages of a flight: who sees what, before and after the reveal, and hostile names."""

import re
from urllib.parse import urljoin
from uuid import UUID

import pytest
from django.utils import timezone

from tastings.actions.flights.answering import answer_flight
from tastings.models import Session
from tastings.wording.numbers import day
from tests.flights import flight_of, lot_in, reveal, taste, taste_all
from tests.pages.test_browser import Seen

pytestmark = pytest.mark.django_db
HOSTILE = "<script>alert(1)</script> & \u202eright to left"


@pytest.fixture
def flight(team, lexicon):
    return flight_of(team)


def page(who, flight, rest=""):
    answer = who.client.get(f"/flights/{flight.id}/{rest}")
    return answer.status_code, answer.content.decode()


def test_list_shows_state_and_progress(flight):
    taste(flight.tasters[0], flight.cups_of(flight.tasters[0])[0])
    text = flight.tasters[1].client.get("/flights/").content.decode()

    assert "Being tasted blind." in text
    assert "1 of 8 cups tasted" in text
    assert f'href="/flights/{flight.id}/"' in text


def test_pages_lead_each_to_what_is_theirs(flight):
    for who, pouring, cups in ((flight.pourer, True, False), (flight.tasters[0], False, True)):
        status, text = page(who, flight)
        links = [f'href="/flights/{flight.id}/{name}/"' in text for name in ("pouring", "cups")]
        assert (status, *links) == (200, pouring, cups)


def test_sheets_of_pourer_and_taster(flight):
    cups = flight.cups_of(flight.tasters[0])
    status, plan = page(flight.pourer, flight, "pouring/")
    _, sheet = page(flight.tasters[0], flight, "cups/")
    refused, why = page(flight.tasters[0], flight, "pouring/")

    assert status == 200
    for cup in cups:
        name = next(lot.name for lot in flight.lots if str(lot.id) == lot_in(cup))
        assert f"{cup['code']}</th><td><bdi>{name}" in plan
        assert str(cup["code"]) in sheet
    assert not [lot.name for lot in flight.lots if lot.name in sheet]
    assert (refused, "only who pours" in why.lower()) == (403, True)


def test_answer_is_a_sentence_a_picture_and_numbers(flight):
    taste_all(flight, quality=lambda lot, taster: 3.0 + 1.5 * lot)
    reveal(flight)
    assert "The answer is being worked out" in page(flight.buyer, flight)[1]
    answer_flight(UUID(flight.id), now=timezone.now())
    text = page(flight.buyer, flight)[1]
    order = [text.rindex(f"<bdi>{lot.name}</bdi></a>") for lot in reversed(flight.lots)]

    assert "Sample 3 is the best of the four lots" in text
    assert text.count("<svg") == 2
    assert order == sorted(order)


def test_codes_are_shown_with_sample_and_score_once_they_are_revealed(flight):
    first, second = flight.tasters
    quality = lambda lot, taster: 3.0 + lot + taster / 2  # noqa: E731 - of one test
    taste_all(flight, quality=quality)
    assert "Which code was which sample" not in page(flight.buyer, flight)[1]
    missing = flight.cups_of(first)[0]["id"]
    Session.objects.filter(flight_cup_id=missing).update(private=True)
    reveal(flight)
    answer_flight(UUID(flight.id), now=timezone.now())
    text = page(flight.buyer, flight)[1]
    table = text[text.index('<table class="codes"') :]
    rows = re.findall(r"<tr role=.row.><th role=.rowheader.*?</tr>", table, re.DOTALL)
    best_first = [re.search(r"<bdi>(.*?)</bdi>", row)[1] for row in rows]
    expected = {
        (lot.name, str(taster.user)): (cup["code"], "\u2013" if cup["id"] == missing else f"{quality(i, t):.1f}")
        for i, lot in enumerate(flight.lots)
        for t, taster in enumerate((first, second))
        for cup in flight.cups_of(taster)
        if cup["lot"] == str(lot.id) and cup["taster"] == str(taster.user.id)
    }

    assert best_first == ["Sample 3", "Sample 2", "Sample 1", "Sample 0"]
    assert len(expected) == 8
    for (lot, taster), (code, score) in expected.items():
        [row] = [row for row in rows if f"<bdi>{lot}</bdi>" in row]
        assert f'data-label="{taster}"><span class="cup-of">{code} <strong>{score}</strong>' in row
    assert page(first, flight)[1].count('class="cup-of"') == 8
    plan = page(flight.buyer, flight, "pouring/")[1]
    assert ("out of sight" in plan, "The flight is revealed" in plan) == (False, True)


def test_history_of_a_blind_session_shows_no_id_of_its_cup(flight):
    cup = flight.cups_of(flight.tasters[0])[0]
    noted = taste(flight.tasters[0], cup)
    answer = flight.tasters[0].client.get(f"/records/session/{noted.session}/history/")

    assert (answer.status_code, cup["id"] in answer.content.decode()) == (200, False)


def test_decision_stands_on_top(flight):
    taste_all(flight)
    reveal(flight)
    chosen = {"lot": str(flight.lots[0].id), "bought": "01990000-0000-7000-8000-000000000abc", "quantity_g": 12_500}
    body = {"reason": HOSTILE, "chosen": [chosen]}
    assert flight.buyer.client.post(f"{flight.address}decision", body).status_code == 201
    text = page(flight.buyer, flight)[1]

    assert "/lots/01990000-0000-7000-8000-000000000abc/report/" in text
    assert "12.5 kg" in text
    assert "<script>" not in text


def test_sample_and_bought_lot_of_one_name_are_told_apart(flight):
    taste_all(flight)
    reveal(flight)
    bought = "01990000-0000-7000-8000-000000000abc"
    body = {"reason": "The best of them.", "chosen": [{"lot": str(flight.lots[0].id), "bought": bought}]}
    assert flight.buyer.client.post(f"{flight.address}decision", body).status_code == 201
    listed = flight.buyer.client.get("/lots/?status=bought").content.decode()
    today = day(timezone.localdate())
    forms = ("/flights/new/", f"/lots/{flight.lots[1].id}/triangles/", f"/records/lot/{bought}/")
    offered = [flight.buyer.client.get(address).content.decode() for address in forms]

    assert f"Chosen blind on {today}, not tasted since" in listed
    assert f"Bought, {today}" in listed
    assert "Chosen blind" not in flight.buyer.client.get("/lots/?status=sample").content.decode()
    for text in offered[:2]:
        assert f">Sample 0 \u00b7 Bought, {today}</option>" in text
    for text in offered:
        assert f">Sample 0 \u00b7 Sample, {day(flight.lots[0].created_at)}</option>" in text


def test_hostile_names_stay_text(team, lexicon):
    flight = flight_of(team, name=HOSTILE)
    flight.lots[0].__class__.objects.filter(team=team).update(name=HOSTILE)
    taste_all(flight)
    reveal(flight)
    answer_flight(UUID(flight.id), now=timezone.now())
    for who, rest in ((flight.buyer, ""), (flight.pourer, "pouring/"), (flight.tasters[0], "cups/")):
        status, text = page(who, flight, rest)
        assert (status, "<script>" in text, "&lt;script&gt;" in text) == (200, False, True)


def test_every_link_on_the_pages_leads_somewhere_and_nothing_is_run(flight):
    before = {who: ["/flights/", f"/flights/{flight.id}/"] for who in (flight.pourer, flight.buyer, *flight.tasters)}
    assert [len(links_of(who, pages)) for who, pages in before.items()][:2] == [2, 4]
    taste_all(flight)
    reveal(flight)
    answer_flight(UUID(flight.id), now=timezone.now())
    assert len(links_of(flight.buyer, [f"/flights/{flight.id}/"])) == len(flight.lots) + 1  # and the decision


def links_of(who, pages):
    """Return where the pages lead, all of it reached; the pages themselves have no script and no style of their own."""
    found = set()
    for address in pages:
        answer = who.client.get(address)
        seen = Seen(answer.content.decode())
        assert (answer.status_code, {"script", "style"} & set(seen.tags)) == (200, set())
        assert [one for one in seen.attributes if one[1] == "style" or one[1].startswith("on")] == []
        hrefs = {value for tag, name, value in seen.attributes if (tag, name) == ("a", "href")}
        found |= {urljoin(address, href) for href in hrefs if not href.startswith("#")}
    found.discard("/lots/")  # the name of the whole, on top
    assert {address: who.client.get(address).status_code for address in found} == dict.fromkeys(found, 200)
    return found


def test_flight_of_another_team_looks_absent(flight, stranger):
    absent = stranger.client.get("/flights/01990000-0000-7000-8000-000000000def/")
    theirs = stranger.client.get(f"/flights/{flight.id}/")

    assert (theirs.status_code, theirs.content) == (404, absent.content)
    assert flight.id not in stranger.client.get("/flights/").content.decode()
