"""The team page of lots and the page that compares some of them, as a signed-in member sees them."""

import re
from datetime import UTC, datetime, timedelta
from uuid import uuid4

import pytest
from django.utils import timezone

from tastings.actions.developments import refresh_development
from tastings.actions.lexicon import load_lexicon
from tastings.actions.panels import refresh_panel
from tastings.queries.lot_search import PER_PAGE
from tastings.wording.numbers import percent
from teams.models import Role
from tests.api.phone import sync
from tests.api.reported import forget_reports
from tests.api.test_development import session_of
from tests.api.world import undone
from tests.factories import NOON, LotFactory, MemberFactory, SessionFactory, TeamFactory, person, web_browser
from tests.pages.test_browser import HOSTILE, POLICY, Seen, report, without_token
from tests.pages.test_people import browser_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def browser(taster):
    client = web_browser()
    client.force_login(taster.user)
    return client


@pytest.fixture(scope="module")
def tasted(django_db_setup, django_db_blocker):
    """A taster with three tasted lots and one that was not; what a test does is undone with the test."""
    with django_db_blocker.unblock(), undone():
        load_lexicon()
        taster = person(TeamFactory(), Role.TASTER)
        yield taster, shelf_of(taster)


@pytest.fixture
def shelf(tasted, db):
    return tasted[1]


@pytest.fixture
def taster(request, db):
    """The taster of the shelf where a test has one, else of a team without lots."""
    if "shelf" in request.fixturenames:
        return request.getfixturevalue("tasted")[0]
    return person(TeamFactory(), Role.TASTER)


@pytest.fixture
def team(taster):
    return taster.team


@pytest.fixture(autouse=True)
def _nothing_cached(monkeypatch):
    forget_reports(monkeypatch)


def shelf_of(taster):
    made = {
        "Agate": LotFactory(team=taster.team, by=taster.user, name="Agate", kind="green", status="sample",
                            harvest_year=2024, price_per_kg=300, currency="EUR"),
        "Birch": LotFactory(team=taster.team, by=taster.user, name="Birch", kind="oolong", status="bought",
                            harvest_year=2025, price_per_kg=80, currency="EUR"),
        "Cedar": LotFactory(team=taster.team, by=taster.user, name="Cedar", kind="oolong", status="sample",
                            harvest_year=2025, price_per_kg=90, currency="CHF"),
        "Dusk": LotFactory(team=taster.team, by=taster.user, name="Dusk", kind="black"),
    }  # fmt: skip
    strengths = {"Agate": [5, 5, 5, 5], "Birch": [9, 8, 7, 6], "Cedar": [4, 2, 1, 1]}
    for i, (name, strength) in enumerate(strengths.items()):
        tasting = session_of(made[name].id, strength)
        tasting[0]["fields"]["started_at"] = f"{NOON + timedelta(days=i):%Y-%m-%dT%H:%M:%SZ}"
        sync(taster.client, tasting)
        refresh_development(made[name].id, now=datetime.now(UTC))
    return made


def names_in(answer):
    assert answer.status_code == 200
    return re.findall(r"<h2><a href=\"[^\"]+\"><bdi>(.+?)</bdi>", answer.content.decode())


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        ({"kind": "oolong"}, ["Birch", "Cedar"]),
        ({"status": "sample"}, ["Agate", "Cedar"]),
        ({"year": "2025"}, ["Birch", "Cedar"]),
        ({"year": "2025", "status": "sample", "q": "ced"}, ["Cedar"]),
        ({"kind": "<b>", "status": "x", "year": "x" * 99, "profile": "'", "sort": "--", "page": "-1"},
         ["Agate", "Birch", "Cedar", "Dusk"]),
        ({"page": "999999"}, ["Agate", "Birch", "Cedar", "Dusk"]),
        ({"year": "9999"}, []),
    ],
)  # fmt: skip
def test_lots_are_filtered(shelf, browser, asked, found):
    assert names_in(browser.get("/lots/", asked)) == found


def test_who_only_reads_is_offered_nothing_that_writes(shelf, taster, viewer):
    pages = [f"/lots/{shelf['Agate'].id}/report/", "/lots/"]
    offered = [
        [">Start tasting<" in browser_of(who).get(page).content.decode() for page in pages] for who in (taster, viewer)
    ]

    assert offered == [[True, True], [False, False]]


def test_lots_are_filtered_by_the_label_of_their_figures(shelf, taster, browser):
    labels = {
        name: taster.client.get(f"/api/v1/lots/{lot.id}/development").json()["profile"]["label"]
        for name, lot in shelf.items()
    }
    for label in ("build_up", "steady", "quick_fade", "undecided"):
        wanted = [name for name, its in labels.items() if its == label]
        assert names_in(browser.get("/lots/", {"profile": label})) == wanted
    assert labels["Dusk"] == "undecided"


@pytest.mark.parametrize(
    ("sort", "order"),
    [
        ("name", ["Agate", "Birch", "Cedar", "Dusk"]),
        ("tasted", ["Cedar", "Birch", "Agate", "Dusk"]),
        ("strength", ["Birch", "Agate", "Cedar", "Dusk"]),
        ("price", ["Cedar", "Birch", "Agate", "Dusk"]),  # CHF before EUR, without a price last
        ("liking", ["Agate", "Birch", "Cedar", "Dusk"]),  # nobody rated it
    ],
)
def test_lots_are_sorted(shelf, browser, sort, order):
    assert names_in(browser.get("/lots/", {"sort": sort})) == order


def test_lots_are_sorted_by_the_steeps_they_are_good_for(shelf, taster, browser):
    steeps = {
        name: taster.client.get(f"/api/v1/lots/{lot.id}/development").json()["steeps"]["recommended"]
        for name, lot in shelf.items()
    }
    order = sorted(steeps, key=lambda name: (steeps[name] is None, -(steeps[name] or 0), name))
    assert names_in(browser.get("/lots/", {"sort": "steeps"})) == order


def test_strength_shown_is_the_mean_of_the_cups_worth_drinking(shelf, taster, browser):
    figures = taster.client.get(f"/api/v1/lots/{shelf['Birch'].id}/development").json()
    worth = figures["steeps"]["recommended"]
    points = next(curve for curve in figures["curves"] if curve["descriptor"] == "strength")["points"][:worth]
    mean = sum(point["mean"] for point in points) / worth
    assert f"Strength {mean:.1f}" in Seen(browser.get("/lots/", {"q": "birch"}).content.decode()).text


def test_a_private_session_does_not_show_as_the_newest_tasting(taster, browser):
    lot = LotFactory(team=taster.team, by=taster.user)
    SessionFactory(lot=lot, by=taster.user, private=True, started_at=NOON + timedelta(days=3))
    assert "last tasted" not in browser.get("/lots/").content.decode()
    SessionFactory(lot=lot, by=taster.user)
    assert "last tasted on 4 March 2026" in browser.get("/lots/").content.decode()


@pytest.mark.parametrize("more", [0, 2])
@pytest.mark.parametrize("asked", [{}, {"sort": "strength", "profile": "undecided", "q": "lot"}])
def test_lots_page_takes_as_many_queries_for_one_lot_as_for_three(taster, more, asked, django_assert_num_queries):
    for i in range(1 + more):
        lot = LotFactory(team=taster.team, by=taster.user)
        if i != 1:
            refresh_development(lot.id, now=timezone.now())
    taster.client.get("/api/v1/me")
    with django_assert_num_queries(5):  # team; token with member; how many lots; a page; harvest years
        answer = taster.client.get("/lots/", asked)
    assert len(names_in(answer)) == 1 + more


def test_every_lot_stands_on_one_page(taster, browser):
    made = {LotFactory(team=taster.team, by=taster.user).name for _ in range(PER_PAGE + 3)}
    first, second, beyond = (browser.get("/lots/", {"sort": "steeps", "page": page}) for page in (1, 2, 3))
    assert (len(names_in(first)), len(names_in(second))) == (PER_PAGE, 3)
    assert {*names_in(first), *names_in(second)} == made
    assert names_in(beyond) == names_in(second)
    onward = re.search(r'rel="next" href="([^"]+)"', first.content.decode()).group(1).replace("&amp;", "&")
    assert names_in(browser.get(onward)) == names_in(second)


def test_ticked_lots_stay_ticked_when_one_looks_for_more(shelf, browser, stranger):
    foreign = LotFactory(team=stranger.team, by=stranger.user, name="Foreign")
    asked = {"lots": [shelf["Agate"].id, foreign.id], "q": "birch"}
    page = browser.get("/lots/", asked).content.decode()
    assert f'id="t-{shelf["Agate"].id}" name="lots" value="{shelf["Agate"].id}" checked' in page
    assert "Foreign" not in page
    assert str(foreign.id) not in page


def test_compared_lots_have_their_curves_and_probabilities(shelf, taster, browser):
    ids = [str(shelf[name].id) for name in ("Birch", "Cedar")]
    page = browser.get("/compare/", {"lots": ids})
    probability = taster.client.get("/api/v1/compare", {"lots": ",".join(ids)}).json()["pairs"][0]["probability"]
    text = " ".join(Seen(page.content.decode()).text.split())

    assert page.status_code == 200
    assert set(page["Content-Security-Policy"].split("; ")) == POLICY
    assert (
        f"Birch is stronger over the first 8 cups with {percent(probability['stronger'])} probability.".replace(
            "\u00a0", " "
        )
        in text
    )
    assert "Which of them is liked more cannot be told: it was not rated in both." in text
    assert page.content.decode().count("<svg") == 4  # a mark for each, the chart for desk and telephone
    assert without_token(browser.get(f"/compare/?lots={','.join(ids)}")) == without_token(page)


def test_compared_lots_have_the_figures_of_their_own_pages(shelf, taster):
    refresh_panel(taster.team.id, now=datetime.now(UTC))  # a finish line that the stored figures do not know yet
    ids = [str(shelf[name].id) for name in ("Birch", "Cedar")]
    groups = taster.client.get("/api/v1/compare", {"lots": ",".join(ids)}).json()["groups"]
    for group in groups:
        own = taster.client.get(f"/api/v1/lots/{group['name']}/development").json()
        assert {key: group[key] for key in ("profile", "steeps", "curves")} == {
            key: own[key] for key in ("profile", "steeps", "curves")
        }


def test_figures_behind_their_notes_are_compared_as_they_will_be_stored(shelf, taster):
    refresh_panel(taster.team.id, now=datetime.now(UTC))
    sync(taster.client, session_of(shelf["Birch"].id, [3, 2, 2, 1]))
    ids = [str(shelf[name].id) for name in ("Birch", "Cedar")]
    group = taster.client.get("/api/v1/compare", {"lots": ",".join(ids)}).json()["groups"][0]
    refresh_development(shelf["Birch"].id, now=datetime.now(UTC))
    own = taster.client.get(f"/api/v1/lots/{group['name']}/development").json()
    assert group["steeps"]["recommended"] == own["steeps"]["recommended"]
    means = [[point["mean"] for point in one["curves"][0]["points"]] for one in (group, own)]
    assert means[0] == pytest.approx(means[1], abs=0.001)


@pytest.mark.parametrize(("n", "why"), [(0, "none was ticked"), (1, "only one was ticked"), (7, "At most six")])
def test_too_few_or_too_many_lots_are_not_compared(taster, browser, n, why):
    lots = [str(LotFactory(team=taster.team, by=taster.user).id) for _ in range(n)]
    answer = browser.get("/compare/", {"lots": lots})
    assert (answer.status_code, why in answer.content.decode()) == (200, True)


def test_lots_of_two_teams_are_not_compared(taster, browser):
    second = MemberFactory(user=taster.user, team=TeamFactory())
    lots = [LotFactory(team=member.team, by=taster.user).id for member in (taster.member, second)]
    answer = browser.get("/compare/", {"lots": lots})
    assert (answer.status_code, "different teams" in answer.content.decode()) == (200, True)


def test_a_foreign_an_absent_and_no_lot_at_all_look_the_same_when_compared(shelf, browser, stranger):
    foreign = LotFactory(team=stranger.team, by=stranger.user)
    seen = [
        browser.get("/compare/", {"lots": [shelf["Agate"].id, other]})
        for other in (foreign.id, uuid4(), "no-id", "\x00")
    ]
    assert {answer.status_code for answer in seen} == {404}
    assert len({re.sub(r'value="\w+"', "", answer.content.decode()) for answer in seen}) == 1


@pytest.mark.parametrize("hostile", HOSTILE)
def test_hostile_names_stay_text_when_listed_ticked_and_compared(taster, browser, lexicon, hostile):
    lots = [LotFactory(team=taster.team, by=taster.user, name=hostile, region=hostile) for _ in range(2)]
    sync(taster.client, session_of(lots[0].id, [7, 6, 5]))
    refresh_development(lots[0].id, now=timezone.now())
    ids = [str(lot.id) for lot in lots]
    for address, asked in (
        ("/lots/", {"lots": ids, "q": "no such"}),
        ("/lots/", {"q": hostile}),
        ("/compare/", {"lots": ids}),
    ):
        answer = browser.get(address, asked)
        seen = Seen(answer.content.decode())
        assert (answer.status_code, hostile in seen.text) == (200, True)
        assert {"script", "style", "b", "img", "iframe"}.isdisjoint(seen.tags)
        assert [one for one in seen.attributes if one[1].startswith("on") or one[1] == "style"] == []


def test_who_is_not_signed_in_is_asked_to_before_comparing(client):
    assert client.get("/compare/?lots=x")["Location"] == "/sign-in/?next=/compare/%3Flots%3Dx"


def test_every_page_has_the_way_to_lots_flights_and_out(shelf, browser, taster):
    marked = {
        "/lots/": ("/lots/", "page"),
        report(shelf["Agate"].id): ("/lots/", "true"),
        f"/compare/?lots={shelf['Agate'].id},{shelf['Dusk'].id}": ("/lots/", "true"),
        "/flights/": ("/flights/", "page"),
        f"/flights/{uuid4()}/": ("/flights/", "true"),
    }
    for address, (section, value) in marked.items():
        page = browser.get(address).content.decode()
        assert re.findall(r'<a href="(\S+)" aria-current="(\w+)"', page) == [(section, value)], address
        assert {('<a href="/lots/"' in page), ('<a href="/flights/"' in page), ('action="/sign-out/"' in page)} == {
            True
        }
        assert f"Signed in as <bdi>{taster.user.username}</bdi>" in page
        assert page.index('class="skip"') < page.index("<nav") < page.index("<main")


def test_every_link_on_the_pages_leads_somewhere(shelf, browser):
    pages = ["/lots/", f"/compare/?lots={shelf['Agate'].id}&lots={shelf['Cedar'].id}", report(shelf["Agate"].id)]
    pages += ["/flights/", f"/lots/?lots={shelf['Agate'].id}&q=a", "/compare/", f"/flights/{uuid4()}/"]
    asked = set()
    for address in pages:
        attributes = Seen(browser.get(address).content.decode()).attributes
        asked |= {value for tag, name, value in attributes if (tag, name) == ("a", "href") and value.startswith("/")}
    # documents are made by a worker, and the addresses of fragments are within the page
    asked = {address for address in asked if not address.partition("?")[0].endswith((".pdf", ".png"))}
    assert {address: browser.get(address).status_code for address in asked} == dict.fromkeys(asked, 200)
    assert len(asked) > 10
