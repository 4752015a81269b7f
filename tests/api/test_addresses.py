"""Addresses with and without the slash at the end; who asks for pages and who for data."""

from uuid import uuid4

import pytest

from tests.api.phone import NEW_RECORD
from tests.api.problems import refusal
from tests.api.records import Place
from tests.factories import web_browser

PAGES = ["report/", "report.pdf", "report.svg", "report.csv", "card/", "card.pdf", "card.md"]


@pytest.mark.parametrize("address", ["/api/v1/lots/", "/api/v1/lots"])
def test_record_is_made_with_and_without_the_slash(taster, address):
    lot = str(uuid4())
    made = taster.client.post(address, {"id": lot, **NEW_RECORD["lot"]})

    assert (made.status_code, made.json()["id"]) == (201, lot)
    assert made["Location"].endswith(f"/api/v1/lots/{lot}/")
    assert taster.client.get(made["Location"]).status_code == 200


@pytest.mark.parametrize("slash", ["", "/"])
def test_record_is_changed_and_deleted_with_and_without_the_slash(taster, slash):
    address = f"/api/v1/lots/{Place(taster).lot.id}{slash}"

    assert taster.client.patch(address, {"name": "Mist Ridge"}).json()["name"] == "Mist Ridge"
    assert taster.client.get(address).json()["name"] == "Mist Ridge"
    assert taster.client.delete(address).status_code == 204


def test_addresses_written_without_a_slash_take_one(taster):
    assert taster.client.get("/api/v1/me/").status_code == 200
    read = taster.client.post("/api/v1/read/", {"text": "honey"})
    assert (read.status_code, "suggestions" in read.json()) == (200, True)
    assert taster.client.post("/api/v1/sync/", {"schema": 1, "device": str(uuid4())}).status_code == 200


def test_two_slashes_are_another_address(taster):
    assert refusal(taster.client.get("/api/v1/lots//"))[0] == 404


@pytest.mark.parametrize("rest", PAGES)
@pytest.mark.parametrize("accept", [None, "*/*", "application/pdf"])
def test_program_without_a_token_is_never_sent_to_the_sign_in_page(client, taster, rest, accept):
    sent = {"Accept": accept} if accept else {}
    answer = client.get(f"/lots/{Place(taster).lot.id}/{rest}", headers=sent)

    assert refusal(answer)[:2] == (401, "not-authenticated")
    assert answer["WWW-Authenticate"] == "Bearer"


@pytest.mark.parametrize("rest", PAGES)
def test_program_with_a_token_that_ended_gets_a_problem_even_if_it_takes_pages(client, taster, rest):
    headers = {"Accept": "text/html", "Authorization": "Bearer ended"}
    answer = client.get(f"/lots/{Place(taster).lot.id}/{rest}", headers=headers)

    assert refusal(answer)[:2] == (401, "authentication-failed")


def test_program_asking_for_a_lot_that_is_not_there_gets_a_problem_and_a_browser_a_page(taster):
    absent = f"/lots/{uuid4()}/report/"
    browser = web_browser()
    browser.force_login(taster.user)

    assert refusal(taster.client.get(absent))[:2] == (404, "not-here")
    assert browser.get(absent)["Content-Type"].startswith("text/html")
    assert web_browser().get(absent)["Location"] == f"/sign-in/?next={absent}"


def test_requests_left_are_told_before_the_limit(taster, settings):
    settings.API_REQUESTS_PER_MINUTE = 3
    answers = [taster.client.get("/api/v1/me") for _ in range(4)]

    assert [answer.status_code for answer in answers] == [200, 200, 200, 429]
    assert [answer["RateLimit"].split(";")[:2] for answer in answers] == [
        ['"login"', f"r={left}"] for left in (2, 1, 0, 0)
    ]
    assert {answer["RateLimit-Policy"] for answer in answers} == {'"login";q=3;w=60'}
    assert answers[3]["RateLimit"].endswith(f";t={answers[3]['Retry-After']}")


def test_no_other_site_may_use_the_api_unless_it_is_configured(db, client):
    asked = {"Origin": "https://app.example", "Access-Control-Request-Method": "POST"}
    answers = [client.get("/api/v1/me", headers=asked), client.options("/api/v1/lots", headers=asked)]

    assert [name for answer in answers for name in answer.headers if name.startswith("Access-Control")] == []


def test_configured_site_may_send_tokens_and_read_the_headers(db, client, settings):
    settings.CORS_ALLOWED_ORIGINS = ["https://app.example"]
    asked = {"Origin": "https://app.example", "Access-Control-Request-Method": "PATCH"}
    asked["Access-Control-Request-Headers"] = "authorization,if-match"
    preflight = client.options("/api/v1/lots/x/", headers=asked)
    answer = client.get("/api/v1/me", headers={"Origin": "https://app.example"})
    other = client.get("/api/v1/me", headers={"Origin": "https://other.example"})
    page = client.get("/sign-in/", headers={"Origin": "https://app.example"})

    assert (preflight.status_code, preflight["Access-Control-Allow-Origin"]) == (200, "https://app.example")
    assert "PATCH" in preflight["Access-Control-Allow-Methods"]
    assert {"authorization", "if-match"} <= set(preflight["Access-Control-Allow-Headers"].split(", "))
    assert (answer.status_code, answer["Access-Control-Allow-Origin"]) == (401, "https://app.example")
    assert "ETag" in answer["Access-Control-Expose-Headers"]
    assert "Access-Control-Allow-Credentials" not in answer
    assert "Access-Control-Allow-Origin" not in other
    assert "Access-Control-Allow-Origin" not in page
