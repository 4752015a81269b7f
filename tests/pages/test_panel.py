"""The page of the tasters' scales: one's own for a taster, everybody's for buyers and owners."""

import re

import pytest
from django.utils import timezone

from tastings.actions.developments import refresh_development
from tastings.actions.panels import refresh_panel
from tests.factories import LotFactory, MemberFactory
from tests.pages.test_people import browser_of
from tests.sync.test_panel import tasted

pytestmark = pytest.mark.django_db


@pytest.fixture
def panel(taster, buyer, owner, lexicon):
    """Four lots tasted by three people, of whom the owner rates everything two points higher."""
    for lot in [LotFactory(team=taster.team) for _ in range(4)]:
        for who, offset in ((taster, 0.0), (buyer, 0.0), (owner, 2.0)):
            tasted(who, lot, offset=offset, ending="spent")
        refresh_development(lot.id, now=timezone.now())
    assert refresh_panel(taster.team.id, now=timezone.now())


def test_page_says_who_rates_higher_and_shows_a_taster_no_other_taster(panel, taster, buyer, owner):
    mine = browser_of(owner).get("/team/panel/").content.decode()
    assert mine.index("Your scale") < mine.index("Rates higher")
    assert str(taster.user) in mine
    own = mine.partition("Your scale")[2].partition("<details>")[0]
    assert re.search(r"<dt>Rates higher</dt><dd>.*Strength \d\.\d", own)
    assert str(buyer.user) in mine

    theirs = browser_of(taster).get("/team/panel/").content.decode()
    assert "Your scale" in theirs
    assert "Rates higher" not in theirs
    assert str(owner.user) not in theirs.partition("<main")[2]
    assert "The team calls a cup spent below about" in theirs


def test_page_shows_who_is_joining_and_how_far_to_those_who_may_see_it(panel, taster, owner, viewer):
    new = MemberFactory(team=taster.team, role="taster")
    page = browser_of(owner).get("/team/panel/").content.decode()
    section = page.partition('id="joining"')[2].partition("</section>")[0]
    assert str(new.user) in section
    assert str(viewer.user) not in section  # a viewer never tastes
    assert 'value="0" max="10"' in section
    assert "About 10 more blind cups" in section
    assert str(new.user) not in browser_of(taster).get("/team/panel/").content.decode().partition("<main")[2]


def test_page_of_a_team_without_a_panel_says_what_is_missing(viewer):
    page = browser_of(viewer).get("/team/panel/").content.decode()

    assert "at least two people must have rated some of the same lots" in page
