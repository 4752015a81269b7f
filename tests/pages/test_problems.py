"""Pages that explain the types of problem documents."""

import pytest
from django.test import Client
from django.utils.functional import Promise
from django.utils.translation import override

from api.http.problem_types import CODES, TYPES, problem_type
from pages.failures import handler500
from tests.api.problems import refusal
from tests.factories import phone

pytestmark = pytest.mark.django_db


@pytest.mark.parametrize("language", ["en", "de"])
@pytest.mark.parametrize("code", TYPES)
def test_each_type_has_a_page_that_says_what_it_means(client, code, language):
    answer = client.get(problem_type(code), headers={"Accept-Language": language})
    with override(language):
        meaning = str(TYPES[code])

    assert (answer.status_code, answer["Content-Language"]) == (200, language)
    assert f"{meaning[0].upper()}{meaning[1:]}." in answer.content.decode().replace("&#x27;", "'")
    assert problem_type(code).rpartition("/")[2] in answer.content.decode()


def test_type_of_a_refusal_leads_to_its_page(client):
    refused = phone().get("/api/v1/me").json()

    assert client.get(refused["type"]).status_code == 200


def test_page_on_fields_lists_every_code(client):
    page = client.get("/problems/invalid").content.decode()

    assert [code for code in CODES if f"<code>{code}</code>" not in page] == []


def test_unknown_type_has_no_page(client):
    assert client.get("/problems/none-such").status_code == 404


def test_every_meaning_can_be_translated():
    assert [
        code for words in (CODES, TYPES) for code, meaning in words.items() if not isinstance(meaning, Promise)
    ] == []


@pytest.mark.parametrize(("method", "address"), [("POST", "/sign-in/"), ("FOO", "/lots/")])
def test_request_without_the_token_against_forged_ones_gets_a_problem_document(method, address):
    answer = Client(enforce_csrf_checks=True).generic(method, address)

    assert refusal(answer) == (403, "not-allowed", set())
    assert b"Django" not in answer.content


@pytest.mark.parametrize("address", ["/none-such", "/api/v1/", "/api/v1/none-such/"])
def test_browser_gets_a_page_and_a_program_a_document_for_an_address_that_is_not_there(client, address):
    page = client.get(address, headers={"Accept": "text/html,*/*"})
    document = phone().get(address)

    assert (page.status_code, page["Content-Type"]) == (404, "text/html; charset=utf-8")
    assert "There is no page here" in page.content.decode()
    assert ('href="/api/v1/docs"' in page.content.decode()) is address.startswith("/api/")
    assert "style-src 'self'" in page["Content-Security-Policy"]
    assert (document.status_code, document["Content-Type"]) == (404, "application/problem+json")


def test_browser_gets_a_page_for_a_form_without_its_token():
    sent = Client(enforce_csrf_checks=True).post("/sign-in/", {}, headers={"Accept": "text/html"})

    assert (sent.status_code, "This form was not accepted" in sent.content.decode()) == (403, True)


def test_browser_gets_a_page_for_an_error_of_ours(rf):
    failed = handler500(rf.get("/lots/", headers={"Accept": "text/html"}))

    assert (failed.status_code, "Something broke on our side" in failed.content.decode()) == (500, True)
    assert handler500(rf.get("/lots/"))["Content-Type"] == "application/problem+json"
