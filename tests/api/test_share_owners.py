"""A link opens while someone who may give links stands behind it; then it waits for an owner, who keeps or ends it."""

import pytest
from django.test import Client

from tastings.audit_events import TastingEvent
from tastings.models import RenderedDocument, Share
from teams.models import AuditEntry, Role
from tests.api.problems import refusal
from tests.api.reported import tasted_lot
from tests.factories import person

SHARES, WAITING = "/api/v1/shares/", "/account/links/"


@pytest.fixture
def lot(taster, lexicon):
    return tasted_lot(taster)


@pytest.fixture
def given(buyer, lot):
    answer = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": "report"})
    assert answer.status_code == 201
    return answer.json()


def browser_of(who):
    browser = Client()
    browser.force_login(who.user)
    return browser


def status_of(given):
    return Client().get(given["link"].removeprefix("http://testserver")).status_code


def shown(who, given):
    answer = who.client.get(f"{SHARES}{given['id']}/").json()
    return {name: answer[name] for name in ("open", "waiting", "link", "kept_by")}


def leave(owner, who):
    assert owner.client.delete(f"/api/v1/members/{who.user.id}/").status_code == 204


def become(owner, who, role):
    assert owner.client.patch(f"/api/v1/members/{who.user.id}/", {"role": role}).status_code == 200


WAITS = {"open": False, "waiting": True, "link": None, "kept_by": None}


def test_link_of_a_member_who_left_opens_nothing_until_an_owner_keeps_it(owner, buyer, given):
    before = status_of(given)
    leave(owner, buyer)
    after, seen = status_of(given), shown(owner, given)
    kept = owner.client.post(f"{SHARES}{given['id']}/keep")

    assert (before, after, seen) == (200, 404, WAITS)
    assert (kept.status_code, kept.json()["link"], kept.json()["kept_by"]) == (200, given["link"], str(owner.user.id))
    assert status_of(given) == 200
    assert kept.json()["by"] == str(buyer.user.id)  # who gave it does not change
    assert AuditEntry.objects.filter(what=TastingEvent.SHARE_KEPT, who=owner.user, team=owner.team).count() == 1


def test_ended_and_waiting_links_look_alike_to_outsiders(owner, buyer, given, lot):
    other = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": "report"}).json()
    assert buyer.client.delete(f"{SHARES}{other['id']}/").status_code == 204
    leave(owner, buyer)
    waiting, ended = (Client().get(one["link"].removeprefix("http://testserver")) for one in (given, other))

    assert (waiting.status_code, waiting.content) == (ended.status_code, ended.content)


@pytest.mark.parametrize("role", [Role.TASTER, Role.VIEWER])
def test_link_of_a_member_who_lost_the_role_waits_and_opens_when_the_role_comes_back(owner, buyer, given, role):
    become(owner, buyer, role)
    lost = status_of(given), shown(owner, given)
    become(owner, buyer, Role.BUYER)

    assert lost == (404, WAITS)
    assert (status_of(given), shown(owner, given)["open"]) == (200, True)


def test_link_stays_open_when_a_buyer_becomes_an_owner(owner, buyer, given):
    become(owner, buyer, Role.OWNER)

    assert status_of(given) == 200


def test_link_waits_again_when_the_owner_who_kept_it_leaves(team, owner, buyer, given):
    second = person(team, Role.OWNER)
    leave(owner, buyer)
    assert owner.client.post(f"{SHARES}{given['id']}/keep").status_code == 200
    leave(second, owner)

    assert status_of(given) == 404
    assert second.client.post(f"{SHARES}{given['id']}/keep").status_code == 200
    assert status_of(given) == 200


def test_only_an_owner_keeps_and_only_what_waits(owner, buyer, taster, stranger, given):
    colleague, open_one = person(owner.team, Role.BUYER), owner.client.post(f"{SHARES}{given['id']}/keep")
    leave(owner, buyer)
    answers = [who.client.post(f"{SHARES}{given['id']}/keep") for who in (colleague, taster, stranger)]
    assert owner.client.delete(f"{SHARES}{given['id']}/").status_code == 204
    ended = owner.client.post(f"{SHARES}{given['id']}/keep")

    assert [answer.status_code for answer in answers] == [403, 403, 404]
    assert [refusal(answer)[:2] for answer in (open_one, ended)] == [(409, "wrong-state")] * 2
    assert Share.objects.get().kept_by is None


def test_owner_is_asked_on_the_page_and_decides_there(owner, buyer, lot, given):
    ended = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": "card"}).json()
    leave(owner, buyer)
    browser = browser_of(owner)
    account, asked = (browser.get(address).content.decode() for address in ("/account/", WAITING))
    of_lot = browser.get(f"/lots/{lot.id}/links/").content.decode()
    kept = browser.post(WAITING, {"share": given["id"], "decision": "keep"}, follow=True).content.decode()
    done = browser.post(WAITING, {"share": ended["id"], "decision": "end"}, follow=True).content.decode()

    assert "2 links wait for your decision" in account
    assert asked.count('value="keep"') == 2
    assert "given by" in asked
    assert ('id="waiting"' in of_lot, 'href="/account/links/"' in of_lot, "/shared/" in of_lot) == (True, True, False)
    assert kept.count('value="keep"') == 1
    assert "No link waits." in done
    assert (status_of(given), status_of(ended)) == (200, 404)
    assert "wait for your decision" not in browser.get("/account/").content.decode()


def test_page_of_waiting_links_is_for_owners_and_their_own_teams(owner, buyer, taster, stranger, given):
    leave(owner, buyer)
    sent = {"share": given["id"], "decision": "keep"}

    assert browser_of(taster).get(WAITING).status_code == 403
    assert browser_of(taster).post(WAITING, sent).status_code == 403
    assert given["id"] not in browser_of(stranger).get(WAITING).content.decode()
    assert browser_of(stranger).post(WAITING, sent).status_code == 404
    assert status_of(given) == 404


@pytest.mark.parametrize("shows", ["report", "card"])
def test_shared_page_has_no_internal_code(buyer, lot, shows):
    type(lot).objects.filter(id=lot.id).update(code="STOCK-77-B")
    given = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": shows}).json()
    address = given["link"].removeprefix("http://testserver").rstrip("/")
    forms = ["/", ".csv", ".svg"] if shows == "report" else ["/", ".md"]
    answers = [Client().get(f"{address}{form}") for form in forms]

    assert [answer.status_code for answer in answers] == [200] * len(forms)
    assert [form for form, answer in zip(forms, answers, strict=True) if "STOCK-77-B" in answer.content.decode()] == []
    assert "STOCK-77-B" in browser_of(buyer).get(f"/lots/{lot.id}/{shows}/").content.decode()


@pytest.mark.parametrize("shows", ["report", "card"])
def test_shared_document_has_no_internal_code(buyer, lot, shows):
    type(lot).objects.filter(id=lot.id).update(code="STOCK-77-B")
    given = buyer.client.post(SHARES, {"lot": str(lot.id), "shows": shows}).json()
    shared = Client().get(given["link"].removeprefix("http://testserver").rstrip("/") + ".pdf")
    ours = browser_of(buyer).get(f"/lots/{lot.id}/{shows}.pdf")
    payloads = [str(one.payload) for one in RenderedDocument.objects.order_by("asked_at")]

    assert (shared.status_code, ours.status_code) == (202, 202)
    assert ["STOCK-77-B" in payload for payload in payloads] == [False, True]
