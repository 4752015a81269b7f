"""Flights in the browser: set up, changed, scored by code, revealed, decided; in one team for the whole module."""

import re
from types import SimpleNamespace

import pytest
from django.db import transaction
from django.utils import timezone

from lots.models import Lot
from tastings.actions.flights.answering import answer_flight
from tastings.actions.flights.planning import plan_flight
from tastings.actions.lexicon import load_lexicon
from tastings.models import Flight, Note, Session
from tastings.queries.flights import events_of
from teams.errors import NotAllowed
from teams.models import AuditEntry, Role
from tests.factories import LotFactory, TeamFactory, person, web_browser
from tests.flights import taste

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker):
    """A team with a buyer, a pourer, three tasters, a viewer and six samples of two suppliers."""
    with django_db_blocker.unblock(), transaction.atomic():
        load_lexicon()
        team = TeamFactory()
        people = {name: person(team, Role.TASTER) for name in ("pourer", "one", "two", "three")}
        people |= {"buyer": person(team, Role.BUYER), "viewer": person(team, Role.VIEWER)}
        lots = [
            LotFactory(team=team, by=people["buyer"].user, status="sample", name=f"Sample {i}",
                       supplier="North Hill" if i < 4 else "River House", harvest_year=2026, harvest_season="spring")
            for i in range(6)
        ]  # fmt: skip
        LotFactory(team=team, by=people["buyer"].user, status="bought", name="Old stock")
        yield SimpleNamespace(team=team, lots=lots, **people)
        transaction.set_rollback(True)


@pytest.fixture(autouse=True)
def _undone(world):
    with transaction.atomic():
        yield
        transaction.set_rollback(True)


def browser_of(who):
    browser = web_browser()
    browser.force_login(who.user)
    return browser


def wanted(world, **other):
    """Return what the form of a new flight sends."""
    parts = {f"part-{one.user.id}": "tastes" for one in (world.one, world.two, world.three)}
    parts[f"part-{world.pourer.user.id}"] = "pours"
    lots = [str(lot.id) for lot in world.lots]
    return {"name": "Spring samples", "lots": lots, "cups_per_sitting": "6", "do": "make", **parts, **other}


def text_of(answer):
    return re.sub(r"\s+", " ", answer.content.decode())


def set_up(world, **other):
    """Set a flight up in the browser and plan it as a worker would; return it."""
    answer = browser_of(world.buyer).post("/flights/new/", wanted(world, **other))
    assert answer.status_code == 302, text_of(answer)
    flight = Flight.objects.get(id=answer["Location"].split("/")[2])
    assert plan_flight(flight.id, now=timezone.now())
    flight.refresh_from_db()
    return flight


def test_plan_is_shown_before_anything_is_stored(world):
    answer = browser_of(world.buyer).post("/flights/new/", wanted(world, do="plan"))
    text = text_of(answer)

    assert answer.status_code == 200
    assert all(str(one.user) in text for one in (world.one, world.two, world.three))
    assert ": 6 cups each." in text
    assert "Every sample is poured 3 times." in text
    assert not Flight.objects.exists()


def test_somebody_who_left_has_no_part_to_choose(world):
    type(world.three.member).objects.filter(id=world.three.member.id).update(left_at=timezone.now())
    text = text_of(browser_of(world.buyer).get("/flights/new/"))

    assert f'name="part-{world.two.user.id}"' in text
    assert f'name="part-{world.three.user.id}"' not in text


def test_protocol_of_another_kind_of_tea_is_warned_of_beside_its_choice(world):
    page = browser_of(world.buyer).post("/flights/new/", wanted(world, do="find"))
    Lot.objects.filter(id=world.lots[0].id).update(kind="green")
    greens = browser_of(world.buyer).post("/flights/new/", wanted(world, do="find"))
    other = browser_of(world.buyer).post("/flights/new/", wanted(world, do="find", protocol="standard_bowl"))
    warning = "is made for oolong; among the samples is: Green tea."

    assert [warning in text_of(one) for one in (page, greens, other)] == [False, True, False]
    assert '<details class="fold" open>' in greens.content.decode()
    assert "Suggested weights by kind of tea (after GB/T 23776, from memory); change them as you need." in text_of(page)


def test_samples_of_a_supplier_are_added_at_once_and_nothing_typed_is_lost(world):
    sent = wanted(world, do="add", lots=[str(world.lots[5].id)], supplier="North Hill", remarks="For the window")
    text = text_of(browser_of(world.buyer).post("/flights/new/", sent))
    ticked = re.findall(r'name="lots" value="([^"]*)" checked', text)

    assert set(ticked) == {str(world.lots[i].id) for i in (0, 1, 2, 3, 5)}
    assert "For the window</textarea>" in text
    assert 'value="tastes" selected' in text
    assert "Old stock</bdi>" not in text


def test_flight_is_set_up_with_all_that_the_api_takes(world):
    lots = [str(lot.id) for lot in world.lots]
    more = {
        f"place-{lots[2]}": "1", f"place-{lots[0]}": "2", "weights_for": "own", "remarks": "One for the window",
        "protocol": "small_pot", "infusions": "5", "sittings": "2", "repeats": "1",
        **dict(zip((f"weight_{name}_pct" for name in ("dry_leaf", "liquor_colour", "aroma", "taste", "spent_leaf")),
                   ("20", "12,5", "27,5", "30", "10"), strict=True)),
    }  # fmt: skip
    flight = set_up(world, **more)
    stored = world.buyer.client.get(f"/api/v1/flights/{flight.id}/").json()

    assert (stored["protocol"], stored["infusions"], stored["sittings"], stored["repeats"]) == ("small_pot", 5, 2, 1)
    assert (stored["expected_order"], stored["remarks"]) == ([lots[2], lots[0]], "One for the window")
    assert (stored["weight_liquor_colour_pct"], stored["pourers"]) == (12.5, [str(world.pourer.user.id)])
    assert len(stored["tasters"]) == 3


def test_form_sent_twice_makes_one_flight_and_sent_again_with_changes_another(world):
    browser = browser_of(world.buyer)
    [new] = re.findall(r'name="new" value="([0-9a-f-]{36})"', browser.get("/flights/new/").content.decode())
    answers = [browser.post("/flights/new/", wanted(world, new=new, name=name)) for name in ("One", "One", "Two")]

    assert [answer.status_code for answer in answers] == [302, 302, 302]
    assert sorted(Flight.objects.filter(name__in=["One", "Two"]).values_list("name", flat=True)) == ["One", "Two"]
    assert answers[0]["Location"] == answers[1]["Location"] == f"/flights/{new}/"


def test_errors_stand_beside_their_fields_and_nothing_is_made(world):
    sent = wanted(world, cups_per_sitting="many", lots=[str(world.lots[0].id)], name="", weights_for="own")
    answer = browser_of(world.buyer).post("/flights/new/", sent)
    text = text_of(answer)

    assert answer.status_code == 422
    for field in ("name", "cups_per_sitting"):
        assert f'id="id_{field}_error"' in text
    assert re.search(r'id="lots">.{0,200}class="wrong">Choose 2 to 60 samples\.</p>', text)
    assert 'href="#id_cups_per_sitting"' in text
    assert 'value="many"' in text
    assert not Flight.objects.exists()


def test_ill_taster_and_spilled_sample_go_and_the_page_says_who_changed_it(world):
    flight = set_up(world)
    browser, address = browser_of(world.buyer), f"/flights/{flight.id}/change/"
    cup = world.one.client.get(f"/api/v1/flights/{flight.id}/").json()["cups"][0]
    taste(world.one, cup, liking=6)
    form = browser.get(address).content.decode()
    base = re.search(r'name="base" value="(\w+)"', form).group(1)
    sent = wanted(world, lots=[str(lot.id) for lot in world.lots[:5]], base=base)
    sent[f"part-{world.three.user.id}"] = ""
    sent[f"part-{world.buyer.user.id}"] = "pours"
    assert browser.post(address, sent).status_code == 302
    flight.refresh_from_db()
    assert plan_flight(flight.id, now=timezone.now())
    stored = world.buyer.client.get(f"/api/v1/flights/{flight.id}/").json()
    events = AuditEntry.objects.filter(team=world.team, about__flight=str(flight.id)).values_list("what", flat=True)
    text = text_of(browser.get(f"/flights/{flight.id}/"))

    assert (len(stored["lots"]), len(stored["tasters"]), stored["progress"]["tasted"]) == (5, 2, 1)
    assert set(events) == {"pourers_change", "tasters_change", "samples_change"}
    for words in ("Changed who tastes a flight", f"removed: <bdi>{world.three.user}", "removed: <bdi>Sample 5"):
        assert words in text
    assert "Changed who tastes a flight" not in text_of(browser_of(world.one).get(f"/flights/{flight.id}/"))
    with pytest.raises(NotAllowed):
        events_of(world.one.member, flight.id)


def test_change_that_somebody_overtook_is_shown_again(world):
    flight = set_up(world)
    browser, address = browser_of(world.buyer), f"/flights/{flight.id}/change/"
    base = re.search(r'name="base" value="(\w+)"', browser.get(address).content.decode()).group(1)
    world.buyer.client.patch(f"/api/v1/flights/{flight.id}/", {"repeats": 1})
    sent = wanted(world, base=base, name="Renamed")
    first = browser.post(address, sent)
    flight.refresh_from_db()
    again = re.search(r'name="base" value="(\w+)"', first.content.decode()).group(1)

    assert (first.status_code, flight.repeats, flight.name) == (422, 1, "Spring samples")
    assert re.search(r'id="id_repeats_error">Now: 1<', first.content.decode())
    assert browser.post(address, sent | {"base": again}).status_code == 302


def test_flight_is_called_off_while_nothing_was_tasted(world):
    flight = set_up(world)
    browser, address = browser_of(world.buyer), f"/flights/{flight.id}/call-off/"
    assert f'<a href="{address}">Call the flight off</a>' in page_of(world.buyer, flight, "change/")
    asked = browser.get(address)
    flight.refresh_from_db()
    assert (asked.status_code, flight.state) == (200, "tasting")
    assert browser.post(address)["Location"] == f"/flights/{flight.id}/"
    flight.refresh_from_db()
    assert (flight.state, AuditEntry.objects.filter(what="flight_called_off").count()) == ("called_off", 1)
    assert [browser.get(f"/flights/{flight.id}/{rest}/").status_code for rest in ("change", "call-off")] == [409, 409]


def test_flight_is_called_off_by_who_decides_alone_and_not_once_it_is_tasted(world):
    flight = set_up(world)
    address = f"/flights/{flight.id}/call-off/"
    assert browser_of(world.one).post(address).status_code == 403
    cups = cups_of(world.one, flight)
    browser_of(world.one).post(f"/flights/{flight.id}/scores/", scores_for(cups, ["7"]))
    assert browser_of(world.buyer).get(address).status_code == 409
    assert browser_of(world.buyer).post(address).status_code == 409


def test_called_off_flight_asks_for_no_scores(world):
    flight = set_up(world)
    assert 'class="record scores"' in page_of(world.one, flight, "scores/")
    browser_of(world.buyer).post(f"/flights/{flight.id}/call-off/")
    page = page_of(world.one, flight, "scores/")
    assert ('class="record scores"' in page, "The flight is called off" in page) == (False, True)


def test_page_asks_again_by_itself_while_the_plan_is_made_and_no_longer(world):
    answer = browser_of(world.buyer).post("/flights/new/", wanted(world))
    flight = Flight.objects.get(id=answer["Location"].split("/")[2])
    # named, since the address of a page that was just saved ends in #content, and a part of a page is not asked for
    refresh = f'<meta http-equiv="refresh" content="3; url=/flights/{flight.id}/">'
    assert refresh in page_of(world.buyer, flight)
    plan_flight(flight.id, now=timezone.now())
    assert refresh not in page_of(world.buyer, flight)


def page_of(who, flight, rest=""):
    return text_of(browser_of(who).get(f"/flights/{flight.id}/{rest}"))


def cups_of(who, flight):
    return who.client.get(f"/api/v1/flights/{flight.id}/").json()["cups"]


def scores_for(cups, points, **other):
    """Return what a taster's page of scores sends: a strength and a liking for each cup."""
    sent = {"leaf_g": "5", "vessel_ml": "110", **other}
    for cup, liking in zip(cups, points, strict=False):
        sent |= {f"{cup['code']}-strength": "5", f"{cup['code']}-liking": liking}
    return sent


def test_taster_enters_scores_by_code_in_the_order_of_serving(world):
    flight = set_up(world)
    cups, browser, address = cups_of(world.one, flight), browser_of(world.one), f"/flights/{flight.id}/scores/"
    shown = text_of(browser.get(address))
    codes = [str(cup["code"]) for cup in cups]
    sent = scores_for(cups, ["6,5", "7", "3.2"]) | {f"{codes[0]}-words": "honey, then stone"}
    answer = browser.post(address, sent, follow=True)
    again = browser.post(address, sent)
    sessions = list(Session.objects.filter(taster=world.one.user).order_by("started_at"))
    likings = Note.objects.filter(descriptor__key="liking").order_by("session__started_at")

    assert re.findall(r'class="code">(\d+)<', shown) == codes
    assert not [lot.name for lot in world.lots if lot.name in shown]
    assert (answer.status_code, again.status_code) == (200, 302)
    assert "3 of 6 cups are noted." in text_of(answer)
    assert [str(one.flight_cup.code) for one in sessions] == codes[:3]
    assert [float(one.intensity) for one in likings] == [6.5, 7, 3.2]
    assert {one.by_id for one in likings} == {world.one.user.id}
    assert Note.objects.get(text="honey, then stone").session == sessions[0]
    assert f"Taste your next cup: {codes[3]}." in page_of(world.one, flight)


def test_wrong_score_stands_beside_its_field_and_nothing_is_stored_or_lost(world):
    flight = set_up(world)
    cups, browser, address = cups_of(world.one, flight), browser_of(world.one), f"/flights/{flight.id}/scores/"
    answer = browser.post(address, scores_for(cups, ["6,5", "11"]))
    text = text_of(answer)

    assert answer.status_code == 422
    assert f'id="id_{cups[1]["code"]}-liking_error"' in text
    assert 'value="6,5"' in text
    assert not Session.objects.exists()


def test_score_that_another_window_changed_is_not_overwritten_unseen(world):
    flight = set_up(world)
    cups, browser, address = cups_of(world.one, flight)[:1], browser_of(world.one), f"/flights/{flight.id}/scores/"
    code = cups[0]["code"]
    seen = re.search(rf'name="{code}-seen" value="(\w+)"', text_of(browser.get(address))).group(1)
    browser.post(address, scores_for(cups, ["6"]))
    late = scores_for(cups, [""]) | {f"{code}-seen": seen}
    answer = browser.post(address, late)
    text = text_of(answer)
    fresh = re.search(rf'name="{code}-seen" value="(\w+)"', text).group(1)

    assert (answer.status_code, "Changed meanwhile. Now: 6.0" in text) == (422, True)
    assert browser.post(address, late | {f"{code}-seen": fresh}).status_code == 302
    assert not Note.objects.filter(descriptor__key="liking", removed=False).exists()
    assert "Does not count yet. Missing: Liking." in text_of(browser.get(address))


def test_cup_that_was_noted_on_a_phone_is_only_named(world):
    flight = set_up(world)
    cup = cups_of(world.one, flight)[0]
    noted = taste(world.one, cup, liking=4)
    browser, address = browser_of(world.one), f"/flights/{flight.id}/scores/"
    text = text_of(browser.get(address))
    browser.post(address, scores_for([cup], ["9"]))

    assert f'href="/records/session/{noted.session}/"' in text
    assert f'name="{cup["code"]}-liking"' not in text
    assert [float(one.intensity) for one in Note.objects.filter(descriptor__key="liking")] == [4]


def test_nobody_enters_scores_for_another(world):
    flight = set_up(world)
    cup = cups_of(world.one, flight)[0]
    for other in (world.two, world.buyer, world.pourer):
        browser_of(other).post(f"/flights/{flight.id}/scores/", scores_for([cup], ["6"]))
    assert not Session.objects.filter(flight_cup=cup["id"]).exists()


def test_factors_of_a_weighed_flight_make_its_score(world):
    flight = set_up(world, weights_for="oolong")
    cups = cups_of(world.one, flight)[:2]
    sent = scores_for(cups, ["8", "6"])
    sent |= {f"{cups[0]['code']}-{name}": "7,5" for name in ("dry_leaf", "liquor", "aroma", "spent_leaf")}
    text = text_of(browser_of(world.one).post(f"/flights/{flight.id}/scores/", sent, follow=True))
    browser_of(world.buyer).post(f"/flights/{flight.id}/reveal/", {"reason": "the ship sails"})
    answer_flight(flight.id, now=timezone.now())
    flight.refresh_from_db()
    weighted = [len(one["standings"]) for one in flight.answer["measures"] if one["measure"] == "weighted"]

    assert text.count("Does not count yet. Missing: Dry leaf, Liquor, Aroma, Spent leaf.") == 1
    assert len(weighted) == 1


def test_next_step_is_each_ones_own(world):
    flight = set_up(world)
    assert "Waiting for" in page_of(world.viewer, flight)
    assert "Pour: 18 cups are not tasted yet." in page_of(world.pourer, flight)
    assert f'href="/flights/{flight.id}/reveal/">Reveal early' in page_of(world.buyer, flight)
    for who in (world.one, world.two, world.three):
        cups = cups_of(who, flight)
        browser_of(who).post(f"/flights/{flight.id}/scores/", scores_for(cups, ["5"] * 6))
    assert "Every cup is tasted: reveal which sample is which." in page_of(world.buyer, flight)
    assert "A buyer or owner reveals which sample is which." in page_of(world.one, flight)
    listed = text_of(browser_of(world.buyer).get("/flights/"))
    assert "<strong><bdi>Every cup is tasted" in listed


def test_early_reveal_says_who_is_missing_and_asks_why(world):
    flight = set_up(world)
    browser, address = browser_of(world.buyer), f"/flights/{flight.id}/reveal/"
    shown = text_of(browser.get(address))
    refused = browser.post(address, {"reason": " "})
    done = browser.post(address, {"reason": "the ship sails tomorrow"})
    flight.refresh_from_db()

    assert f"<bdi>{world.two.user}</bdi>: 6 cups" in shown
    assert "Enter late scores" in page_of(world.two, flight)
    assert page_of(world.two, flight, "scores/").count('class="code"') == 6
    assert (refused.status_code, 'id="id_reason_error"' in text_of(refused)) == (422, True)
    assert (done.status_code, flight.state, flight.reveal_reason) == (302, "revealed", "the ship sails tomorrow")


def test_decision_buys_what_is_ticked_and_errors_stand_beside_the_sample(world):
    flight = set_up(world)
    for who in (world.one, world.two, world.three):
        cups = cups_of(who, flight)
        browser_of(who).post(f"/flights/{flight.id}/scores/", scores_for(cups, ["3", "4", "5", "6", "7", "8"]))
    browser, address = browser_of(world.buyer), f"/flights/{flight.id}/decision/"
    early = browser.get(address)
    browser.post(f"/flights/{flight.id}/reveal/")
    answer_flight(flight.id, now=timezone.now())
    shown = browser.get(address).content.decode()
    first = re.search(r'for="id_buy-0"><bdi>([^<]*)<', shown).group(1)
    sent = {"buy-0": "on", "quantity_g-0": "2.500,5", "price_per_kg-0": "89,90", "currency-0": "eur", "reason": ""}
    wrong = browser.post(address, sent | {"quantity_g-0": "much"})
    done = browser.post(address, sent | {"reason": "the sweetest finish"})
    bought = Lot.objects.get(from_lot__isnull=False)
    text = page_of(world.buyer, flight)

    assert early.status_code == 409
    assert (wrong.status_code, done.status_code) == (422, 302)
    assert all(f'id="id_{field}_error"' in text_of(wrong) for field in ("quantity_g-0", "reason"))
    assert (bought.name, float(bought.quantity_g), float(bought.price_per_kg), bought.currency) == (
        first, 2500.5, 89.9, "EUR"
    )  # fmt: skip
    assert f'href="/records/lot/{bought.id}/"' in text
    assert text.count("?from_lot=") == 5
    assert browser.get(address).status_code == 302


def test_preview_says_nothing_once_cups_were_tasted(world):
    """What is left to plan could tell which code was which lot."""
    flight = set_up(world)
    taste(world.one, cups_of(world.one, flight)[0], liking=6)
    answer = browser_of(world.buyer).post(f"/flights/{flight.id}/change/", wanted(world, do="plan"))

    assert answer.status_code == 409
    assert "poured" not in text_of(answer)
