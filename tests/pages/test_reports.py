"""A lot's report and card in every form: files made by a job, photos, sessions behind the figures."""

import csv
import io
import json
from datetime import timedelta
from urllib.parse import parse_qs, urlsplit

import pytest
from django.utils import timezone

from tastings.actions.documents import MAX_DOCUMENTS, delete_old_documents, render_document, request_document
from tastings.models import RenderedDocument
from tastings.tasks import typeset
from tests.api.phone import change, sync
from tests.api.problems import refusal
from tests.api.reported import photo_of, tasted_lot
from tests.api.test_development import session_of
from tests.factories import LotFactory, SessionFactory, web_browser
from tests.pages.test_browser import Seen
from tests.tastings.reports.pdf import text_of

FORMS = ["pdf", "png"]


@pytest.fixture
def browser(taster):
    client = web_browser()
    client.force_login(taster.user)
    return client


@pytest.fixture
def lot(taster, lexicon):
    return tasted_lot(taster)


def of(lot, form):
    return f"/lots/{lot.id}/report.{form}"


def made(client, address):
    """Return a document after its job has run."""
    first = client.get(address)
    assert first.status_code == 202
    typeset(str(RenderedDocument.objects.get(made_at=None).id))
    return client.get(address)


@pytest.mark.parametrize("form", FORMS)
def test_document_is_requested_once_rendered_by_the_job_and_then_sent(taster, browser, lot, form):
    waiting = [client.get(of(lot, form)) for client in (taster.client, browser)]
    assert [answer.status_code for answer in waiting] == [202, 202]
    assert {answer["Retry-After"] for answer in waiting} == {"2"}
    assert (waiting[0].content, 'http-equiv="refresh"' in waiting[1].content.decode()) == (b"", True)
    document = RenderedDocument.objects.get()
    typeset(str(document.id))
    typeset(str(document.id))  # a message may come twice
    answer = taster.client.get(of(lot, form))

    assert (answer.status_code, answer["Content-Type"]) == (200, {"pdf": "application/pdf", "png": "image/png"}[form])
    assert answer["X-Content-Type-Options"] == "nosniff"
    assert answer.content[:4] == {"pdf": b"%PDF", "png": b"\x89PNG"}[form]
    again = taster.client.get(of(lot, form), headers={"if-none-match": answer["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    document.refresh_from_db()
    assert (document.payload, document.failure, RenderedDocument.objects.count()) == (None, "", 1)


def test_document_is_rendered_again_when_a_note_changes_it_and_not_before(taster, lot):
    before = made(taster.client, of(lot, "pdf"))
    assert taster.client.get(of(lot, "pdf")).content == before.content
    taster.client.patch(f"/api/v1/lots/{lot.id}/", {"name": "Cloud Ridge"})
    after = made(taster.client, of(lot, "pdf"))

    assert ("Mist Ridge" in text_of(before.content), "Cloud Ridge" in text_of(after.content)) == (True, True)
    assert before["ETag"] != after["ETag"]


def test_document_that_cannot_be_rendered_answers_so_and_stores_why(taster, browser, lot):
    taster.client.get(of(lot, "pdf"))
    document = RenderedDocument.objects.get()

    def broken(*_):
        raise ValueError("no such layout")

    render_document(document.id, typeset=broken, now=timezone.now())
    page = browser.get(of(lot, "pdf"))
    document.refresh_from_db()
    assert (page.status_code, "could not be made" in page.content.decode()) == (500, True)
    assert refusal(taster.client.get(of(lot, "pdf"))) == (500, "document-failed", set())
    assert (document.failure, document.payload, document.content) == ("ValueError: no such layout", None, None)


def test_lost_job_is_enqueued_again(taster, monkeypatch):
    asked = []
    monkeypatch.setattr("tastings.actions.documents.later", lambda job, row: asked.append(row))
    now = timezone.now()
    wanted = {"digest": "a" * 64, "layout": "card", "form": "pdf", "payload": {"x": 1}}
    for seconds in (0, 5, 30, 31):
        request_document(taster.team.id, **wanted, now=now + timedelta(seconds=seconds))
    assert asked == [str(RenderedDocument.objects.get().id)] * 2


def test_unread_documents_are_deleted(taster):
    now = timezone.now()
    for days, digest in ((0, "a"), (29, "b"), (31, "c")):
        request_document(
            taster.team.id, digest=digest * 64, layout="card", form="pdf", payload={}, now=now - timedelta(days=days)
        )
    RenderedDocument.objects.update(content=b"%PDF", made_at=now, payload=None)
    request_document(
        taster.team.id, digest="d" * 64, layout="card", form="pdf", payload={}, now=now - timedelta(days=2)
    )
    assert delete_old_documents(now=now) == 2  # unread for a month, and asked for two days ago without ever being made
    assert set(RenderedDocument.objects.values_list("digest", flat=True)) == {"a" * 64, "b" * 64}


def test_documents_of_a_team_are_bounded(taster, stranger, monkeypatch):
    assert MAX_DOCUMENTS == 500
    monkeypatch.setattr("tastings.actions.documents.MAX_DOCUMENTS", 3)
    now = timezone.now()
    request_document(
        stranger.team.id, digest="f" * 64, layout="card", form="pdf", payload={}, now=now - timedelta(hours=9)
    )
    for hour, digest in enumerate("abcde"):
        request_document(
            taster.team.id, digest=digest * 64, layout="card", form="pdf", payload={}, now=now + timedelta(hours=hour)
        )
    digests = RenderedDocument.objects.filter(team=taster.team).values_list("digest", flat=True)
    assert {digest[0] for digest in digests} == set("cde")
    assert RenderedDocument.objects.filter(team=stranger.team).count() == 1


def test_svg_and_csv_are_of_the_same_figures(taster, lot):
    figures = taster.client.get(f"/api/v1/lots/{lot.id}/development").json()
    rows = list(csv.DictReader(io.StringIO(taster.client.get(of(lot, "csv")).content.decode())))
    svg = taster.client.get(of(lot, "svg"))

    for curve in figures["curves"]:
        read = [row for row in rows if row["descriptor"] == curve["descriptor"]]
        assert [
            {
                **{name: float(row[name]) for name in ("mean", "low", "high")},
                **{name: int(row[name]) for name in ("infusion", "n")},
                "observed": float(row["observed"]) if row["observed"] else None,
            }
            for row in read
        ] == curve["points"]
    assert svg["Content-Type"] == "image/svg+xml; charset=utf-8"
    assert len(svg.content) < 60_000


def test_page_tells_of_guide_and_links_to_sessions_and_files(taster, lot):
    page = taster.client.get(f"/lots/{lot.id}/report/").content.decode()
    [session] = taster.client.get(f"/api/v1/sessions/?lot={lot.id}").json()["results"]

    assert "How to brew it" in page
    assert "China" in page
    for link in (f"/lots/{lot.id}/sessions/{session['id']}/", of(lot, "pdf"), of(lot, "png"), f"/lots/{lot.id}/card/"):
        assert f'href="{link}"' in page


def test_session_page_tells_how_it_was_brewed_and_what_was_noted(taster, viewer, lot):
    [session] = taster.client.get(f"/api/v1/sessions/?lot={lot.id}").json()["results"]
    address = f"/lots/{lot.id}/sessions/{session['id']}/"
    page = viewer.client.get(address).content.decode()

    assert "Pour by pour" in page
    assert '<th role="columnheader" scope="col" class="rating"><bdi>Strength</bdi></th>' in page
    assert '<td role="cell" class="rating" data-label="Strength"><strong>7.5</strong></td>' in page
    assert f'href="/lots/{lot.id}/report/"' in page
    other = LotFactory(team=taster.team, by=taster.user)
    assert viewer.client.get(f"/lots/{other.id}/sessions/{session['id']}/").status_code == 404


def test_private_session_has_a_page_for_its_taster_only(taster, owner):
    session = SessionFactory(lot=LotFactory(team=taster.team, by=taster.user), by=taster.user, private=True)
    address = f"/lots/{session.lot_id}/sessions/{session.id}/"
    assert (taster.client.get(address).status_code, owner.client.get(address).status_code) == (200, 404)


@pytest.fixture
def photos(settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path / "photos", 0


@pytest.mark.usefixtures("photos")
def test_photos_of_lot_and_shared_sessions_are_in_the_report(taster, viewer, lot):
    session = SessionFactory(lot=lot, by=taster.user)
    private = SessionFactory(lot=lot, by=taster.user, private=True)
    of_lot, thumbnail = photo_of(taster, lot=lot)
    of_session, _ = photo_of(taster, session=session, of="other")
    hidden, _ = photo_of(taster, session=private)
    foreign, _ = photo_of(taster, lot=LotFactory(team=taster.team, by=taster.user))
    page = viewer.client.get(f"/lots/{lot.id}/report/").content.decode()
    shown = {photo.id: f"/lots/{lot.id}/photos/{photo.id}.jpg" for photo in (of_lot, of_session, hidden, foreign)}

    assert [f'src="{href}"' in page for href in shown.values()] == [True, True, False, False]
    answers = [viewer.client.get(href) for href in shown.values()]
    assert [answer.status_code for answer in answers] == [200, 200, 404, 404]
    assert answers[0].content == thumbnail
    again = viewer.client.get(shown[of_lot.id], headers={"if-none-match": answers[0]["ETag"]})
    assert (again.status_code, again.content) == (304, b"")
    assert answers[0]["Content-Type"] == "image/jpeg"


def card(lot, form="", **query):
    return f"/lots/{lot.id}/card{form or '/'}" + "".join(f"?{name}={value}" for name, value in query.items())


def test_card_is_a_page_and_markdown_in_each_language(taster, lot):
    english, german = (taster.client.get(card(lot, ".md", lang=lang)) for lang in ("en", "de"))
    page = taster.client.get(card(lot, lang="de")).content.decode()

    assert english["Content-Type"] == "text/markdown; charset=utf-8"
    assert "# Mist Ridge" in english.content.decode()
    assert "## Was Sie erwartet" in german.content.decode()
    assert '<html lang="de">' in page
    assert f'href="{card(lot, ".pdf", lang="de")}"' in page
    assert taster.client.get(card(lot, ".md")).content == english.content


def test_price_typed_for_the_card_is_on_every_file_of_it(taster, lot):
    browser = web_browser()
    browser.force_login(taster.user)
    page = browser.get(f"/lots/{lot.id}/card/", {"lang": "de", "price": "29,50 € / 100 g"}).content.decode()
    links = [value for _tag, name, value in Seen(page).attributes if name == "href"]
    files = [link for link in links if "/card.pdf" in link or "/card.md" in link]
    assert len(files) == 3  # Print, PDF and Markdown
    assert {parse_qs(urlsplit(link).query)["price"][0] for link in files} == {"29,50 € / 100 g"}
    written = browser.get(next(link for link in files if "/card.md" in link)).content.decode()
    assert "**29,50 € / 100 g**" in written
    assert "price=" not in browser.get(f"/lots/{lot.id}/card/").content.decode()


def test_card_as_pdf_is_made_by_the_job(taster, lot):
    answer = made(taster.client, card(lot, ".pdf", lang="de"))
    assert (answer.status_code, answer["Content-Type"]) == (200, "application/pdf")
    assert "Mist Ridge" in text_of(answer.content)
    assert "verbrüht" in text_of(answer.content)


@pytest.mark.parametrize("form", ["", ".md", ".pdf"])
@pytest.mark.parametrize("lang", ["xx", "EN", "../words.en"])
def test_card_in_an_unknown_language_is_not_there_and_says_which_are(taster, lot, form, lang):
    answer = taster.client.get(card(lot, form, lang=lang))
    assert answer.status_code == 404
    assert "en, de" in answer.content.decode()


def test_files_are_reached_by_browser_session_as_well(taster, browser, lot):
    for address in (of(lot, "csv"), of(lot, "svg"), card(lot, ".md")):
        assert browser.get(address).content == taster.client.get(address).content


def test_hostile_session_is_shown_as_text(taster, lexicon):
    hostile = "<script>alert(1)</script>{{ 7|add:7 }}"
    lot = change("lot", name=hostile, kind="green")
    tasting = session_of(lot["id"], [7])
    session = tasting[0]["id"]
    tasting[0]["fields"] |= {"water": hostile, "remarks": hostile}
    word = change("descriptor", key="odd_word", label=hostile, rated_each_infusion=False)
    note = change("note", session=session, moment="dry_leaf", descriptor="odd_word", text=hostile)
    sync(taster.client, [word, lot, *tasting, note])
    page = taster.client.get(f"/lots/{lot['id']}/sessions/{session}/").content.decode()
    assert "<script" not in page
    assert page.count("&lt;script&gt;") >= 5
    assert json.dumps(page).count("{{ 7|add:7 }}") >= 5
