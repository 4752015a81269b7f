"""The app in Chromium when the server or the phone's own disk refuses: nothing is lost, and the screen says so."""

import errno
from io import BytesIO

import pytest
from django.db.models import F
from django.utils import timezone
from PIL import Image

from lots.models import Lot
from tastings.models import Note, Photo, photo_folder
from teams.actions.sign_in_codes import create_sign_in_code
from teams.models import DeviceToken, Team
from tests.factories import LotFactory, MemberFactory, TeamFactory
from tests.table.browser import AFTERNOON, ready
from tests.table.taster import table_of
from tests.table.test_afternoon import photograph, pour, start

pytestmark = pytest.mark.django_db(transaction=True)
ADD_PHOTO = """
async ([lot, bytes]) => {
  const blob = new Blob([new Uint8Array(bytes)], { type: "image/jpeg" });
  return store.addPhoto({ lot, kind: "dry_leaf", blob });
}
"""
REFUSE_WRITES = """
(how) => {
  const put = IDBObjectStore.prototype.put;
  globalThis.allowWrites = () => void (IDBObjectStore.prototype.put = put);
  IDBObjectStore.prototype.put = function (...given) {
    if (how === "full") throw new DOMException("no space", "QuotaExceededError");
    const request = put.apply(this, given);
    this.transaction.abort();
    return request;
  };
}
"""
ALL_SENT = "until(() => store.unsent.value === 0)"


def picture():
    """Return a small photo."""
    file = BytesIO()
    Image.new("RGB", (60, 40), "#c08030").save(file, "JPEG")
    return file.getvalue()


@pytest.fixture(autouse=True)
def _photos(settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path / "photos", 0


def test_forgotten_cursor_too_large_a_body_and_a_full_server_delay_what_was_kept(phone, who, lot, monkeypatch):
    gone = LotFactory(team=who.team)
    page = ready(phone)

    Lot.objects.filter(id=gone.id).delete()  # as its pruning does, which a phone long unused does not learn
    new = LotFactory(team=who.team)
    Team.objects.update(pruned_revision=F("revision"), pruned_before=timezone.now())
    page.evaluate(AFTERNOON, lot)
    page.evaluate(ALL_SENT)
    page.evaluate("until(() => store.rows('lot').value.size === 2)")
    assert set(page.evaluate("[...store.rows('lot').value.keys()]")) == {lot, str(new.id)}
    assert Note.objects.count() == 18

    with monkeypatch.context() as small:
        small.setattr("api.http.parsing.MAX_BODY_BYTES", 1500)
        page.evaluate(AFTERNOON, lot)
        page.evaluate(ALL_SENT)
    assert Note.objects.count() == 36

    def full(*_):
        raise OSError(errno.ENOSPC, "no space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(photo_folder, "_write", full)
        photo = page.evaluate(ADD_PHOTO, [lot, list(picture())])
        page.evaluate("until(() => store.link.value.trouble === 'server_full')")
        assert page.evaluate("store.unsent.value") == 1
    page.evaluate("store.sync()")
    page.evaluate(ALL_SENT)
    assert str(Photo.objects.get(state="checking").id) == photo


def test_phone_that_is_full_says_so_and_keeps_again_once_there_is_space(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        table.cut()
        start(table, "Mist Ridge")
        pour(table, steep_s=2, pour_s=2)
        before = table.kept()
        for how, words in (("full", "storage is full"), ("broken", "storage refused it")):
            table.page.evaluate(REFUSE_WRITES, how)
            table.rate("strength", 6)
            table.page.wait_for_selector(f".bottom .hint:has-text('{words}')")
            assert (table.kept(), table.page.locator(".undo p:has-text('rated')").count()) == (before, 0)
            table.page.evaluate("allowWrites()")
        table.page.reload()
        table.page.wait_for_selector("#rate-strength")
        assert table.page.locator(".rating output").count() == 0
        table.rate("strength", 6)
        table.page.wait_for_selector(".undo p:has-text('Strength rated')")
        assert (table.kept(), table.page.locator(".bottom .hint").count()) == (before + 1, 0)


def test_phone_signs_in_by_a_code_of_the_address_or_typed_and_never_by_itself(browser, network, taster, stranger):
    code, _ = create_sign_in_code(taster.member, now=timezone.now())
    code_of_stranger, _ = create_sign_in_code(stranger.member, now=timezone.now())
    page = browser.new_page(locale="en")
    page.goto(f"{network.url}/table/#code=WRONG-123")
    page.get_by_role("button", name="Sign in with the code").click()
    page.wait_for_selector("[role=alert]:has-text('code')")
    page.route("**/auth/tokens", lambda route: route.fulfill(status=502, body="<h1>Bad Gateway</h1>"))
    page.get_by_role("button", name="Sign in with the code").click()
    page.wait_for_selector("[role=alert]:has-text('The server refuses at the moment')")
    page.unroute("**/auth/tokens")
    page.fill("#code", code.lower())
    page.press("#code", "Enter")
    page.wait_for_selector("h1:has-text('Today')")
    page.wait_for_selector('.kept[data-unsent="false"]:has-text("network")')

    page.goto("about:blank")  # a link elsewhere leads to the code of a stranger's login
    page.goto(f"{network.url}/table/#code={code_of_stranger}")
    page.wait_for_selector(f".hint:has-text('{taster.user.name} of {taster.team.name} is signed in on this phone')")
    page.get_by_role("button", name="Stay signed in").click()
    page.wait_for_selector(f"main p:has-text('{taster.user.name} · {taster.team.name}')")
    assert not DeviceToken.objects.filter(member=stranger.member, device__startswith="Leafspan").exists()
    page.close()


def test_member_who_only_reads_by_now_sees_what_of_theirs_was_not_taken(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        table.cut()
        start(table, "Mist Ridge")
        pour(table, steep_s=2, pour_s=2)
        table.rate("strength", 6)
        photograph(table)
        table.page.wait_for_selector(".photos img")
        table.tap(".undo button")
        table.page.wait_for_selector(".photos img", state="detached")
        photograph(table)
        taster.member.role = "viewer"
        taster.member.save()
        table.mend()
        table.page.wait_for_selector(".kept:has-text('4 not taken')")
        table.wait_sent()
        table.go("settings")
        table.page.wait_for_selector("#problems")
        refused = table.page.locator("#problems ~ .rows b").all_inner_texts()
        table.tap("button", text="Take all off this list")
        table.page.wait_for_selector("#problems", state="detached")
        table.go()
        table.page.wait_for_selector(".start p:has-text('Your role looks on')")
        assert ["403" in line for line in table.troubles] == [True]  # the photo; Chromium itself writes it
        table.troubles.clear()

    cup = "Mist Ridge · Infusion 1"
    assert refused == ["Mist Ridge", cup, f"{cup} · Strength · 6", f"{cup} · photo"]
    assert not Photo.objects.exists()


def test_app_says_that_the_browser_stores_nothing(browser, network, taster):
    page = browser.new_page(locale="en")
    page.add_init_script("indexedDB.open = () => { throw new DOMException('refused', 'SecurityError'); };")
    page.goto(f"{network.url}/table/")
    page.wait_for_selector("h1:has-text('This browser stores nothing for the app')")
    page.close()


def test_login_of_two_teams_chooses_and_each_team_has_its_own_notes(browser, network, taster, lexicon):
    other = TeamFactory(name="Lantern Room")
    MemberFactory(team=other, role="taster", user=taster.user)
    LotFactory(team=other, name="Fog Orchard")
    with table_of(browser, network, taster) as table:
        table.tap(".hint .chip", text="Lantern Room")
        table.page.wait_for_selector(".hint", state="detached")
        table.go("lots")
        table.page.wait_for_selector(".rows a:has-text('Fog Orchard')")
        table.cut()
        start(table, "Fog Orchard")
        kept = table.kept()
        table.go("settings")
        table.tap(".chip", text=taster.member.team.name)
        table.page.wait_for_selector('.kept[data-unsent="false"]')
        table.go("settings")
        table.tap(".chip", text="Lantern Room")
        table.page.wait_for_selector('.kept[data-unsent="true"]')
        assert table.kept() == kept > 0
        table.mend()
        table.wait_sent()
