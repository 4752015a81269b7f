"""Afternoons at the table in a real browser, without a network; then everything is on the server as it was tapped."""

import io
import os
from datetime import datetime

import pytest
from PIL import Image

from tastings.models import Infusion, Note, Photo, Session
from tests.factories import LotFactory
from tests.flights import flight_of
from tests.table.taster import table_of

pytestmark = pytest.mark.django_db(transaction=True)

INFUSIONS = int(os.environ.get("LEAFSPAN_INFUSIONS", "1"))
"""Of each pot; `make afternoon` pours eight."""
POUR_S = 0.7
AGAIN_MS = 350
"""As in `table/static/table/parts/fields.js`."""
NAMES = ("Mist Ridge", "Lantern Cliff", "Fog Orchard")
RATED = ("strength", "liking", "sweetness", "bitterness", "astringency", "finish")


def picture():
    """Return a small photo."""
    file = io.BytesIO()
    Image.new("RGB", (60, 40), "#c08030").save(file, "JPEG")
    return {"name": "cup.jpg", "mimeType": "image/jpeg", "buffer": file.getvalue()}


def start(table, name):
    table.go("lots")
    table.tap(".rows a", text=name)
    table.tap(".rows.big button", text="Covered bowl")
    table.page.wait_for_selector(".steps")


def pour(table, *, steep_s, pour_s, kettle_c=None):
    """Pour one infusion by the timer."""
    table.later(1)  # right after the pour before, a tap counts as a drop of water
    table.tap(".steps a", text="Pour")
    if kettle_c:
        table.tap(".kettle .chip", text=f"{kettle_c} °C")
    table.tap(".control")
    table.later(steep_s)
    table.tap(".control")
    table.later(pour_s)
    table.tap(".control")
    table.page.wait_for_selector("#rate-strength")


def words(table, count):
    """Tap the first words that are offered; return their labels."""
    chips = table.page.locator(".words .chip")
    labels = []
    for i in range(count):
        table.later(0.4)
        labels.append(chips.nth(i).inner_text())
        chips.nth(i).click()
        table.taps += 1
        table.page.wait_for_selector(f'.words .chip[aria-pressed="true"]:has-text("{labels[-1]}")')
    return labels


def ask_for(table, word):
    """Ask for the line of a word that is not there yet."""
    if not table.page.locator(f"#rate-{word}").count():
        table.page.locator(".lines details").evaluate("(details) => { details.open = true; }")
        table.tap(".lines details .chip", text=word.capitalize())


def photograph(table):
    """Take a photo on the open screen."""
    table.page.set_input_files(".file input", picture())
    table.page.wait_for_selector(".undo p:has-text('Photo saved')")


def correct_first_cup(table, name, *, strength, steep_s):
    """Go back to the first cup of a pot and correct a rating and a time."""
    table.tap(".pots a", text=name)
    table.tap(".steps a", text="So far")
    table.tap(".infusions a", text="Correct notes")
    table.rate("strength", strength)
    table.tap(".steps a", text="So far")
    table.tap(".infusions a", text="Correct times")
    table.page.fill("#steep_s", str(steep_s))
    table.page.press("#steep_s", "Tab")
    table.page.wait_for_selector(".undo p:has-text('Corrected')")


def rated(session, number):
    """Return what the server has of one cup: points by word, and words without points."""
    notes = Note.objects.filter(infusion__session=session, infusion__number=number, removed=False)
    points = notes.values_list("descriptor__key", "intensity")
    return {key: None if value is None else float(value) for key, value in points}


def steep_of(i, number):
    """Return how long a cup steeps [s]: short, since two minutes of made-up time put the phone ahead of the server."""
    return round(1 + 0.1 * number + 0.1 * i, 1)


def points_of(i, number, k):
    """Return what is tapped in pot, infusion and line: halves, and another one in each."""
    return (2 * i + 3 * number + k) % 21 / 2


def taste_in_turns(table):
    """Pour and taste every pot on the table; return the words that were tapped, by name of the lot and number."""
    tapped = {}
    for number in range(1, INFUSIONS + 1):
        for i, name in enumerate(NAMES):
            table.tap(".pots a", text=name)
            pour(table, steep_s=steep_of(i, number), pour_s=POUR_S, kettle_c=95)
            for k, word in enumerate(RATED):
                ask_for(table, word)
                table.rate(word, points_of(i, number, k))
            tapped[name, number] = words(table, 4)
    return tapped


def test_afternoon_of_three_pots_a_blind_cup_photos_and_a_correction(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=2, n_tasters=1)
    taster = flight.tasters[0]
    for name in NAMES:
        LotFactory(team=team, by=taster.user, name=name)
    with table_of(browser, network, taster) as table:
        table.cut()
        for name in NAMES:
            start(table, name)
        tapped = taste_in_turns(table)
        photograph(table)
        table.tap(".steps a", text="Leaf")
        table.page.wait_for_selector("summary")
        photograph(table)
        table.go("flight", flight.id)
        code = table.page.inner_text('.row[data-next="true"] .code')
        table.page.wait_for_timeout(AGAIN_MS)  # a tap sooner after the last one is taken for a drop of water
        table.tap('.row[data-next="true"]')
        table.rate("liking", 4)
        table.page.fill("#free", "like rain on warm stone")
        table.page.evaluate('dispatchEvent(new Event("offline"))')  # the screen is drawn anew while one types
        table.page.press("#free", "Tab")
        table.page.wait_for_selector(".undo p:has-text('Text saved')")
        correct_first_cup(table, NAMES[0], strength=9.5, steep_s=21)
        assert table.kept() > 0
        assert Session.objects.count() == 0
        table.page.reload()
        table.page.wait_for_selector(".pots")
        table.mend()
        table.wait_sent()

    sessions = {one.lot.name: one for one in Session.objects.filter(lot__isnull=False)}
    assert sessions.keys() == set(NAMES)
    for i, name in enumerate(NAMES):
        poured = Infusion.objects.filter(session=sessions[name]).order_by("number")
        assert [(one.number, one.kettle_c) for one in poured] == [(n, 95) for n in range(1, INFUSIONS + 1)]
        for one in poured:
            steep_s = 21 if (i, one.number) == (0, 1) else steep_of(i, one.number)
            assert steep_s <= one.steep_s < steep_s + 5
            assert one.pour_s >= POUR_S
            expected = {word: points_of(i, one.number, k) for k, word in enumerate(RATED)}
            expected |= {"strength": 9.5} if (i, one.number) == (0, 1) else {}
            found = rated(sessions[name], one.number)
            assert {word: found.get(word) for word in RATED} == expected
            assert len(found) == len(RATED) + 4
            noted = Note.objects.filter(infusion=one, intensity=None).values_list("descriptor__label", flat=True)
            assert sorted(noted) == sorted(tapped[name, one.number])
    blind = Session.objects.get(lot__isnull=True)
    assert str(blind.flight_cup.code) == code
    assert rated(blind, 1) == {"liking": 4, None: None}
    assert Note.objects.get(infusion__session=blind, descriptor=None).text == "like rain on warm stone"
    assert Infusion.objects.get(session=blind).kettle_c is None
    assert sorted(Photo.objects.values_list("of", flat=True)) == ["liquor", "wet_leaf"]


def test_cup_with_two_ratings_four_words_and_the_kettle_takes_at_most_fourteen_taps(browser, network, taster, lexicon):
    lot = LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        start(table, "Mist Ridge")
        pour(table, steep_s=10, pour_s=8, kettle_c=95)
        table.taps = 0
        pour(table, steep_s=12, pour_s=8, kettle_c=95)
        table.rate("strength", 6.5)
        table.rate("liking", 7)
        words(table, 4)
        taps = table.taps
        table.wait_sent()

    assert taps <= 14
    session = Session.objects.get(lot=lot)
    assert len(rated(session, 2)) == 6
    assert Infusion.objects.get(session=session, number=2).kettle_c == 95


def test_new_sample_is_poured_after_at_most_eight_taps_and_one_name(browser, network, taster, lexicon):
    with table_of(browser, network, taster) as table:
        table.tap(".start a", text="Start a tasting")
        table.tap(".start a", text="New sample")
        table.page.wait_for_selector("#name:focus")
        table.page.keyboard.type("Harbour Fog")
        table.tap(".choice .chip", text="Oolong")
        table.tap(".start button")
        table.tap(".rows.big button", text="Covered bowl")
        table.tap(".steps a", text="Pour")
        table.tap(".control")
        table.page.wait_for_selector('.control[data-phase="steeping"]')
        taps = table.taps

        table.tap(".steps a", text="So far")
        table.tap("a.button", text="About this tea")
        table.page.fill("#supplier", "Rain Door Trading")
        table.page.select_option("#country", "TW")
        table.page.fill("#harvest_year", "2026")
        table.page.fill("#harvested_on", "2026-04-18")
        table.tap(".choice .chip", text="rolled")
        table.page.wait_for_selector('.chip[aria-pressed="true"]:has-text("rolled")')
        table.wait_sent()

    assert taps <= 8
    lot = Session.objects.get().lot
    assert (lot.name, lot.status, lot.supplier, lot.country, lot.harvest_year, str(lot.harvested_on), lot.form) == (
        "Harbour Fog", "sample", "Rain Door Trading", "TW", 2026, "2026-04-18", "rolled",
    )  # fmt: skip


def test_forgotten_taps_are_mended_by_typing_and_taken_back_by_undo(browser, network, taster, lexicon):
    lot = LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster, has_touch=True) as table:
        start(table, "Mist Ridge")
        table.tap(".steps a", text="Pour")
        table.tap("button", text="First a rinse")
        for phase in ("steeping", "pouring", "resting"):
            table.tap(".control")
            table.later(2)
            table.page.wait_for_selector(f'.pot[data-phase="{phase}"]')
        table.tap(".pots a", text="Mist Ridge")  # leads to the next pour
        table.tap(".kettle .chip", text="95 °C")
        table.tap(".fold summary", text="Forgot a tap")
        table.page.fill("#typed-steep", "14,5")
        table.page.press("#typed-steep", "Tab")
        table.tap(".fold button", text="Write this pour down")
        table.rate("strength", 5, finger=True)  # where the empty line's input stands
        table.page.wait_for_selector(".rating output:has-text('5')")
        table.rate("strength", 6)
        table.page.wait_for_selector(".rating output:has-text('6')")
        table.rate("strength", 8)
        table.page.wait_for_selector(".rating output:has-text('8')")
        table.tap(".undo button")
        table.page.wait_for_selector(".rating output:has-text('6')")
        table.tap(".nudges button >> nth=1")
        table.page.wait_for_selector(".rating output:has-text('6.1')")
        table.wait_sent()

    session = Session.objects.get(lot=lot)
    assert [one.number for one in Infusion.objects.filter(session=session).order_by("number")] == [0, 1]
    assert Infusion.objects.get(session=session, number=1).steep_s == 14.5
    assert rated(session, 1) == {"strength": 6.1}


def test_timer_of_a_new_pot_goes_on_while_the_phone_sleeps_and_after_a_reload(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    began = datetime(2026, 5, 4, 15, 0)  # noqa: DTZ001 - the phone's own clock
    with table_of(browser, network, taster, at=began) as table:
        table.go("lots")
        table.tap(".rows a", text="Mist Ridge")
        table.tap("summary", text="Another pot")
        table.page.fill("#pot-name", "Small clay pot")
        table.tap(".fold .chip", text="unglazed clay")
        table.tap(".fold button", text="Keep this pot and start")
        table.tap(".steps a", text="Pour")
        table.tap(".control")
        table.page.wait_for_selector('.control[data-phase="steeping"]')
        table.cut()
        table.later(40)
        table.page.reload()
        table.page.wait_for_selector('.control[data-phase="steeping"]')
        table.later(20)
        table.tap(".control")
        table.page.wait_for_selector('.control[data-phase="pouring"]')
        table.mend()
        table.wait_sent()

    assert 60 <= Infusion.objects.get().steep_s < 75
    pot = Session.objects.get().pot
    assert (pot.name, pot.vessel_material) == ("Small clay pot", "unglazed_clay")


def test_blind_cups_show_codes_in_the_order_of_serving_and_no_names(browser, network, team, lexicon):
    flight = flight_of(team, n_lots=3, n_tasters=1)
    taster = flight.tasters[0]
    cups = sorted(flight.cups_of(taster), key=lambda cup: (cup["sitting"], cup["position"]))
    with table_of(browser, network, taster) as table:
        table.go("flight", flight.id)
        table.page.wait_for_selector(".code")
        shown = table.page.locator(".code").all_inner_texts()
        table.tap('.row[data-next="true"]')
        table.page.wait_for_selector(".steps")
        text = table.page.inner_text("body")

    assert shown == [str(cup["code"]) for cup in cups]
    assert str(cups[0]["code"]) in text
    assert not [lot.name for lot in flight.lots if lot.name in text]
