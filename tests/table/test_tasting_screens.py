"""What the screens of a pot say and offer: times that may be slips, words, look and smell of the leaf, own words."""

import pytest

from tastings.models import Descriptor, Infusion, Note
from tests.factories import InfusionFactory, LotFactory, NoteFactory, SessionFactory
from tests.table.taster import table_of
from tests.table.test_afternoon import AGAIN_MS, pour, start

pytestmark = pytest.mark.django_db(transaction=True)
GUIDE = """
(() => {
  const send = globalThis.fetch;
  const infusions = [1, 2, 3].map((number) => ({ number, steep_s: 35 }));
  globalThis.fetch = async (path, options) =>
    String(path).includes("guide") ? new Response(JSON.stringify({ infusions })) : send(path, options);
})()
"""


def hints(table):
    """Return the hints on the open screen."""
    table.page.wait_for_selector("#rate-strength")
    return table.page.locator("main .hint").all_inner_texts()


def test_steep_that_may_be_a_slip_is_asked_about_until_the_cup_is_rated(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        start(table, "Mist Ridge")
        pour(table, steep_s=3, pour_s=1)
        [asked] = hints(table)
        table.tap("main .hint a", text="Correct times")
        table.page.fill("#steep_s", "30")
        table.page.press("#steep_s", "Tab")
        table.page.wait_for_selector(".undo p:has-text('Corrected')")
        table.tap(".steps a", text="Taste")
        assert hints(table) == []

        pour(table, steep_s=3, pour_s=1)
        assert len(hints(table)) == 1
        table.rate("strength", 5)
        table.page.wait_for_selector(".rating output:has-text('5')")
        assert hints(table) == []
        table.wait_sent()

    assert asked.startswith("Steeped 3")
    assert Infusion.objects.get(number=1).steep_s == 30


def test_steep_far_from_the_guide_is_asked_about(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        table.page.add_init_script(GUIDE)
        table.page.reload()
        start(table, "Mist Ridge")
        table.tap(".steps a", text="Pour")
        table.page.wait_for_selector("p:has-text('Guide for this pot: 35 s')")
        assert "as of" in table.page.inner_text("main")
        for steep_s, n_hints in ((12, 1), (35, 0), (80, 1)):
            pour(table, steep_s=steep_s, pour_s=8)
            assert len(hints(table)) == n_hints, steep_s


def test_search_finds_rated_words_by_synonym_and_opens_their_line(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    n_words = Descriptor.objects.count()
    found = {"umami": "Savouriness", "bitter": "Bitterness", "liking": "Liking"}
    with table_of(browser, network, taster) as table:
        start(table, "Mist Ridge")
        pour(table, steep_s=10, pour_s=8)
        for typed, word in found.items():
            table.page.fill("#word-mouth", typed)
            table.page.wait_for_selector(f".words .chip:has-text('{word}')")
            assert table.page.locator(".words .chip").first.inner_text() == word
            assert table.page.locator(".words .chip", has_text="Add").count() == 0
            table.page.wait_for_timeout(AGAIN_MS)  # a tap sooner after the last one is taken for a drop of water
            table.tap(".words .chip", text=word)
            table.page.wait_for_selector(f"#rate-{word.lower()}:focus")
            assert table.page.input_value("#word-mouth") == ""
            table.rate(word.lower(), 6)
            table.page.wait_for_selector(f".rating:has(#rate-{word.lower()}) output:has-text('6')")
        table.tap(".steps a", text="Leaf")
        table.page.fill("#word-wet_leaf", "umami")
        table.page.wait_for_timeout(100)
        assert table.page.locator(".words .chip").count() == 0
        table.wait_sent()

    assert Descriptor.objects.count() == n_words
    assert {note.descriptor.label for note in Note.objects.select_related("descriptor")} == set(found.values())


def test_look_and_smell_of_the_leaf_are_two_groups_however_often_looks_were_noted(browser, network, taster, lexicon):
    team = taster.member.team
    lot = LotFactory(team=team, by=taster.user, name="Mist Ridge")
    session = SessionFactory(team=team, by=taster.user, lot=lot)
    looks = list(Descriptor.objects.filter(family="leaf look"))
    for word in looks:
        NoteFactory(session=session, infusion=None, moment="dry_leaf", descriptor=word, intensity=None)
    with table_of(browser, network, taster) as table:
        start(table, "Mist Ridge")
        table.page.wait_for_selector("h2:has-text('What do you see and smell?')")
        names = table.page.locator(".words h3").all_inner_texts()
        seen, smelled = (one.locator(".chip").all_inner_texts() for one in table.page.locator(".words .chips").all())

    labels = {word.label for word in looks}
    assert names == ["Look", "Smell"]
    assert (len(seen), len(smelled)) == (7, 7)
    assert set(seen) <= labels
    assert not set(smelled) & labels


def test_so_far_shows_own_words_beside_the_ratings(browser, network, taster, lexicon):
    team = taster.member.team
    lot = LotFactory(team=team, by=taster.user, name="Mist Ridge")
    session = SessionFactory(team=team, by=taster.user, lot=lot)
    infusion = InfusionFactory(session=session)
    liking = Descriptor.objects.get(key="liking")
    NoteFactory(session=session, infusion=infusion, descriptor=liking, intensity=6)
    NoteFactory(session=session, infusion=infusion, descriptor=None, intensity=None, text="thin, a little flat")
    with table_of(browser, network, taster) as table:
        table.go("tasting", str(session.id), "look")
        table.page.wait_for_selector(".infusions li:has-text('Liking 6') q:has-text('thin, a little flat')")


def test_list_of_teas_tells_a_bought_lot_from_its_sample(browser, network, taster, lexicon):
    of = {"team": taster.member.team, "by": taster.user, "name": "Millrace", "kind": "green", "harvest_year": 2026}
    LotFactory(**of, status="sample")
    LotFactory(**of, status="bought", arrived_on="2026-03-03")
    with table_of(browser, network, taster) as table:
        table.go("lots")
        table.page.wait_for_selector(".rows a:has-text('Millrace')")
        shown = [one.inner_text() for one in table.page.locator(".rows a", has_text="Millrace").all()]

    assert len(shown) == 2
    assert any("2026 · Bought 3 Mar 2026" in one for one in shown)
    assert any("2026 · Sample " in one for one in shown)


def test_control_and_header_say_what_to_do_and_where_the_notes_are(browser, network, taster, lexicon):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        table.cut()
        start(table, "Mist Ridge")
        table.tap(".steps a", text="Pour")
        table.tap(".control")
        table.page.wait_for_selector(".control-words:has-text('Pour now')")
        assert table.page.inner_text(".kept > :first-child") == "1 saved on this phone"
        table.go()
        table.page.wait_for_selector(".sent:has-text('saved on this phone')")
