"""Which lots to taste next, as a client and a reader get it."""

from datetime import UTC, datetime

import pytest

from tastings.actions.developments import refresh_development
from tastings.models import FlightLot
from tastings.queries.next_tastings import tasting_plan
from tests.api.openapi import schema_errors
from tests.api.phone import sync
from tests.api.test_development import session_of
from tests.factories import FlightFactory, LotFactory
from tests.pages.test_browser import Seen
from tests.pages.test_people import browser_of


@pytest.fixture
def shelf(taster, stranger, lexicon):
    """A tasted and an untasted sample, a bought lot, and what is not to be tasted next."""

    def make(name, **fields):
        return LotFactory(team=taster.team, by=taster.user, name=name, **fields)

    samples = ("Tasted", "Untasted", "In flight", "Decided on", "Bought after it")
    made = {name: make(name, status="sample") for name in samples}
    make("Bought", status="bought")
    make("Retired", status="retired")
    make("Deleted", status="sample", removed=True)
    LotFactory(team=stranger.team, by=stranger.user, name="Theirs", status="sample")
    make("What was bought", status="retired", from_lot=made["Bought after it"])
    for name, state in (("In flight", "tasting"), ("Decided on", "decided")):
        flight = FlightFactory(team=taster.team, by=taster.user)
        FlightLot.objects.create(flight=flight, team=taster.team, lot=made[name])
        type(flight).objects.filter(id=flight.id).update(
            state=state, revealed_at=datetime.now(UTC) if state == "decided" else None
        )
    sync(taster.client, session_of(made["Tasted"].id, [6, 5]))
    refresh_development(made["Tasted"].id, now=datetime.now(UTC))
    return made


def test_samples_to_be_decided_come_first_each_with_what_a_session_would_settle(viewer, shelf):
    answer = viewer.client.get("/api/v1/next-tastings").json()

    assert schema_errors("NextTastings", answer) == []
    found = [(one["name"], one["sessions"], one["sentence"].partition(":")[0]) for one in answer["tastings"]]
    assert found == [
        ("Untasted", 0, "Taste a first session, rating the strength of every infusion."),
        ("Tasted", 1, "Pour further"),
        ("Bought", 0, "Taste a first session, rating the strength of every infusion."),
    ]
    assert answer["open_lots"] == 3


def test_plan_takes_one_query_for_any_number_of_lots(viewer, shelf, django_assert_num_queries):
    for _ in range(12):
        LotFactory(team=viewer.team, by=viewer.user)
    with django_assert_num_queries(1):
        plan = tasting_plan(viewer.member)
    assert (plan.open_lots, len(plan.tastings)) == (15, 10)


def test_page_is_reached_from_the_list_and_says_the_same(viewer, shelf):
    browser = browser_of(viewer)
    assert 'href="/lots/next/"' in browser.get("/lots/").content.decode()
    text = Seen(browser.get("/lots/next/").content.decode()).text
    assert text.index("Untasted") < text.index("Tasted\n") < text.index("Bought")
    assert "Pour further: strength is rated up to infusion 2 only" in text
    assert not any(name in text for name in ("In flight", "Decided on", "Bought after it", "Retired"))
