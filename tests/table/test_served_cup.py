"""A blind cup that somebody else pours: scored in the app as the flight's protocol says, and closed once scored."""

import pytest
from django.test import Client

from tastings.models import Infusion, Note, Session
from tests.factories import PotFactory
from tests.flights import flight_of, reveal
from tests.table.taster import table_of

pytestmark = pytest.mark.django_db(transaction=True)


def state_of(table, name):
    """Return what Today says of a tasting."""
    table.go()
    row = table.page.locator(".rows a", has_text=name).first
    row.wait_for()
    return row.inner_text()


def test_served_cup_opens_at_its_scores_with_the_brew_of_the_protocol(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1)
    PotFactory(team=team, name="Team pot")
    with table_of(browser, network, flight.tasters[0]) as table:
        table.cut()
        table.go("flight", flight.id)
        table.page.wait_for_selector("main p:has-text('boiling water · 2, 3, 5 min')")
        table.tap('.row[data-next="true"]')
        table.page.wait_for_selector("#rate-liking")
        protocol = table.page.inner_text("main > p.soft")
        steps = table.page.locator(".steps a").all_inner_texts()
        for n, points in enumerate((4, 5, 6)):
            table.page.wait_for_selector(f"h2:has-text('Infusion {n + 1}')")
            table.rate("liking", points)
            table.page.wait_for_selector(f".rating output:has-text('{points}')")
            table.later(1)
            if n < 2:
                table.tap("button", text="Next infusion")
        assert table.page.locator("button", has_text="Next infusion").count() == 0
        table.tap(".steps a", text="Leaf")
        table.tap("a.button", text="Taste")
        table.tap("button", text="Done with this cup")
        table.page.wait_for_selector(".row:has-text('tasted')")
        code = table.page.locator(".code").first.inner_text()
        assert table.page.locator(".pots").count() == 0
        assert "closed" in state_of(table, code)
        table.mend()
        table.wait_sent()

    assert protocol == "5 g · 110 ml · boiling water · 2, 3, 5 min"
    assert steps == ["Leaf", "Taste", "So far"]
    session = Session.objects.get()
    assert (session.leaf_g, session.vessel_ml, session.vessel_material) == (5, 110, "porcelain")
    assert (session.purpose, session.pot, session.warmed) == ("selection", None, None)
    served = Infusion.objects.order_by("number").values_list("number", "steep_s", "kettle_c")
    assert list(served) == [(1, 120, None), (2, 180, None), (3, 300, None)]
    liking = Note.objects.filter(descriptor__key="liking").order_by("infusion__number")
    assert list(liking.values_list("intensity", flat=True)) == [4, 5, 6]


def test_cup_of_a_small_pot_is_scored_as_a_whole_and_may_be_poured_without_a_rinse(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1, protocol="small_pot", infusions=4)
    with table_of(browser, network, flight.tasters[0]) as table:
        table.go("flight", flight.id)
        table.tap('.row[data-next="true"]')
        table.page.wait_for_selector("h2:has-text('The cup as a whole')")
        assert table.page.inner_text("main > p.soft") == "4 infusions"
        table.rate("liking", 7)
        table.page.wait_for_selector(".rating output:has-text('7')")
        table.page.fill("#free", "thin, a little flat")
        table.page.press("#free", "Tab")
        table.page.wait_for_selector(".undo p:has-text('Text saved')")
        table.tap(".steps a", text="Pour")
        table.page.wait_for_selector("h2:has-text('Infusion 1')")
        assert table.page.locator("button", has_text="First a rinse").count() == 0
        table.tap(".steps a", text="So far")
        table.page.wait_for_selector(".infusions li:has-text('Liking 7') q:has-text('thin, a little flat')")
        table.wait_sent()

    assert Infusion.objects.count() == 0
    assert set(Note.objects.values_list("infusion", "intensity", "text")) == {
        (None, 7, ""), (None, None, "thin, a little flat"),
    }  # fmt: skip


def test_cup_scored_on_the_page_is_closed_on_the_phone(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1)
    taster = flight.tasters[0]
    code = str(min(flight.cups_of(taster), key=lambda cup: cup["position"])["code"])
    page = Client()
    page.force_login(taster.user)
    brew = {"leaf_g": "5", "vessel_ml": "110"}
    answer = page.post(f"/flights/{flight.id}/scores/", {**brew, f"{code}-liking": "6"})
    assert answer.status_code == 302, answer.content
    with table_of(browser, network, taster) as table:
        state = state_of(table, code)
        table.tap(".rows a", text=code)
        table.page.wait_for_selector(".infusions li:has-text('Liking 6')")

    assert "closed" in state
    assert "0 infusions" not in state


def test_reveal_closes_a_cup_that_is_on_the_table(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1)
    with table_of(browser, network, flight.tasters[0]) as table:
        table.go("flight", flight.id)
        table.tap('.row[data-next="true"]')
        table.page.wait_for_selector("#rate-strength")
        table.page.wait_for_selector(".pots")
        table.wait_sent()
        assert "on the table" in state_of(table, table.page.inner_text(".pot-name"))
        reveal(flight, reason="the others left")
        table.page.reload()
        table.page.wait_for_selector(".row:has-text('Sample '):has-text('closed')")
        assert table.page.locator(".pots").count() == 0
