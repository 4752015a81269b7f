"""Pages for the browser: signing in, the list of lots, a lot's report."""

import csv
import hashlib
import json
import re
from datetime import UTC, datetime
from html.parser import HTMLParser
from pathlib import Path
from uuid import uuid4

import pytest
from django.utils import timezone

from tastings.actions.developments import refresh_development
from tests.api.phone import change, sync, verdict_names
from tests.api.problems import refusal
from tests.api.test_development import session_of
from tests.factories import LotFactory, MemberFactory, TeamFactory, UserFactory, phone, web_browser
from tests.sync.test_push import pot

FONTS = Path(__file__).parents[2] / "pages" / "static" / "pages" / "fonts"
PASSWORD = "two leaves and a bud"
HOSTILE = [
    "<script>alert(1)</script>",
    "\"'><img src=x onerror=alert(1)>",
    "{{ 7|add:7 }}{% now 'Y' %}",
    "</title></main><b>&amp;",
]
POLICY = {
    "default-src 'none'",
    "style-src 'self'",
    "font-src 'self'",
    "img-src 'self'",
    "form-action 'self'",
    "base-uri 'none'",
    "frame-ancestors 'none'",
}


class Seen(HTMLParser):
    """Which tags, attributes and words a page really has."""

    def __init__(self, page):
        super().__init__()
        self.tags, self.attributes, self.text = [], [], ""
        self.feed(page)

    def handle_starttag(self, tag, attrs):
        self.tags.append(tag)
        self.attributes += [(tag, name, value or "") for name, value in attrs]

    def handle_data(self, data):
        self.text += data


@pytest.fixture
def member(team):
    return MemberFactory(team=team, user=UserFactory(username="Lin", password=PASSWORD))


@pytest.fixture
def browser(member):
    client = web_browser()
    client.force_login(member.user)
    return client


@pytest.fixture
def lot(member):
    return LotFactory(team=member.team, by=member.user, name="Mist Ridge")


def test_shipped_typefaces_are_those_that_were_recorded():
    recorded = {one["file"]: one for one in json.loads((FONTS / "fonts.json").read_text())}
    found = {file.name: hashlib.sha256(file.read_bytes()).hexdigest() for file in FONTS.glob("*.woff2")}

    assert found == {name: one["sha256"] for name, one in recorded.items()}
    for one in recorded.values():
        assert "Open Font License" in (FONTS / f"{one['name'].split('/')[1]}.txt").read_text()


def without_token(response):
    """Return a page without the form token, which differs each time."""
    return re.sub(rb'name="csrfmiddlewaretoken" value="\w+"', b"", response.content)


def report(lot):
    return f"/lots/{lot}/report/"


def test_sign_in_page_asks_for_name_and_password(db, client):
    answer = client.get("/sign-in/")

    assert answer.status_code == 200
    fields = {
        value for tag, name, value in Seen(answer.content.decode()).attributes if (tag, name) == ("input", "name")
    }
    assert fields == {"csrfmiddlewaretoken", "username", "password"}


@pytest.mark.parametrize(
    ("following", "to"),
    [
        (None, "/lots/"),
        ("/lots/x/report/", "/lots/x/report/"),
        ("https://elsewhere.example/", "/lots/"),
        ("//elsewhere.example", "/lots/"),
    ],
)
def test_sign_in_goes_where_it_was_asked_to_if_that_is_here(member, client, following, to):
    sent = {"username": "lin", "password": PASSWORD} | ({"next": following} if following else {})
    answer = client.post("/sign-in/", sent)

    assert (answer.status_code, answer["Location"]) == (302, to)
    assert client.get("/lots/").status_code == 200


def test_sign_in_with_a_wrong_password_says_so_and_stays(member, client):
    answer = client.post("/sign-in/", {"username": "Lin", "password": "wrong"})

    assert answer.status_code == 200
    assert ("div", "role", "alert") in Seen(answer.content.decode()).attributes
    assert client.get("/lots/").status_code == 302


@pytest.mark.parametrize(
    "sent",
    [{}, {"username": "Lin"}, {"username": "\x00", "password": "\x00"}, {"username": "x" * 5000, "password": "x"}],
)
def test_sign_in_with_odd_fields_stays(member, client, sent):
    assert client.post("/sign-in/", sent).status_code == 200


def test_sign_in_form_needs_its_token(member):
    answer = web_browser(enforce_csrf_checks=True).post("/sign-in/", {"username": "Lin", "password": PASSWORD})

    assert answer.status_code == 403


def test_sign_out_ends_the_session(browser):
    by_link = browser.get("/sign-out/").status_code
    still = browser.get("/lots/").status_code
    by_form = browser.post("/sign-out/")

    assert (by_link, still) == (405, 200)
    assert (by_form.status_code, by_form["Location"], browser.get("/lots/").status_code) == (302, "/sign-in/", 302)


def test_page_of_someone_not_signed_in_leads_to_signing_in_and_back(member, lot, client):
    asked = client.get(report(lot.id) + "?a=1&b=2")
    signed_in = client.post(asked["Location"], {"username": "Lin", "password": PASSWORD, "next": report(lot.id)})

    assert (asked.status_code, asked["Location"]) == (302, f"/sign-in/?next={report(lot.id)}%3Fa%3D1%26b%3D2")
    assert signed_in["Location"] == report(lot.id)


def test_front_page_leads_to_the_lots(browser):
    assert browser.get("/")["Location"] == "/lots/"


def test_report_is_shown_by_session_and_by_token(member, lot, browser, taster):
    by_session, by_token = browser.get(report(lot.id)), taster.client.get(report(lot.id))

    for answer in (by_session, by_token):
        assert (answer.status_code, answer["Content-Type"]) == (200, "text/html; charset=utf-8")
        assert "<h1><bdi>Mist Ridge</bdi></h1>" in answer.content.decode()
        assert "Nothing tasted yet" in answer.content.decode()


def test_report_by_a_bad_token_is_refused_without_a_page(lot):
    assert refusal(phone("wrong").get(report(lot.id)))[:2] == (401, "authentication-failed")


def test_report_of_an_absent_a_deleted_and_a_foreign_lot_are_one_page(member, browser, taster, stranger):
    deleted = LotFactory(team=member.team, by=member.user, removed=True)
    foreign = LotFactory(team=stranger.team, by=stranger.user)
    asked = [uuid4(), deleted.id, foreign.id, "no-id", "%3Cb%3E"]

    by_session = [browser.get(report(lot)) for lot in asked]
    by_token = [taster.client.get(report(lot)) for lot in asked]
    assert {answer.status_code for answer in by_session + by_token} == {404}
    assert {without_token(answer) for answer in by_session} == {without_token(by_session[0])}
    assert {answer.content for answer in by_token} == {by_token[0].content}
    assert refusal(by_token[0]) == (404, "not-here", set())
    assert "There is nothing here" in by_session[0].content.decode()


def test_every_page_lets_nothing_from_elsewhere_in(member, lot, browser, client):
    answers = [
        client.get("/sign-in/"), client.get("/lots/"), browser.get("/lots/"), browser.get(report(lot.id)),
        browser.get(report(uuid4())), browser.post("/sign-out/"),
    ]  # fmt: skip

    assert [answer.status_code for answer in answers] == [200, 302, 200, 200, 404, 302]
    assert [set(answer["Content-Security-Policy"].split("; ")) for answer in answers] == [POLICY] * len(answers)
    assert {answer["Cache-Control"] for answer in answers} == {"private, no-cache"}
    assert {answer["X-Frame-Options"] for answer in answers} == {"DENY"}
    assert {answer["X-Content-Type-Options"] for answer in answers} == {"nosniff"}


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_text_is_shown_as_text(taster, lexicon, hostile):
    lot = change("lot", name=hostile, kind="green", code=hostile[:60], cultivar=hostile, region=hostile, garden=hostile,
                 producer=hostile, supplier=hostile, remarks=hostile, pick_standard=hostile)  # fmt: skip
    word = change("descriptor", key="odd_word", label=hostile, rated_each_infusion=True)
    tasting = session_of(lot["id"], [7, 6, 5])
    session, first = tasting[0]["id"], tasting[1]["id"]
    rated = {"moment": "mouth", "intensity": 9, "text": hostile}
    note = change("note", session=session, infusion=first, descriptor="odd_word", **rated)
    tasting[0]["fields"] |= {"shop": str(taster.member.shop_id), "remarks": hostile}
    type(taster.user).objects.update(name=hostile)
    type(taster.member.shop).objects.update(name=hostile)
    assert set(verdict_names(sync(taster.client, [word, lot, *tasting, note]))) == {"applied"}
    refresh_development(lot["id"], now=datetime.now(UTC))

    for answer in (
        taster.client.get(report(lot["id"])),
        taster.client.get("/lots/"),
        taster.client.get("/lots/", {"q": hostile}),
    ):
        seen = Seen(answer.content.decode())
        assert answer.status_code == 200
        assert hostile in seen.text
        assert {"script", "b", "object", "iframe"}.isdisjoint(seen.tags)
        assert [found for found in seen.attributes if found[1].startswith("on") or found[1] == "style"] == []
        assert [
            src for _, name, src in seen.attributes if name in ("src", "href") and not src.startswith(("/", "#"))
        ] == []


def test_report_of_a_tasted_lot_shows_its_curve(taster, viewer, lexicon):
    lot = LotFactory(team=taster.team, by=taster.user)
    sync(taster.client, session_of(lot.id, [6, 7.5, 7, 6, 5]))
    behind = viewer.client.get(report(lot.id)).content.decode()
    refresh_development(lot.id, now=datetime.now(UTC))
    ready = viewer.client.get(report(lot.id)).content.decode()

    assert ("being worked in" in behind, "being worked in" in ready) == (True, False)
    assert "svg" in Seen(ready).tags
    assert taster.user.username in ready


@pytest.mark.parametrize(
    ("q", "found"),
    [("mist", True), ("RIDGE mist", True), ("mist valley", False), ("%", False), ("_", False), ("\\", False),
     ("\x00mist", True), ("mist " * 500, True)],
)  # fmt: skip
def test_lots_are_found_by_their_words(lot, browser, q, found):
    answer = browser.get("/lots/", {"q": q})

    assert (answer.status_code, "Mist Ridge" in Seen(answer.content.decode()).text) == (200, found)


def test_pages_are_read_only(browser, lot):
    assert [browser.post(address).status_code for address in ("/lots/", report(lot.id))] == [405, 405]


def test_member_who_left_sees_nothing(member, lot, browser):
    type(member).objects.update(left_at=datetime.now(UTC))

    assert browser.get(report(lot.id)).status_code == 404
    assert "Mist Ridge" not in browser.get("/lots/").content.decode()


def test_the_curves_come_as_a_table_with_the_numbers_of_the_record(taster, lexicon):
    lot = LotFactory(team=taster.team)
    sync(taster.client, pot(lot.id, infusions=4, notes_each=2, keys=("strength", "sweetness"))[1])
    refresh_development(lot.id, now=timezone.now())
    curves = taster.client.get(f"/api/v1/lots/{lot.id}/development").json()["curves"]
    answer = taster.client.get(f"/lots/{lot.id}/report.csv")
    rows = list(csv.DictReader(answer.content.decode().splitlines()))
    assert answer["Content-Type"] == "text/csv; charset=utf-8"
    assert [
        (r["descriptor"], int(r["infusion"]), float(r["mean"]), float(r["low"]), float(r["high"])) for r in rows
    ] == [(c["descriptor"], p["infusion"], p["mean"], p["low"], p["high"]) for c in curves for p in c["points"]]
    assert [None if r["observed"] == "" else float(r["observed"]) for r in rows] == [
        p["observed"] for c in curves for p in c["points"]
    ]


def test_the_curve_comes_as_a_small_drawing_of_its_own(taster, lexicon):
    lot = LotFactory(team=taster.team)
    sync(taster.client, pot(lot.id, infusions=4, notes_each=1, keys=("strength",))[1])
    refresh_development(lot.id, now=timezone.now())
    answer = taster.client.get(f"/lots/{lot.id}/report.svg")
    assert answer["Content-Type"].startswith("image/svg+xml")
    assert answer.content.startswith(b"<svg xmlns=")
    assert len(answer.content) < 60_000
    assert f"/lots/{lot.id}/report.svg" in taster.client.get(f"/lots/{lot.id}/report/").content.decode()


@pytest.mark.parametrize("ending", ["svg", "csv"])
def test_other_forms_of_a_strangers_report_look_absent(taster, stranger, ending):
    lot = LotFactory(team=taster.team)
    foreign = stranger.client.get(f"/lots/{lot.id}/report.{ending}")
    absent = stranger.client.get(f"/lots/{uuid4()}/report.{ending}")
    assert (foreign.status_code, foreign.content) == (404, absent.content)


def test_living_lots_of_the_chosen_team_are_listed_and_no_others(member, lot, browser, stranger):
    second = MemberFactory(user=member.user, team=TeamFactory())
    LotFactory(team=second.team, by=member.user, name="Second Hill")
    LotFactory(team=stranger.team, by=stranger.user, name="Foreign Hill")
    LotFactory(team=member.team, by=member.user, name="Gone Hill", removed=True)
    names = ("Mist Ridge", "Second Hill", "Foreign Hill", "Gone Hill")
    first = Seen(browser.get("/lots/").content.decode()).text
    browser.post("/team/", {"team": str(second.team_id)})
    text = Seen(browser.get("/lots/").content.decode()).text

    assert [name in first for name in names] == [True, False, False, False]
    assert [name in text for name in names] == [False, True, False, False]
