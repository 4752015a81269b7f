"""Moments on pages by the clock of the team, in both directions; the missing and the repeated hour of Berlin.

In 2026 the clocks of Berlin go forward on 29 March and back on 25 October (Directive 2000/84/EC).
"""

import re
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from django.utils import timezone

from pages import reports as report_pages
from tastings.models import Session
from teams.models import AuditEntry, Team
from tests.api.records import Place
from tests.api.reported import tasted_lot
from tests.factories import LotFactory, web_browser
from tests.pages.test_links import REPORT, addresses, links
from tests.pages.test_records import browser_of, form_on, page_of

pytestmark = pytest.mark.usefixtures("lexicon")

LATE = datetime(2026, 3, 4, 23, 30, tzinfo=UTC)
"""The next day in Berlin and Taipei, the same day in New York."""


@pytest.fixture
def berlin(team):
    move(team, "Europe/Berlin")


def move(team, zone):
    Team.objects.filter(id=team.id).update(time_zone=zone)


def session_at(place, at):
    Session.objects.filter(id=place.session.id).update(started_at=at)
    return page_of("session", place.session.id)


def stored(place):
    return Session.objects.get(id=place.session.id).started_at


def typed(browser, address, text):
    return browser.post(address, form_on(browser.get(address)) | {"started_at": text})


@pytest.mark.parametrize("zone", ["Europe/Berlin", "America/New_York", "Asia/Kathmandu", "Australia/Lord_Howe", "UTC"])
@pytest.mark.parametrize(
    "at", [LATE, LATE.replace(microsecond=123456), datetime(2026, 10, 25, 0, 30, tzinfo=UTC),
           datetime(2026, 10, 25, 1, 30, 7, tzinfo=UTC), datetime(1, 1, 1, 0, 5, tzinfo=UTC)]
)  # fmt: skip
def test_form_sent_back_unchanged_keeps_the_moment_to_the_microsecond(taster, zone, at):
    place = Place(taster)
    move(taster.team, zone)
    browser, address = browser_of(taster), session_at(place, at)
    browser.post(address, form_on(browser.get(address)) | {"remarks": "one more word"})

    assert (stored(place), Session.objects.get(id=place.session.id).remarks) == (at, "one more word")


def test_time_is_shown_and_read_by_the_clock_of_the_team(taster, berlin):
    place = Place(taster)
    browser, address = browser_of(taster), session_at(place, LATE)
    page = browser.get(address)

    assert form_on(page)["started_at"] == "2026-03-05T00:30"
    assert "Time in Europe/Berlin" in page.content.decode()
    assert typed(browser, address, "2026-07-04T12:00").status_code == 302
    assert stored(place) == datetime(2026, 7, 4, 10, tzinfo=UTC)


def test_form_that_was_open_while_the_zone_changed_means_what_it_showed(taster, berlin):
    place = Place(taster)
    browser, address = browser_of(taster), session_at(place, LATE)
    sent = form_on(browser.get(address))
    move(taster.team, "Asia/Taipei")
    browser.post(address, sent | {"remarks": "later"})
    assert stored(place) == LATE
    browser.post(address, sent | {"started_at": "2026-03-05T01:30", "revision": ""})
    assert stored(place) == LATE + timedelta(hours=1)


def test_missing_hour_is_refused_beside_its_field(taster, berlin):
    place = Place(taster)
    browser, address = browser_of(taster), session_at(place, LATE)
    refused = typed(browser, address, "2026-03-29T02:30")
    page = refused.content.decode()

    assert (refused.status_code, stored(place)) == (422, LATE)
    assert re.search(r'id="id_started_at_error">This time does not exist in Europe/Berlin: the clocks were', page)
    assert 'value="2026-03-29T02:30"' in page
    assert typed(browser, address, "2026-03-29T03:00").status_code == 302
    assert stored(place) == datetime(2026, 3, 29, 1, tzinfo=UTC)


@pytest.mark.parametrize(
    ("stands_utc_hour", "expected_utc_hour"),
    [(22, 0), (0, 0), (1, 1)],
    ids=["the first of two", "stays in the first", "stays in the second"],
)
def test_repeated_hour_means_the_first_unless_the_second_stood_there(
    taster, berlin, stands_utc_hour, expected_utc_hour
):
    place = Place(taster)
    day = datetime(2026, 10, 25, tzinfo=UTC)
    browser, address = browser_of(taster), session_at(place, day.replace(hour=stands_utc_hour, minute=30))
    typed(browser, address, "2026-10-25T02:45")

    assert stored(place) == day.replace(hour=expected_utc_hour, minute=45)


def test_times_of_the_repeated_hour_name_summer_or_winter(owner, berlin):
    owner_browser = browser_of(owner)
    for hour in (0, 1, 2):
        at = datetime(2026, 10, 25, hour, 30, tzinfo=UTC)
        AuditEntry.objects.create(team=owner.team, at=at, what="sign_in", who=owner.user)
    page = owner_browser.get("/team/audit/?what=sign_in").content.decode()

    assert [re.search(rf">{time} ?<", page) is not None for time in ("02:30 CEST", "02:30 CET", "03:30")] == [True] * 3
    assert "Times are those of Europe/Berlin." in page


@pytest.mark.parametrize("text", ["soon", "2026-03-04", "2026-03-04T10:00Z", "9999-12-31T23:59", "2026-13-01T10:00"])
def test_what_is_no_time_is_refused_beside_its_field(taster, text):
    place = Place(taster)
    move(taster.team, "America/New_York")
    refused = typed(browser_of(taster), session_at(place, LATE), text)

    assert (refused.status_code, stored(place)) == (422, LATE)
    assert 'id="id_started_at_error"' in refused.content.decode()


def test_new_session_begins_now_on_the_clock_of_the_team(taster, berlin, monkeypatch):
    lot = LotFactory(team=taster.team, by=taster.user)
    monkeypatch.setattr(timezone, "now", lambda: LATE)
    browser, address = browser_of(taster), f"/records/session/new/?lot={lot.id}"
    sent = form_on(browser.get(address)) | {"leaf_g": "5", "vessel_ml": "110"}
    browser.post(address, sent)

    assert (sent["started_at"], Session.objects.get().started_at) == ("2026-03-05T00:30", LATE)


def test_history_and_links_show_local_times_and_name_the_zone_once(owner, berlin):
    place, browser = Place(owner), browser_of(owner)
    browser.post(session_at(place, LATE), {"do": "delete"})
    browser.post(page_of("session", place.session.id, "history/"), {"field": "deleted"})
    history = browser.get(page_of("session", place.session.id, "history/")).content.decode()
    browser.post(links(place.lot), REPORT)
    given = browser.get(links(place.lot)).content.decode()
    now = datetime.now(ZoneInfo("Europe/Berlin"))

    assert "5 March 2026, 00:30" in history
    assert f"made on {now.day} {now:%B %Y} at " in given
    assert [page.count("Times are those of Europe/Berlin.") for page in (history, given)] == [1, 1]
    assert [" UTC" in page for page in (history, given)] == [False, False]


def test_report_is_written_anew_when_the_zone_changes(owner):
    lot = tasted_lot(owner)
    Session.objects.filter(lot=lot).update(started_at=LATE)
    browser = browser_of(owner)
    shown = []
    for zone in ("UTC", "Asia/Taipei", "America/New_York", "UTC"):
        browser.post("/team/settings/", {"name": owner.team.name, "ready_roast": "3", "time_zone": zone})
        page = browser.get(f"/lots/{lot.id}/report/").content.decode()
        shown.append(re.findall(r"(?<!\d)([45]) March 2026", page)[:1])

    assert shown == [["4"], ["5"], ["4"], ["4"]]


def test_link_shows_the_days_of_the_team_that_gave_it(owner, berlin):
    lot = tasted_lot(owner)
    Session.objects.filter(lot=lot).update(started_at=LATE)
    given = browser_of(owner).post(links(lot), REPORT | {"names": "on"}, follow=True)
    [address] = addresses(given.content.decode())

    assert "5 March 2026" in web_browser().get(address).content.decode()
    assert timezone.get_current_timezone_name() == "UTC"


def test_today_is_that_of_the_team(owner, berlin, monkeypatch):
    """Half past eleven in the evening in Greenwich is tomorrow in Berlin."""
    lot, days, read = tasted_lot(owner), [], report_pages.report_content
    monkeypatch.setattr(
        report_pages, "report_content", lambda *a, today, own: days.append(today.day) or read(*a, today=today, own=own)
    )
    monkeypatch.setattr(report_pages.timezone, "now", lambda: LATE)
    browser_of(owner).get(f"/lots/{lot.id}/report/")

    assert days == [5]


def test_api_and_the_zone_of_other_requests_stay_in_utc(owner, berlin):
    place = Place(owner)
    address = session_at(place, LATE)
    browser_of(owner).get(address)
    answer = owner.client.get(f"/api/v1/sessions/{place.session.id}/").json()

    assert answer["started_at"] == "2026-03-04T23:30:00Z"
    assert timezone.get_current_timezone_name() == "UTC"


def test_settings_offer_places_by_continent_and_refuse_another_beside_the_field(owner):
    browser = browser_of(owner)
    sent = {"name": "Kettle & Bowl", "ready_roast": "3"}
    page = browser.get("/team/settings/").content.decode()
    refused = browser.post("/team/settings/", sent | {"time_zone": "Mars/Olympus"})
    stands = Team.objects.get(id=owner.team.id).time_zone
    browser.post("/team/settings/", sent | {"time_zone": "America/Argentina/Buenos_Aires"})
    chosen = browser.get("/team/settings/").content.decode()

    assert '<optgroup label="Europe">' in page
    assert '<option value="UTC" selected>UTC</option>' in page
    assert refused.status_code == 200
    assert 'id="id_time_zone_error">There is no time zone of this name' in refused.content.decode()
    assert stands == "UTC"
    assert '<option value="America/Argentina/Buenos_Aires" selected>Argentina/Buenos Aires</option>' in chosen
    assert "clock of America/Argentina/Buenos Aires" in browser.get("/team/").content.decode()


def test_first_team_may_choose_its_zone(db, settings):
    settings.START_CODE = "printed-at-the-start"
    first = {"name": "Kettle & Lid", "shop": "Harbour", "username": "Ilva", "password": "two leaves and a bud"}
    web_browser().post("/start/printed-at-the-start/", first | {"time_zone": "Asia/Taipei"})

    assert Team.objects.get().time_zone == "Asia/Taipei"


def test_spreadsheet_is_read_by_the_clock_of_the_team(owner, berlin):
    rows = "lot;kind;session;datum;leaf_g;vessel_ml;number;steep_s;kettle_c\nRidge;oolong;a;{at};5;110;1;15;98\n"
    browser = browser_of(owner)
    browser.post("/team/import/", {"text": rows.format(at="4.7.2026 12:00"), "do": "import"})
    missing = browser.post("/team/import/", {"text": rows.format(at="29.3.2026 2:30"), "do": "check"})

    assert Session.objects.get().started_at == datetime(2026, 7, 4, 10, tzinfo=UTC)
    assert "What is wrong" in missing.content.decode()
    assert "Times are those of Europe/Berlin." in browser.get("/team/import/").content.decode()


def test_zone_and_its_errors_are_said_in_german(taster, berlin):
    place = Place(taster)
    browser = browser_of(taster)
    browser.defaults["HTTP_ACCEPT_LANGUAGE"] = "de"
    address = session_at(place, LATE)
    refused = typed(browser, address, "2026-03-29T02:30").content.decode()
    history = browser.get(f"{address}history/").content.decode()

    assert "Diese Zeit gibt es in Europe/Berlin nicht" in refused
    assert "Uhrzeiten sind die von Europe/Berlin." in history
