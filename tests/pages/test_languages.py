"""In which language pages, answers of the API and mail are: the switch, the login's setting, Accept-Language."""

from datetime import UTC, datetime

import pytest
from django.utils.translation import gettext, override

from teams.actions.resets import create_reset_request, send_reset_mail
from tests.factories import LotFactory, MemberFactory, UserFactory, web_browser

GERMAN = {"HTTP_ACCEPT_LANGUAGE": "fr, de-AT;q=0.8, en;q=0.5"}


@pytest.fixture
def lin(team):
    return MemberFactory(
        team=team, user=UserFactory(username="Lin", email="lin@example.org", email_verified_at=datetime.now(UTC))
    ).user


@pytest.fixture
def browser(lin):
    client = web_browser()
    client.force_login(lin)
    return client


def language(answer):
    """Return the language of a page, which its head, its markup and its words agree on."""
    [code_of_page] = [code for code in ("en", "de") if f'<html lang="{code}">' in answer.content.decode()]
    with override(code_of_page):
        assert gettext("Skip to the content") in answer.content.decode()
    assert answer["Content-Language"] == code_of_page
    return code_of_page


def test_page_follows_accept_language_and_defaults_to_english(db):
    asked = ["de", "de-AT, en", "fr, de;q=0.5", "en, de", "fr", "*", "nonsense;;q=x", ""]
    answers = [web_browser().get("/sign-in/", HTTP_ACCEPT_LANGUAGE=wanted) for wanted in asked]

    assert [language(answer) for answer in answers] == ["de", "de", "de", "en", "en", "en", "en", "en"]
    assert all({"Accept-Language", "Cookie"} <= {*answer["Vary"].split(", ")} for answer in answers)


def test_language_switch_returns_to_its_page(browser):
    page = browser.get("/lots/")
    answer = browser.post("/language/", {"language": "de"}, HTTP_REFERER="http://testserver/lots/?sort=name")

    assert b'<form method="post" action="/language/">' in page.content
    assert b'name="language" value="de" lang="de"' in page.content
    assert (answer.status_code, answer["Location"]) == (302, "http://testserver/lots/?sort=name")
    assert language(browser.get("/lots/")) == "de"


def test_language_switch_redirects_to_no_other_site(browser):
    answers = [
        browser.post("/language/", {"language": "de", "next": "https://elsewhere.example/"}),
        browser.post("/language/", {"language": "de"}, HTTP_REFERER="https://elsewhere.example/"),
    ]

    assert [answer["Location"] for answer in answers] == ["/", "/"]


def test_language_chosen_before_signing_in_is_stored_in_a_cookie(db):
    browser = web_browser()
    browser.post("/language/", {"language": "de"})
    cookie = browser.cookies["django_language"]

    assert (cookie.value, cookie["samesite"], cookie["httponly"]) == ("de", "Lax", True)
    assert language(browser.get("/sign-in/")) == "de"
    assert language(browser.get("/sign-in/", HTTP_ACCEPT_LANGUAGE="en")) == "de"


def test_language_of_the_login_overrides_cookie_and_header(lin, browser):
    browser.post("/language/", {"language": "de"})
    lin.refresh_from_db()
    elsewhere = web_browser()
    elsewhere.force_login(lin)
    elsewhere.cookies["django_language"] = "en"

    assert lin.language == "de"
    assert language(elsewhere.get("/lots/", HTTP_ACCEPT_LANGUAGE="en")) == "de"
    assert language(web_browser().get("/sign-in/")) == "en"


@pytest.mark.parametrize("wanted", ["fr", "", "de\x00", "x" * 300])
def test_unknown_language_changes_nothing(lin, browser, wanted):
    answer = browser.post("/language/", {"language": wanted})
    lin.refresh_from_db()

    assert (answer.status_code, answer["Location"]) == (302, "/")
    assert (lin.language, "django_language" in browser.cookies) == ("", False)
    assert language(browser.get("/lots/")) == "en"


def test_api_follows_accept_language_alone(lin, taster):
    taster.user.language = "de"
    taster.user.save()
    taster.client.cookies["django_language"] = "de"
    plain, german = taster.client.get("/api/v1/lots/x/"), taster.client.get("/api/v1/lots/x/", **GERMAN)

    assert plain.json()["title"] == "There is no such thing here"
    with override("de"):
        assert german.json()["title"] == gettext("There is no such thing here")
    assert (plain["Content-Language"], german["Content-Language"]) == ("en", "de")
    assert "Accept-Language" in plain["Vary"].split(", ")
    assert "Cookie" not in plain["Vary"].split(", ")


def test_etag_of_one_language_does_not_match_another(taster):
    address = f"/api/v1/lots/{LotFactory(team=taster.team).id}/development"
    english, german = taster.client.get(address), taster.client.get(address, **GERMAN)
    again = [
        taster.client.get(address, HTTP_IF_NONE_MATCH=known["ETag"], **headers)
        for known in (english, german)
        for headers in ({}, GERMAN)
    ]

    assert [answer.status_code for answer in again] == [304, 200, 200, 304]
    assert all("Accept-Language" in answer["Vary"] for answer in again)


def test_etag_of_a_record_is_its_revision_in_every_language(taster):
    address = f"/api/v1/lots/{LotFactory(team=taster.team, by=taster.user).id}/"
    english, german = taster.client.get(address), taster.client.get(address, **GERMAN)
    changed = taster.client.patch(address, {"remarks": "sweet"}, HTTP_IF_MATCH=german["ETag"], **GERMAN)

    assert english["ETag"] == german["ETag"]
    assert (changed.status_code, changed.json()["remarks"]) == (200, "sweet")


def test_shared_page_follows_lang_parameter_then_header(browser):
    browser.post("/language/", {"language": "de"})
    ended = "/shared/nothing/"
    answers = [
        browser.get(ended), browser.get(ended, **GERMAN), browser.get(f"{ended}?lang=de"),
        browser.get(f"{ended}?lang=en", **GERMAN), browser.get(f"{ended}?lang=fr", **GERMAN),
    ]  # fmt: skip

    assert [language(answer) for answer in answers] == ["en", "de", "de", "en", "de"]
    assert b'<a href="?lang=de" lang="de" hreflang="de">Deutsch</a>' in answers[0].content
    assert all("Cookie" not in answer["Vary"] for answer in answers)


def test_card_in_another_language_is_wholly_in_it(taster):
    lot = LotFactory(team=taster.team)
    page, markdown = (taster.client.get(f"/lots/{lot.id}/card{form}?lang=de") for form in ("/", ".md"))

    assert language(page) == "de"
    assert markdown["Content-Language"] == "de"


@pytest.mark.parametrize(("chosen", "asked_in", "mailed"), [("de", "en", "de"), ("en", "de", "en"), ("", "de", "de")])
def test_mail_is_in_the_language_of_the_login_or_of_the_request(lin, mailoutbox, chosen, asked_in, mailed):
    lin.language = chosen
    lin.save()
    now = datetime.now(UTC)
    with override(asked_in):
        request = create_reset_request("Lin", site="https://tea.example", address="", now=now)
    with override(None):
        assert send_reset_mail(request, now=now) == 1

    with override(mailed):
        assert mailoutbox[0].subject == gettext("Leafspan: a new password")
        assert gettext("Set it here, within %(minutes)s minutes and once:") % {"minutes": 60} in mailoutbox[0].body
