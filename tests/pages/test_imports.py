"""Importing a spreadsheet in the browser: as somebody keeps it, checked first, its bad rows by number."""

import re
from html import unescape

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile

from lots.models import Lot
from pages import imports
from tastings.models import Infusion, Note, Session
from tests.factories import web_browser

OWN = """Tee;Teeart;Datum;Blatt (g);Gefäß (ml);Aufguss Nr.;Ziehzeit (s);Temperatur;Stärke;Preis
Mist Ridge;Oolong;4.3.2026;5,2;110;1;15;98 °C;4,5;12
Mist Ridge;Oolong;4.3.2026;5,2;110;2;20;viel;5;12
Mist Ridge;Oolong;4.3.2026;5,2;110;3;25;98;5,5;12
Cloud Peak;Grüner Tee;05.03.2026 10:30;3;120;1;60;80;3;9
"""


@pytest.fixture
def browser(taster, lexicon):
    browser = web_browser()
    browser.force_login(taster.user)
    return browser


def upload(browser, text, encoding="cp1252"):
    return browser.post("/team/import/", {"file": SimpleUploadedFile("own.csv", text.encode(encoding))})


def fields_of(page):
    html = page.content.decode()
    chosen = [
        (re.search(r'value="([^"]*)" selected', options) or [None, ""])[1]
        for options in re.findall(r'<select [^>]*name="column">(.*?)</select>', html, re.DOTALL)
    ]
    return {"text": unescape(re.search(r'name="text" value="([^"]*)"', html).group(1)), "column": chosen}


def test_file_of_very_many_sessions_is_refused(browser, monkeypatch):
    monkeypatch.setattr(imports, "MOST_SESSIONS", 1)
    page = upload(browser, OWN)

    assert page.status_code == 422
    assert "The file has 2 sessions, at most 1 are imported at once: divide it" in page.content.decode()


def test_file_of_very_many_ratings_is_refused_before_any_is_checked(browser, monkeypatch):
    monkeypatch.setattr(imports, "MOST_RATINGS", 2)
    monkeypatch.setattr(imports, "parse_rows", None)
    page = upload(browser, OWN)

    assert page.status_code == 422
    assert "ratings and words, at most 2 are imported at once: divide it" in page.content.decode()


@pytest.mark.parametrize("encoding", ["cp1252", "utf-8-sig", "utf-16"])
def test_own_spreadsheet_is_checked_and_nothing_is_stored(browser, encoding):
    page = upload(browser, OWN, encoding)
    html = page.content.decode()

    assert fields_of(page)["column"] == [
        "lot", "kind", "started_at", "leaf_g", "vessel_ml", "number", "steep_s", "kettle_c", "strength", "",
    ]  # fmt: skip
    assert "New: lots 2, sessions 2, infusions 3, notes 3." in html
    assert "1 line is left out" in html
    assert re.search(r'<th scope="row">3</th><td>kettle_c</td>', html)
    assert not Lot.objects.exists()


def test_checked_spreadsheet_is_imported_once(browser, taster):
    sent = fields_of(upload(browser, OWN)) | {"do": "import"}
    first, second = (browser.post("/team/import/", sent).content.decode() for _ in range(2))
    ridge = Session.objects.get(lot__name="Mist Ridge")

    assert ("It is imported." in first, "New: lots 0, sessions 0" in second) == (True, True)
    assert (Lot.objects.count(), Session.objects.count(), Infusion.objects.count()) == (2, 2, 3)
    assert (float(ridge.leaf_g), f"{ridge.started_at:%Y-%m-%d %H:%M}", ridge.taster) == (
        5.2, "2026-03-04 12:00", taster.user,
    )  # fmt: skip
    assert Lot.objects.get(name="Cloud Peak").kind == "green"
    assert sorted(float(one) for one in Note.objects.values_list("intensity", flat=True)) == [3, 4.5, 5.5]


def test_bad_rows_are_downloaded_with_their_number(browser):
    sent = fields_of(upload(browser, OWN)) | {"do": "download"}
    answer = browser.post("/team/import/", sent)
    rows = answer.content.decode("utf-8-sig").splitlines()

    assert answer["Content-Disposition"] == 'attachment; filename="left-out.csv"'
    assert len(rows) == 2
    assert rows[1].startswith("3;kettle_c: must be a number with a decimal point, as 3.5;Mist Ridge;")


def test_guess_is_corrected_by_the_choice_of_columns(browser):
    page = upload(browser, OWN.replace("Temperatur", "Hitze"))
    refused = page.content.decode()
    column = fields_of(page)["column"]
    column[7] = "kettle_c"
    checked = browser.post("/team/import/", fields_of(page) | {"column": column}).content.decode()

    assert (page.status_code, "kettle_c: must be there" in refused) == (422, True)
    assert "New: lots 2" in checked


@pytest.mark.parametrize("text", ["", "only one line\n", 'a;b\n"open'])
def test_file_that_is_no_table_is_refused(browser, text):
    page = upload(browser, text)
    assert page.status_code == 422
    assert "Nothing was stored." in page.content.decode()
