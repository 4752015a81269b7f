"""The page of one's own account: a code for a phone, and the devices that are signed in."""

import re

import pytest

from teams.models import DeviceToken, SignInCode
from tests.factories import DeviceTokenFactory, MemberFactory, TeamFactory, phone, web_browser


@pytest.fixture
def browser(taster):
    client = web_browser()
    client.force_login(taster.user)
    return client


def code_on(page):
    return re.search(r'<p class="code">(\w{4}-\w{4})</p>', page.content.decode()).group(1)


def test_code_shown_on_the_page_signs_a_phone_in(taster, browser):
    account = browser.get("/account/").content.decode()
    page = browser.post("/account/phone/", {"team": str(taster.team.id)})
    answer = phone().post("/api/v1/auth/tokens", {"code": code_on(page), "device": "phone at the table"})

    assert 'action="/account/phone/"' in account
    assert page["Cache-Control"] == "no-store"
    assert (answer.status_code, answer.json()["user"]) == (201, str(taster.user.id))
    assert "phone at the table" in browser.get("/account/").content.decode()


def test_qr_code_is_drawn_of_the_link_with_the_code_in_its_fragment(taster, browser, monkeypatch):
    drawn = []
    monkeypatch.setattr("pages.account.qr_code", lambda text: drawn.append(text) or "")
    page = browser.post("/account/phone/", {"team": str(taster.team.id)})

    assert drawn == [f"http://testserver/table/#code={code_on(page)}"]


def test_qr_code_holds_squares_only_and_leaves_a_quiet_zone(browser):
    page = browser.post("/account/phone/").content.decode()
    [svg] = re.findall(r'<div class="qr"[^>]*>(<svg.*?</svg>)', page)

    # version 3 has 29 modules a side, and 4 of quiet zone around it: ISO/IEC 18004, from memory
    assert 'viewBox="0 0 37 37"' in svg
    assert re.sub(r"[\d.]+|[Mmhvz -]", "", re.search(r'class="qrline"[^>]* d="([^"]+)"', svg).group(1)) == ""
    assert set(re.findall(r"<(\w+)", svg)) == {"svg", "path"}


def test_login_of_two_teams_chooses_one(taster, browser):
    elsewhere = MemberFactory(team=TeamFactory(name="Other House"), user=taster.user)
    page = browser.post("/account/phone/", {"team": str(elsewhere.team_id)})

    assert "Other House" in browser.get("/account/").content.decode()
    assert [code.member for code in SignInCode.objects.all()] == [elsewhere]
    assert "Other House" in page.content.decode()


def test_team_that_the_login_is_not_in_gets_no_code(browser, stranger):
    MemberFactory(team=stranger.team)
    answer = browser.post("/account/phone/", {"team": "nowhere"})
    foreign = browser.post("/account/phone/", {"team": str(stranger.team.id)})

    assert (answer.status_code, foreign.status_code) == (403, 403)
    assert not SignInCode.objects.exists()


def test_device_is_signed_out_on_the_page(taster, browser, buyer):
    lost = DeviceTokenFactory(member=taster.member, device="lost phone")
    page = browser.get("/account/").content.decode()
    done = browser.post("/account/devices/", {"device": str(lost.id)}, follow=True)
    foreign = browser.post("/account/devices/", {"device": str(buyer.device.id)})

    assert "lost phone" in page
    assert "lost phone" not in done.content.decode()
    assert foreign.status_code == 404
    assert set(DeviceToken.objects.values_list("id", flat=True)) == {taster.device.id, buyer.device.id}
