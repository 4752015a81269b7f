"""The team's people, shops, words, settings and audit log in the browser; the first team; the password."""

import re
from datetime import timedelta

import pytest
from django.contrib.auth.hashers import check_password
from django.utils import timezone

from lots.models import Lot
from tastings.models import Note, RecordCount
from tastings.wording.people import EVENT_GROUPS, EVENTS
from teams.actions.people import create_first_team
from teams.errors import NotFound
from teams.models import AuditEntry, Invitation, Member, Role, Shop, Team, User
from tests.api.records import Place
from tests.factories import LotFactory, MemberFactory, PotFactory, ShopFactory, TeamFactory, person, web_browser

PASSWORD = "two leaves and a bud"


def browser_of(who):
    browser = web_browser()
    browser.force_login(who.user)
    return browser


@pytest.fixture
def browser(owner):
    return browser_of(owner)


def test_invitation_made_in_the_browser_lets_somebody_in_once(owner, browser, mailoutbox):
    page = browser.post("/team/people/", {"role": "buyer", "shop": str(owner.member.shop_id), "days": "7"})
    [link] = re.findall(r'value="http://testserver(/join/[^"]+)"', page.content.decode())
    newcomer = {"username": "Ilva", "password": PASSWORD, "email": "ilva@tea.example"}
    joined = web_browser().post(link, newcomer)
    member = Member.objects.get(user__username="Ilva")

    assert page["Cache-Control"] == "no-store"
    assert '<div class="qr"' in page.content.decode()
    assert (joined.status_code, member.role, member.user.email) == (302, "buyer", "ilva@tea.example")
    assert member.user.email_verified_at is None
    assert web_browser().get(link).status_code == 404
    assert link not in browser.get("/team/people/").content.decode()


def test_address_that_is_none_is_refused_before_the_invitation_is_used(owner, browser):
    page = browser.post("/team/people/", {"role": "taster", "shop": str(owner.member.shop_id), "days": "1"})
    [link] = re.findall(r'value="http://testserver(/join/[^"]+)"', page.content.decode())
    refused = web_browser().post(link, {"username": "Ilva", "password": PASSWORD, "email": "ilva at tea"})

    assert 'id="id_email_error"' in refused.content.decode()
    assert Invitation.objects.get().used_at is None


def test_invitation_is_taken_back(owner, browser):
    browser.post("/team/people/", {"role": "taster", "shop": str(owner.member.shop_id), "days": "7"})
    browser.post(f"/team/invitations/{Invitation.objects.get().id}/")

    assert Invitation.objects.get().revoked_at is not None
    assert "Take it back" not in browser.get("/team/people/").content.decode()


def test_role_and_shop_are_changed_and_the_team_is_handed_over(owner, browser, taster):
    shop = ShopFactory(team=owner.team, name="Harbour")
    address = f"/team/people/{taster.user.id}/"
    browser.post(address, {"role": "buyer", "shop": str(shop.id)})
    changed = Member.objects.get(id=taster.member.id)
    browser.post(address, {"do": "hand_over"})
    roles = dict(Member.objects.values_list("user", "role"))

    assert (changed.role, changed.shop) == ("buyer", shop)
    assert roles == {owner.user.id: "buyer", taster.user.id: "owner"}


def test_last_owner_stays_and_a_member_leaves(owner, browser, taster):
    refused = browser.post(f"/team/people/{owner.user.id}/", {"do": "remove"})
    browser_of(taster).post(f"/team/people/{taster.user.id}/", {"do": "remove"})

    assert refused.status_code == 403
    assert list(Member.objects.filter(left_at=None)) == [owner.member]


def test_login_of_two_teams_chooses_for_which_it_works(owner, browser):
    other = MemberFactory(team=TeamFactory(name="Other House"), user=owner.user, role=Role.OWNER)
    first, second = (LotFactory(team=member.team, by=owner.user) for member in (owner.member, other))
    before = [browser.get(address).content.decode() for address in ("/team/", "/lots/", "/flights/")]
    moved = browser.post("/team/", {"team": str(other.team_id), "open": "/flights/"})
    browser.post("/records/lot/new/", {"name": "Mist Ridge", "kind": "oolong"})
    after = browser.get("/lots/").content.decode()

    assert "<h1><bdi>Kettle &amp; Lid" in before[0]
    assert all(f'<option value="{owner.team.id}" selected>' in page for page in before)
    assert (first.name in before[1], second.name in before[1]) == (True, False)
    assert moved["Location"] == "/flights/"
    assert (first.name in after, second.name in after, "Mist Ridge" in after) == (False, True, True)
    assert f'<option value="{other.team_id}" selected>' in browser.get(f"/lots/{first.id}/report/").content.decode()
    assert Lot.objects.get(name="Mist Ridge").team == other.team


def test_choice_of_the_team_leads_nowhere_else_and_is_not_offered_to_who_has_one(owner, browser):
    assert "for-team" not in browser.get("/lots/").content.decode()
    moved = browser.post("/team/", {"team": str(owner.team.id), "open": "//example.com/lots/"})
    assert moved["Location"] == "/lots/"


def test_shop_is_opened_renamed_and_gets_its_usual_pot(owner, browser, buyer):
    pot = PotFactory(team=owner.team, by=owner.user, name="Shelf bowl")
    browser.post("/team/shops/", {"name": "Harbour"})
    twice = browser.post("/team/shops/", {"name": "Harbour"})
    shop = Shop.objects.get(name="Harbour")
    browser_of(buyer).post(f"/team/shops/{shop.id}/", {"name": "Renamed by a buyer", "usual_pot": str(pot.id)})
    shop.refresh_from_db()

    assert 'id="id_name_error"' in twice.content.decode()
    assert (shop.name, shop.usual_pot) == ("Harbour", pot.id)
    browser.post(f"/team/shops/{shop.id}/", {"name": "Quay", "usual_pot": ""})
    shop.refresh_from_db()
    assert (shop.name, shop.usual_pot) == ("Quay", None)


def test_words_are_merged(taster, buyer, lexicon):
    place = Place(taster)
    browser = browser_of(buyer)
    merged = browser.post(f"/team/words/{place.descriptor.id}/merge/", {"into": "honey"})

    assert (merged.status_code, Note.objects.get().descriptor.key) == (302, "honey")
    assert place.descriptor.label not in browser.get("/team/words/").content.decode()


def test_words_say_how_often_the_team_noted_them(taster, lexicon):
    place = Place(taster)
    session = Note.objects.get().session
    session.started_at = timezone.now()
    session.save(update_fields=["started_at"])
    browser = browser_of(taster)
    page = browser.get("/team/words/").content.decode()
    found, none = (browser.get(f"/team/words/?q={q}").content.decode() for q in ("HONEY", "no such word"))

    assert f'<bdi>{place.descriptor.label}</bdi></a> <span class="soft">1 \u00d7' in page
    assert (">Honey</a>" in found, ">Orchid</a>" in found, ">Orchid</a>" in page) == (True, False, True)
    assert "No word matches." in none


def test_team_says_what_stands_there(owner, browser):
    PotFactory(team=owner.team, by=owner.user, name="Shelf bowl")
    browser.post("/team/people/", {"role": "buyer", "shop": str(owner.member.shop_id), "days": "7"})
    page = browser.get("/team/").content.decode()

    for now in ("1 person and 1 open invitation", "1 shop and 1 pot", "Invited somebody", "There is plenty of room."):
        assert f"<bdi>{now}" in page


def test_usage_says_what_is_nearly_full_and_what_is_full(owner, browser, settings):
    pages = []
    for limit in (100, 10, 9):
        settings.QUOTAS = {**settings.QUOTAS, "records": (limit, 1000)}
        RecordCount.objects.update_or_create(team=owner.team, user=owner.user, defaults={"notes": 0, "records": 9})
        pages.append(browser.get("/account/usage/").content.decode())

    says = [re.findall('<p class="lead">(.*?)</p>', page) for page in pages]
    assert says == [
        ["There is plenty of room."],
        ["Nearly full: lots, sessions, infusions and other records."],
        ["No more room for: lots, sessions, infusions and other records."],
    ]
    assert "9 of 100<" in pages[0]


def test_settings_take_a_decimal_comma_and_name_what_is_wrong(owner, browser):
    browser.post("/team/settings/", {"name": "Kettle & Bowl", "ready_roast": "2,5"})
    wrong = browser.post("/team/settings/", {"name": "Kettle & Bowl", "ready_roast": "strong"})
    team = Team.objects.get()

    assert (team.name, team.ready_roast) == ("Kettle & Bowl", 2.5)
    assert 'id="id_ready_roast_error"' in wrong.content.decode()


def test_audit_log_says_who_did_what_and_is_filtered(owner, browser, taster):
    browser.post(f"/team/people/{taster.user.id}/", {"role": "buyer", "shop": str(taster.member.shop_id)})
    page, other = (browser.get(f"/team/audit/?what={what}").content.decode() for what in ("role_change", "reveal"))

    assert "<strong>Changed a role</strong>" in page
    assert f"<strong>Changed a role</strong> <bdi>{taster.user.username}</bdi>" in page
    assert "from: <bdi>Taster: writes tasting notes</bdi>" in page
    assert "to: <bdi>Buyer: tastes" in page
    assert "<strong>" not in other


def test_audit_log_shows_signing_in_when_asked_folds_repeats_and_goes_by_person(owner, browser, taster):
    noon = timezone.now().replace(hour=12)
    AuditEntry.objects.bulk_create(
        AuditEntry(team=owner.team, at=noon + timedelta(minutes=minute), what="sign_in", who=who)
        for minute, who in enumerate((owner.user, owner.user, taster.user))
    )
    asked = ("", "what=access", f"what=all&who={owner.user.id}", f"what=sign_in&who={taster.user.id}")
    pages = [browser.get(f"/team/audit/?{one}").content.decode() for one in asked]

    assert [page.count("<strong>Signed in</strong>") for page in pages] == [0, 4, 3, 1]  # a fold's summary is one more
    assert ["2 times" in page for page in pages] == [False, True, True, False]


def test_every_event_is_in_one_group_of_the_audit_log():
    assert sorted(code for _words, codes in EVENT_GROUPS.values() for code in codes) == sorted(EVENTS)


def test_audit_log_says_what_was_changed_in_a_lot(owner, browser):
    lot = LotFactory(team=owner.team, name="Mist Ridge", price_per_kg=40, currency="EUR")
    browser.post(
        f"/records/lot/{lot.id}/", {"name": "Mist Ridge", "kind": lot.kind, "price_per_kg": "44,5", "currency": "EUR"}
    )
    page = browser.get("/team/audit/?what=lot_priced").content.decode()

    assert "<strong>Priced a lot</strong>" in page
    assert f'<a href="/records/lot/{lot.id}/history/"><bdi>Mist Ridge</bdi></a>' in page
    assert re.findall("Price per kilogram: .*?</b>", page) == [
        "Price per kilogram: <bdi>40.00</bdi> → <b><bdi>44.50</bdi></b>"
    ]


def test_export_is_sent_and_noted(owner, browser):
    answer = browser.post("/team/export/")
    content = b"".join(answer.streaming_content)

    assert (answer["Content-Type"], content[:2]) == ("application/zip", b"PK")
    assert AuditEntry.objects.filter(what="export").count() == 1


def test_password_is_changed_and_the_browser_stays_signed_in(team):
    login = person(team, Role.TASTER, password=PASSWORD)
    browser = browser_of(login)
    wrong = browser.post("/account/password/", {"password": "no", "new_password": "a bowl with a lid"})
    browser.post("/account/password/", {"password": PASSWORD, "new_password": "a bowl with a lid"})

    assert 'id="id_password_error"' in wrong.content.decode()
    assert check_password("a bowl with a lid", User.objects.get(id=login.user.id).password)
    assert browser.get("/account/").status_code == 200
    assert login.client.get("/api/v1/me").status_code == 401
    browser.post("/account/everywhere/")
    assert browser.get("/account/").status_code == 302


FIRST = {"name": "Kettle & Lid", "shop": "Harbour", "username": "Ilva", "password": PASSWORD}


def test_first_team_is_made_once_and_only_with_the_code(db, settings):
    settings.START_CODE = "printed-at-the-start"
    browser = web_browser()
    wrong = browser.post("/start/another-code/", FIRST)
    weak = browser.post("/start/printed-at-the-start/", FIRST | {"password": "12345678"})
    nothing_made = not Team.objects.exists()
    nobody = "nobody can sign in"
    assert nobody in browser.get("/sign-in/").content.decode()
    made = browser.post("/start/printed-at-the-start/", FIRST)

    assert (wrong.status_code, nothing_made) == (404, True)
    assert 'id="id_password_error"' in weak.content.decode()
    assert (made.status_code, made["Location"]) == (302, "/account/email/?first=1")
    asked = browser.get(made["Location"]).content.decode()
    assert ("Your team is made" in asked, 'href="/team/"' in asked) == (True, True)
    assert "Your team is made" not in browser.get("/account/email/").content.decode()
    assert nobody not in web_browser().get("/sign-in/").content.decode()
    empty = browser.get("/lots/").content.decode()
    assert ('href="/team/import/"' in empty, 'role="search"' in empty) == (True, False)
    assert Member.objects.get().role == "owner"
    assert browser.get("/team/people/").status_code == 200
    assert web_browser().get("/start/printed-at-the-start/").status_code == 404
    assert web_browser().post("/start/printed-at-the-start/", FIRST).status_code == 404
    with pytest.raises(NotFound):  # also a request that found the page open
        create_first_team(**FIRST | {"username": "Bram"})


@pytest.mark.parametrize(("backend", "has_notice"), [("console", True), ("smtp", False)])
def test_owner_of_a_server_without_mail_is_not_left_waiting_for_a_mail(db, settings, backend, has_notice):
    settings.START_CODE = "printed-at-the-start"
    browser = web_browser()
    browser.post("/start/printed-at-the-start/", FIRST)
    settings.EMAIL_BACKEND = f"django.core.mail.backends.{backend}.EmailBackend"
    assert ("No mail server is set up here" in browser.get("/account/email/").content.decode()) == has_notice


def test_server_without_a_code_makes_no_team(db, settings):
    settings.START_CODE = ""
    assert web_browser().get("/start/x/").status_code == 404
