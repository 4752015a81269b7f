"""Blind triangle tests in the browser: poured and answered by code."""

import re
from collections import Counter

import pytest

from tastings.models import Trial, TriangleTest
from tastings.queries.triangles import cup_sets_of
from tests.factories import LotFactory
from tests.pages.test_people import browser_of

pytestmark = pytest.mark.django_db


@pytest.fixture
def made(buyer):
    lots = [LotFactory(team=buyer.team, name=name) for name in ("First Picking", "Second Picking")]
    sent = {"against": str(lots[1].id), "held_on": "2026-03-04"}
    address = browser_of(buyer).post(f"/lots/{lots[0].id}/triangles/", sent)["Location"]
    return address, TriangleTest.objects.get()


def test_every_cup_has_its_own_code_and_every_order_is_served_equally_often(made):
    sets = cup_sets_of(made[1])[:12]

    assert len({code for cups in sets for code in cups.codes}) == 36
    assert set(Counter(cups.teas for cups in sets).values()) == {2}  # ISO 4120:2021: six orders, equally often
    assert sets == cup_sets_of(TriangleTest.objects.get())[:12]


def rows_of(sheet):
    """Return the cups of each row of the sheet, as code and letter of the tea."""
    rows = re.findall(r"<tr><th scope=\"row\">.*?</th>(.*?)</tr>", sheet)
    return [re.findall(r"<strong>(\d+)</strong> <bdi>(.*?)</bdi>", row) for row in rows]


def odd_of(row):
    """Return the code of the cup whose tea no other cup of the row has."""
    teas = [tea for _, tea in row]
    return next(code for code, tea in row if teas.count(tea) == 1)


def test_sheet_names_each_tea_once_and_each_cup_by_its_letter(made, buyer):
    address, test = made
    sheet = browser_of(buyer).get(f"{address}cups/").content.decode()
    letters = dict(re.findall(r"<dt>(\w)</dt><dd><bdi>(.*?)</bdi></dd>", sheet))

    assert letters == {"A": "First Picking", "B": "Second Picking"}  # the lot itself, and what it is tested against
    assert rows_of(sheet) == [
        [(str(code), "AB"[tea]) for code, tea in zip(cups.codes, cups.teas, strict=True)] for cups in cup_sets_of(test)
    ]
    assert sheet.count("First Picking") == 1


def test_taster_answers_by_code_and_does_not_see_the_cups(made, taster, buyer):
    address, mine = made[0], browser_of(taster)
    rows = rows_of(browser_of(buyer).get(f"{address}cups/").content.decode())
    assert mine.get(f"{address}cups/").status_code == 403
    assert not any(f">{code}<" in mine.get(f"{address}answer/").content.decode() for code, _ in rows[0])

    assert f'value="{buyer.user.id}" selected' in browser_of(buyer).get(f"{address}answer/").content.decode()

    wrong = next(code for code, _ in rows[5] if code != odd_of(rows[5]))
    for code in [*map(odd_of, rows[:5]), wrong]:
        answer = mine.post(f"{address}answer/", {"code": code, "taster": str(taster.user.id)})
        assert answer.status_code == 302, answer.content

    assert Counter(Trial.objects.values_list("correct", flat=True)) == {True: 5, False: 1}
    assert "They can be told apart: 5 of 6 found the odd cup" in mine.get(address).content.decode()


def test_code_of_no_cup_and_cups_answered_before_are_refused_beside_the_field(made, taster):
    address, test = made
    sets, mine = cup_sets_of(test), browser_of(taster)
    first, used = sets[0], {code for cups in sets for code in cups.codes}
    unused = next(code for code in range(100, 1000) if code not in used)
    none = mine.post(f"{address}answer/", {"code": str(unused), "taster": str(taster.user.id)})
    mine.post(f"{address}answer/", {"code": str(first.odd), "taster": str(taster.user.id)})
    again = mine.post(f"{address}answer/", {"code": str(first.codes[0]), "taster": str(taster.user.id)})

    assert "No cup of this test has this code." in none.content.decode()
    assert "These three cups are answered already." in again.content.decode()
    assert (none.status_code, again.status_code, Trial.objects.count()) == (422, 422, 1)


def test_sheet_is_for_the_chosen_tasters_and_the_test_stands_in_their_list(made, taster, buyer):
    browser, (address, test) = browser_of(buyer), made
    people = [str(taster.user.id), str(buyer.user.id)]
    whole = rows_of(browser.get(f"{address}cups/").content.decode())
    stored = browser.post(f"{address}cups/", {"tasters": people, "answers_each": "2"})
    sheet = browser.get(f"{address}cups/").content.decode()
    many, odd = (browser.post(f"{address}cups/", {"tasters": people, "answers_each": each}) for each in ("100", "some"))
    names = re.findall(r'<th scope="row">\d+ <bdi>(.*?)</bdi>', sheet)
    mine = browser_of(taster).get("/flights/").content.decode()

    assert (stored.status_code, names) == (302, [str(taster.user), str(buyer.user)] * 2)
    assert rows_of(sheet) == whole[:4]
    assert [one.status_code for one in (many, odd)] == [422] * 2
    assert f"That is 200 answers; the test has cups for {len(cup_sets_of(test))}." in many.content.decode()
    assert 'id="id_answers_each_error"' in odd.content.decode()
    assert ("2 answers are left to give" in mine, f'href="{address}answer/"' in mine) == (True, True)
    assert not {"First Picking", "Second Picking"} & set(re.findall("<bdi>(.*?)</bdi>", mine))
    assert f"<bdi>{taster.user}</bdi>: 2 answers" in browser.get(address).content.decode()


def test_smaller_difference_takes_more_answers(made, buyer):
    lot = TriangleTest.objects.get().lot_id
    page = browser_of(buyer).get(f"/lots/{lot}/triangles/").content.decode()
    counts = {share: int(n) for share, n in re.findall(r"that (\d+) % of people taste: (\d+) answers", page)}
    sent = {"against": str(made[1].against_id), "held_on": "2026-03-05", "distinguishers": "0.5"}
    browser_of(buyer).post(f"/lots/{lot}/triangles/", sent)

    assert list(counts) == ["50", "40", "30", "20"]
    assert sorted(counts.values()) == list(counts.values())
    assert len(cup_sets_of(TriangleTest.objects.get(held_on="2026-03-05"))) == counts["50"]
