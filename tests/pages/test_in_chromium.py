"""Pages of stock and people in Chromium: what axe finds, narrow screens, the keyboard alone."""

from contextlib import contextmanager

import pytest
from axe_playwright_python.sync_playwright import Axe
from django.conf import settings
from django.test import Client

from lots.models import Lot
from tests.api.records import Place

pytestmark = pytest.mark.django_db(transaction=True)

OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"


@contextmanager
def page_of(browser, user, url, **context):
    """Yield a page of a browser in which somebody is signed in, and close it."""
    client = Client()
    client.force_login(user)
    opened = browser.new_context(base_url=url, bypass_csp=True, **context)
    name = settings.SESSION_COOKIE_NAME
    opened.add_cookies([{"name": name, "value": client.cookies[name].value, "url": url}])
    try:
        yield opened.new_page()
    finally:
        opened.close()


def addresses(place, owner, taster):
    """Return the pages of a team that has one record of each type."""
    new = [f"/records/{name}/new/?lot={place.lot.id}&session={place.session.id}" for name in ("lot", "note")]
    records = [f"/records/{name}/{getattr(place, name).id}/" for name in ("lot", "session", "pot")]
    team = [
        f"/team/{name}" for name in ("", "people/", "shops/", "words/", "import/", "settings/", "audit/", "export/")
    ]
    more = [
        f"/records/session/{place.session.id}/history/",
        f"/records/session/{place.session.id}/photos/",
        f"/team/people/{taster.user.id}/",
        f"/team/shops/{owner.member.shop_id}/",
        f"/team/words/{place.descriptor.id}/merge/",
        "/account/",
        "/account/password/",
    ]
    reading = ["/lots/", f"/lots/{place.lot.id}/report/", f"/lots/{place.lot.id}/card/"]
    return [*new, *records, *team, *more, *reading]


def test_axe_finds_nothing_and_no_page_is_wider_than_a_small_phone(browser, live_server, owner, taster, lexicon):
    pages = addresses(Place(taster), owner, taster)
    # of the dark colours a few pages show all
    for scheme, language, shown in (("light", "de", pages), ("dark", "en", pages[::6])):
        look = {"viewport": {"width": 320, "height": 700}, "color_scheme": scheme, "locale": language}
        with page_of(browser, owner.user, live_server.url, **look) as page:
            for address in shown:
                assert page.goto(address).status == 200, address
                assert page.url.startswith(live_server.url + address.partition("?")[0]), address
                found = Axe().run(page)
                assert found.violations_count == 0, f"{scheme}, {address}: {found.generate_report()}"
                assert page.evaluate(OVERFLOW) <= 0, f"{language}, {address}"


def test_lot_is_made_by_the_keyboard_alone_without_a_script(browser, live_server, buyer):
    with page_of(browser, buyer.user, live_server.url, java_script_enabled=False) as page:
        page.goto("/lots/")
        keys = page.keyboard

        def focus(name):
            for _ in range(60):
                keys.press("Tab")
                focused = page.locator(":focus")
                if focused.count() and name in focused.evaluate(
                    "one => one.labels?.[0]?.textContent || one.textContent"
                ):
                    return
            pytest.fail(f"no way to {name} by the keyboard")

        focus("New lot")
        keys.press("Enter")
        page.wait_for_selector("#id_name")
        for name, typed in (("Name", "Mist Ridge"), ("Kind of tea", "Oo"), ("Price per kilogram", "much")):
            focus(name)
            keys.type(typed)
        keys.press("Enter")
        page.wait_for_selector("#id_price_per_kg_error")
        assert page.locator(":focus").get_attribute("role") == "alert"
        focus("Price per kilogram")  # the link in the summary
        keys.press("Enter")
        page.wait_for_selector("#id_price_per_kg:focus")
        keys.press("Control+a")
        keys.type("89.50")
        keys.press("Enter")
        page.wait_for_selector(".note[role=status]")
    lot = Lot.objects.get()

    assert (lot.name, lot.kind, float(lot.price_per_kg)) == ("Mist Ridge", "oolong", 89.5)
