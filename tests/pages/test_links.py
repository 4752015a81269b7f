"""Giving links on the page of a lot, reading them as an outsider, and ending them."""

import re
from datetime import timedelta

import pytest
from django.utils import timezone

from tastings.audit_events import TastingEvent
from tastings.models import Share
from tastings.queries.shares import token_of
from teams.errors import Invalid, Problem
from teams.models import AuditEntry, Role
from tests.api.reported import tasted_lot
from tests.factories import LotFactory, person, web_browser

REPORT = {"shows": "report", "lang": "en", "days": "30"}


@pytest.fixture
def lot(taster, lexicon):
    return tasted_lot(taster)


@pytest.fixture
def buyer(team):
    return person(team, Role.BUYER)


def browser_of(who, **how):
    browser = web_browser(**how)
    browser.force_login(who.user)
    return browser


def links(lot):
    return f"/lots/{lot.id}/links/"


def addresses(page):
    return re.findall(r'value="http://testserver(/shared/[^"]+)"', page)


def test_link_given_on_the_page_opens_the_report_to_anyone(buyer, lot):
    browser = browser_of(buyer)
    given = browser.post(links(lot), REPORT, follow=True)
    [address] = addresses(given.content.decode())
    seen = web_browser().get(address)

    assert given.redirect_chain == [(f"{links(lot)}?made={Share.objects.get().id}", 302)]
    assert "The link is made." in given.content.decode()
    assert given.content.decode().count("autofocus") == 1
    assert (seen.status_code, "Mist Ridge" in seen.content.decode()) == (200, True)
    assert buyer.user.username not in seen.content.decode()
    assert "read 1 time" in browser.get(links(lot)).content.decode()
    assert AuditEntry.objects.filter(what=TastingEvent.SHARE, who=buyer.user).count() == 1


def test_choices_are_kept(buyer, taster, lot):
    browser, now = browser_of(buyer), timezone.now()
    browser.post(links(lot), {**REPORT, "names": "on", "days": "7"})
    browser.post(links(lot), {"shows": "card", "lang": "de", "days": "365"})
    page = browser.get(links(lot)).content.decode()
    card, report = (web_browser().get(address).content.decode() for address in addresses(page))  # the newest first

    assert taster.user.username in report
    assert '<html lang="de">' in card
    assert "The report, with tasters, shops and statistics" in page
    assert "The card for customers (Deutsch)" in page
    ends = Share.objects.order_by("created_at").values_list("expires_at", flat=True)
    assert [(end - now + timedelta(hours=1)).days for end in ends] == [7, 365]


def test_link_that_was_ended_on_the_page_opens_nothing(buyer, lot):
    browser = browser_of(buyer)
    [address] = addresses(browser.post(links(lot), REPORT, follow=True).content.decode())
    share = Share.objects.get()
    page = browser.post(f"{links(lot)}{share.id}/end/", follow=True).content.decode()

    assert (addresses(page), 'id="ended"' in page, "The link has ended" in page) == ([], True, True)
    assert "The link has ended" not in browser.get(f"{links(lot)}?ended={share.lot_id}").content.decode()
    assert web_browser().get(address).status_code == 404
    assert browser.post(f"{links(lot)}{share.id}/end/").status_code == 302
    assert AuditEntry.objects.filter(what=TastingEvent.SHARE_ENDED).count() == 1


@pytest.mark.parametrize(
    "wrong", [{"shows": "everything"}, {"days": "9999"}, {"days": "soon"}, {"lang": "xx"}, {"shows": ""}]
)
def test_choice_that_is_none_gives_no_link_and_says_why(buyer, lot, wrong):
    answer = browser_of(buyer).post(links(lot), REPORT | wrong)
    assert answer.status_code == 422
    assert 'class="wrong"' in answer.content.decode()
    assert not Share.objects.exists()


def test_page_of_a_lot_ends_links_to_that_lot_only(buyer, lot):
    other = LotFactory(team=buyer.team, by=buyer.user)
    browser = browser_of(buyer)
    browser.post(links(lot), REPORT)
    share = Share.objects.get()
    assert browser.post(f"{links(other)}{share.id}/end/").status_code == 404
    assert web_browser().get(f"/shared/{token_of(share.id)}/").status_code == 200


def test_every_open_link_is_listed_however_many_ended(buyer, lot):
    now = timezone.now()
    same = {"team": buyer.team, "lot": lot, "shows": "report", "lang": "en", "by": buyer.user}
    Share.objects.bulk_create(
        Share(**same, created_at=now - timedelta(hours=n), expires_at=now + timedelta(days=1 if n % 2 else -1))
        for n in range(1, 241)
    )
    page = browser_of(buyer).get(links(lot)).content.decode()
    assert len(addresses(page)) == 120
    assert page.count("read 0 times") == 140  # and the latest twenty that ended


def test_who_was_signed_out_when_ending_a_link_comes_back_to_the_links(buyer, lot):
    browser = browser_of(buyer)
    browser.post(links(lot), REPORT)
    address = f"{links(lot)}{Share.objects.get().id}/end/"
    sent = web_browser().post(address)
    assert sent["Location"] == f"/sign-in/?next={address}"
    assert browser.get(address)["Location"] == links(lot)
    assert Share.objects.get().revoked_at is None


def test_lot_that_goes_while_a_link_is_made_is_absent(buyer, lot, monkeypatch):
    def gone(*_, **__):
        raise Invalid(problems=[Problem("lot", "unknown_parent", "the team has no such lot")])

    monkeypatch.setattr("pages.links.give_share", gone)
    assert browser_of(buyer).post(links(lot), REPORT).status_code == 404


def test_report_and_card_lead_those_there_who_may_give_links(buyer, taster, lot):
    for form in ("report", "card"):
        leads = [f'href="{links(lot)}"' in browser_of(who).get(f"/lots/{lot.id}/{form}/").content.decode()
                 for who in (buyer, taster)]  # fmt: skip
        assert leads == [True, False]
    assert browser_of(taster).get(links(lot)).status_code == 403


def test_guest_is_led_nowhere(buyer, lot):
    [address] = addresses(browser_of(buyer).post(links(lot), REPORT, follow=True).content.decode())
    assert "/links/" not in web_browser().get(address).content.decode()


def test_form_from_another_site_gives_nothing(buyer, lot):
    assert browser_of(buyer, enforce_csrf_checks=True).post(links(lot), REPORT).status_code == 403
    assert not Share.objects.exists()


def test_hostile_name_is_shown_as_text(buyer):
    lot = LotFactory(team=buyer.team, by=buyer.user, name="<script>alert(1)</script> \u202e{{ 7 }}")
    page = browser_of(buyer).get(links(lot)).content.decode()
    assert "<script" not in page
    assert page.count("&lt;script&gt;alert(1)&lt;/script&gt; \u202e{{ 7 }}") == 2
