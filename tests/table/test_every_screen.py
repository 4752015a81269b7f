"""Every screen of the app: what axe finds, narrow and large text, the keyboard alone, German."""

import pytest
from axe_playwright_python.sync_playwright import Axe

from tests.factories import LotFactory
from tests.flights import flight_of
from tests.table.taster import table_of

pytestmark = pytest.mark.django_db(transaction=True)

ALREADY_LOADED = Axe("0")
"""For a page that has the script of axe."""
OVERFLOW = "document.documentElement.scrollWidth - document.documentElement.clientWidth"
IS_FOCUSED = """(name) => {
  const { ariaLabel, textContent, labels } = document.activeElement;
  return labels?.[0]?.textContent === name || (ariaLabel || textContent || "").includes(name);
}"""
SMALL = """() => [...document.querySelectorAll("button, a, input:not([type=file])")]
  .filter((one) => one.checkVisibility() && !one.matches(".skip") && !one.closest("p, .file"))
  .filter((one) => one.getBoundingClientRect().height < 47.5 || one.getBoundingClientRect().width < 47.5)
  .map((one) => one.outerHTML.slice(0, 120))"""


@pytest.fixture
def screens(team, lexicon):
    """A taster, and the places of all screens by name; a tasting with one cup is on the table."""
    flight = flight_of(team, n_lots=2, n_tasters=1)
    taster = flight.tasters[0]
    lot = LotFactory(team=team, by=taster.user, name="Mist Ridge", status="sample")

    def places(table):
        table.go("pot", "lot", str(lot.id))
        table.tap(".rows.big button", text="Covered bowl")
        table.tap(".steps a", text="Pour")
        for _ in range(3):
            table.tap(".control")
            table.later(2)
        table.rate("strength", 6)
        table.tap(".words .chip")
        session, infusion = table.page.evaluate("location.hash").split("/")[2], None
        table.tap(".steps a", text="So far")
        infusion = table.page.get_attribute(".infusions a", "href").split("/")[-1]
        tasting = {step: ("tasting", session, step) for step in ("leaf", "pour", "taste", "look", "close")}
        return {
            "today": (),
            "lots": ("lots",),
            "sample": ("sample",),
            "pots": ("pot", "lot", str(lot.id)),
            "lot": ("lot", str(lot.id)),
            "flight": ("flight", flight.id),
            "settings": ("settings",),
            "times": ("tasting", session, "times", infusion),
            **tasting,
        }

    return taster, places


def each(table, places):
    """Open one screen after the other; yield its name."""
    for name, place in places.items():
        table.go(*place)
        table.page.wait_for_function("(hash) => location.hash === hash", arg=f"#/{'/'.join(place)}")
        table.page.wait_for_selector("h1")
        yield name


def test_axe_finds_nothing_targets_are_large_and_nothing_is_wider_than_the_screen(browser, network, screens):
    taster, places_of = screens
    wide = {}
    with table_of(browser, network, taster) as table:
        page, places = table.page, places_of(table)
        axe = Axe()
        for scheme, options in (("light", {}), ("dark", {"runOnly": ["color-contrast"]})):  # only colours differ
            page.emulate_media(color_scheme=scheme)
            for name in each(table, places):
                page.evaluate('for (const one of document.querySelectorAll("details")) one.open = true')
                found = axe.run(page, options={"resultTypes": ["violations"], **options})
                assert found.violations_count == 0, f"{scheme}, {name}: {found.generate_report()}"
                assert scheme == "dark" or page.evaluate(SMALL) == [], name
                axe = ALREADY_LOADED

        for language, width, text in (("en", 320, 100), ("de", 320, 100), ("de", 390, 200)):
            table.go("settings")
            table.tap(".chip", text="Deutsch" if language == "de" else "English")
            page.wait_for_selector(f'html[lang="{language}"]')
            page.set_viewport_size({"width": width, "height": 800})
            page.evaluate("(percent) => { document.documentElement.style.fontSize = `${percent}%`; }", text)
            for name in each(table, places):
                wide[language, width, text, name] = page.evaluate(OVERFLOW)

        table.go(*places["taste"])
        page.evaluate("document.documentElement.style.fontSize = ''")
        page.set_viewport_size({"width": 195, "height": 422})  # as a browser that magnifies twice
        table.rate("liking", 6)
        page.wait_for_selector(".undo p:has-text('bewertet')")
        assert page.locator(".undo p").bounding_box()["width"] > 100
        wide["magnified"] = page.evaluate(OVERFLOW)

    assert {one: extra for one, extra in wide.items() if extra > 0} == {}


def test_cup_is_poured_and_rated_by_the_keyboard_alone(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        keys = table.page.keyboard

        def focus(name):
            for _ in range(60):
                keys.press("Tab")
                if table.page.evaluate(IS_FOCUSED, name):
                    return
            pytest.fail(f"no way to {name} by the keyboard")

        for name in ("Start a tasting", "Mist Ridge", "Covered bowl", "Pour", "Water in"):
            focus(name)
            keys.press("Enter")
            table.later(1)
            table.page.wait_for_timeout(100)
        for name in ("Pour now", "Empty"):
            table.page.wait_for_selector(f'.control[aria-label="{name}"]')
            table.page.focus(".control")
            keys.press("Enter")
            table.later(1)
        table.page.wait_for_selector("#rate-strength")
        focus("Strength")
        keys.press("6")
        keys.press("ArrowRight")
        table.page.wait_for_selector(".rating output:has-text('6.1')")
        assert table.page.get_attribute("#rate-strength", "aria-valuetext") == "6.1 of 10"
