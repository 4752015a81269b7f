"""A report is served from the cache as long as its content is unchanged."""

from datetime import UTC, datetime

import pytest

from pages import reports as report_pages
from tastings.actions.developments import refresh_development
from tastings.actions.lexicon import load_lexicon
from tastings.figures import to_stored
from tastings.models import Descriptor, Development, Flight, FlightLot, Photo, Session, TeamPanel
from tastings.queries.cache import LRUCache
from tastings.queries.report_state import report_state
from teams.models import Role, Shop
from tests.api.phone import change, sync, verdict_names
from tests.api.reported import forget_reports, photo_of, tasted_lot
from tests.api.test_development import session_of
from tests.api.world import undone
from tests.factories import FlightFactory, LotFactory, ShopFactory, TeamFactory, next_revision, person, web_browser
from tests.tastings.reports.test_photos import AMBER


@pytest.fixture(scope="module")
def tasted(django_db_setup, django_db_blocker):
    """A lot and the taster who tasted it; what a test does is undone with the test."""
    with django_db_blocker.unblock(), undone():
        load_lexicon()
        taster = person(TeamFactory(), Role.TASTER)
        yield tasted_lot(taster), taster


@pytest.fixture
def lot(tasted, db):
    tasted[0].refresh_from_db()
    return tasted[0]


@pytest.fixture
def taster(tasted, db):
    tasted[1].member.refresh_from_db()
    return tasted[1]


@pytest.fixture
def browser(taster):
    found = web_browser()
    found.force_login(taster.user)
    return found


@pytest.fixture(autouse=True)
def _nothing_cached(monkeypatch):
    forget_reports(monkeypatch)


@pytest.fixture(autouse=True)
def _photos(settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path / "photos", 0


def names_a_login(taster, lot):
    type(taster.user).objects.filter(id=taster.user.id).update(name="Renamed Person")


def names_the_shop(taster, lot):
    Session.objects.filter(lot=lot).update(shop=taster.member.shop)
    next_revision(taster.team)
    taster.client.get(f"/lots/{lot.id}/report/")
    Shop.objects.filter(id=taster.member.shop_id).update(name="Renamed Shop")


def moves_to_another_shop(taster, lot):
    Session.objects.filter(lot=lot).update(shop=taster.member.shop)
    next_revision(taster.team)
    taster.client.get(f"/lots/{lot.id}/report/")
    taster.member.shop = ShopFactory(team=taster.team, name="Other Shop")
    taster.member.save()


def chooses_another_time_zone(taster, lot):
    late = datetime(2026, 3, 4, 23, 30, tzinfo=UTC)
    Session.objects.filter(lot=lot).update(started_at=late, revision=next_revision(taster.team))
    taster.client.get(f"/lots/{lot.id}/report/")
    type(taster.team).objects.filter(id=taster.team.id).update(time_zone="Asia/Taipei")


def changes_the_lot(taster, lot):
    taster.client.patch(f"/api/v1/lots/{lot.id}/", {"region": "Far Hills"})


def pushes_a_session(taster, lot):
    sync(taster.client, session_of(lot.id, [6, 6, 6]))


def computes_the_figures(taster, lot):
    pushes_a_session(taster, lot)
    taster.client.get(f"/lots/{lot.id}/report/")
    refresh_development(lot.id, now=datetime.now(UTC))


def fails_to_compute(taster, lot):
    Development.objects.filter(lot_id=lot.id).update(failure="MemoryError")


def learns_how_its_tasters_agree(taster, lot):
    agreement = {"tasters": ["a", "b"], "lots": 4, "single": 0.51, "mean": 0.68, "w": 0.72}
    figures = {"strength": {"agreement": agreement, "tasters": {}}}
    TeamPanel.objects.update_or_create(
        team=taster.team, defaults={"figures": figures, "computed_at": datetime.now(UTC)}
    )


def hides_a_session(taster, lot):
    [session] = taster.client.get(f"/api/v1/sessions/?lot={lot.id}").json()["results"]
    taster.client.patch(f"/api/v1/sessions/{session['id']}/", {"private": True})


def renames_a_descriptor(taster, lot):
    word = change("descriptor", key="honeyed", label="Honey of the hills", rated_each_infusion=True)
    tasting = session_of(lot.id, [6])
    mouth = {"moment": "mouth", "descriptor": "honeyed", "intensity": 7}
    note = change("note", session=tasting[0]["id"], infusion=tasting[1]["id"], **mouth)
    sync(taster.client, [word, *tasting, note])
    refresh_development(lot.id, now=datetime.now(UTC))
    taster.client.get(f"/lots/{lot.id}/report/")
    taster.client.patch(f"/api/v1/descriptors/{word['id']}/", {"label": "Comb honey"})


def renames_a_built_in_descriptor(taster, lot):
    Descriptor.objects.filter(team=None, key="strength").update(label="Power", updated_at=datetime.now(UTC))


def adds_a_photo(taster, lot):
    return photo_of(taster, lot=lot)[0]


def adds_a_photo_of_a_session(taster, lot):
    return photo_of(taster, session=Session.objects.get(lot=lot))[0]


def finds_the_colour_of_a_photo(taster, lot):
    photo = adds_a_photo(taster, lot)
    taster.client.get(f"/lots/{lot.id}/report/")
    Photo.objects.filter(id=photo.id).update(colour=to_stored(AMBER))


def removes_a_photo(taster, lot):
    photo = adds_a_photo(taster, lot)
    taster.client.get(f"/lots/{lot.id}/report/")
    taster.client.delete(f"/api/v1/photos/{photo.id}/")


def shows_the_sample_it_was_bought_on(taster, lot):
    sample = LotFactory(team=taster.team, by=taster.user, name="First sample")
    type(lot).objects.filter(id=lot.id).update(from_lot=sample, revision=next_revision(taster.team))
    taster.client.get(f"/lots/{lot.id}/report/")
    type(lot).objects.filter(id=sample.id).update(name="Renamed sample")


def was_bought_again(taster, lot):
    LotFactory(team=taster.team, by=taster.user, name="Autumn chest", from_lot=lot)


def is_placed_in_a_flight(taster, lot):
    flight = FlightFactory(team=taster.team, by=taster.user, name="Spring choice")
    FlightLot.objects.create(flight=flight, team=taster.team, lot=lot)
    taster.client.get(f"/lots/{lot.id}/report/")
    Flight.objects.filter(id=flight.id).update(state="revealed", revealed_at=datetime.now(UTC))


def is_joined_by_another_harvest(taster, lot):
    type(lot).objects.filter(id=lot.id).update(
        producer="Mill Stream", kind="oolong", harvest_year=2026, revision=next_revision(taster.team)
    )
    taster.client.get(f"/lots/{lot.id}/report/")
    LotFactory(
        team=taster.team, by=taster.user, name="Last year", producer="mill-stream", kind="oolong", harvest_year=2025
    )


CHANGES = [
    names_a_login, names_the_shop, moves_to_another_shop, chooses_another_time_zone, changes_the_lot,
    pushes_a_session, computes_the_figures,
    fails_to_compute, learns_how_its_tasters_agree, hides_a_session, renames_a_descriptor,
    renames_a_built_in_descriptor, adds_a_photo, adds_a_photo_of_a_session, finds_the_colour_of_a_photo,
    removes_a_photo, shows_the_sample_it_was_bought_on, was_bought_again, is_placed_in_a_flight,
    is_joined_by_another_harvest,
]  # fmt: skip


@pytest.mark.parametrize("change_report", CHANGES)
def test_page_is_rendered_again_when_its_content_changes(taster, browser, lot, monkeypatch, change_report):
    page, before = f"/lots/{lot.id}/report/", []
    monkeypatch.setattr(report_pages, "render_around", lambda article, **_: before.append(article) or article)
    assert browser.get(page).content == browser.get(page).content == taster.client.get(page).content
    assert before[0] is before[1] is before[2]  # cached, not rendered again

    change_report(taster, lot)
    last = before[-1]
    after = browser.get(page).content.decode()
    assert after == taster.client.get(page).content.decode()
    for cache in ("_by_state", "_by_content"):
        monkeypatch.setattr(report_pages, cache, LRUCache(9))
    assert after == browser.get(page).content.decode()
    assert after != last


def test_unchanged_report_is_served_from_cache(taster, browser, lot, monkeypatch):
    page = f"/lots/{lot.id}/report/"
    first, seen = taster.client.get(page).content, browser.get(page).content

    def read(*_, **__):
        raise AssertionError("read again")

    monkeypatch.setattr(report_pages, "report_content", read)
    assert (taster.client.get(page).content, "Mist Ridge" in first.decode()) == (first, True)
    assert article_of(browser.get(page)) == article_of(seen) != ""


def test_push_to_another_lot_reads_nothing_again(taster, browser, lot, monkeypatch):
    page, other = f"/lots/{lot.id}/report/", LotFactory(team=taster.team, by=taster.user)
    tasting = session_of(other.id, [6, 5])
    sync(taster.client, tasting)
    seen = browser.get(page)

    def read(*_, **__):
        raise AssertionError("read again")

    monkeypatch.setattr(report_pages, "report_content", read)
    further = change("infusion", session=tasting[0]["id"], number=3, steep_s=40)
    assert verdict_names(sync(taster.client, [further])) == ["applied"]
    taster.client.patch(f"/api/v1/lots/{other.id}/", {"region": "Far Hills"})
    assert article_of(browser.get(page)) == article_of(seen) != ""


def article_of(page):
    """Return the report without the page around it, which has a form token of its own each time."""
    text = getattr(page, "content", page).decode()
    return text[text.find("<article") : text.find("</article>")]


def test_cached_page_is_closed_to_former_members_and_outsiders(taster, browser, stranger, lot):
    page = f"/lots/{lot.id}/report/"
    other = web_browser()
    other.force_login(stranger.user)
    assert browser.get(page).status_code == 200
    assert other.get(page).status_code == 404
    taster.member.left_at = datetime.now(UTC)
    taster.member.save()
    assert browser.get(page).status_code == 404


def test_page_is_rendered_again_on_another_day(taster, lot, monkeypatch):
    read, days = report_pages.report_content, []
    monkeypatch.setattr(
        report_pages, "report_content", lambda *a, today, own: days.append(today.day) or read(*a, today=today)
    )
    for day in (10, 10, 11):
        monkeypatch.setattr(report_pages.timezone, "now", lambda day=day: datetime(2026, 4, day, 12, tzinfo=UTC))
        taster.client.get(f"/lots/{lot.id}/report/")
    assert days == [10, 11]


@pytest.mark.parametrize(("roast", "changes"), [("dark", True), ("light", False)])
def test_figures_of_another_lot_of_the_same_roast_change_the_state(taster, lot, roast, changes):
    """They say under which roast the team likes a tea of that degree."""
    today = datetime.now(UTC).date()
    type(lot).objects.filter(id=lot.id).update(roasted_on=today, roast="dark")
    other = LotFactory(team=taster.team, by=taster.user, roast=roast)
    now = datetime.now(UTC)
    before = report_state(taster.member, lot.id, now=now)

    Development.objects.update_or_create(lot=other, team=taster.team, defaults={"computed_at": datetime.now(UTC)})

    assert (report_state(taster.member, lot.id, now=now) != before) == changes
