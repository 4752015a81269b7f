"""The team's logo in the browser: uploaded by an owner, checked by a worker, shown beside the name, removed."""

import io
from itertools import chain
from urllib.parse import urlsplit

import pytest
from django.core.files.uploadedfile import SimpleUploadedFile
from django.utils import timezone
from PIL import Image

from tastings.actions.documents import render_document
from tastings.actions.logos import LARGEST_LOGO, check_logo
from tastings.actions.photo_checks import delete_unused_photos
from tastings.models import PhotoContent, RenderedDocument, TeamLogo
from tastings.reports.typeset import typeset
from tests.api.reported import tasted_lot
from tests.api.test_shares import give
from tests.factories import web_browser
from tests.pages.test_people import browser_of
from tests.tastings.photos.photographs import encode_image, heic

pytestmark = pytest.mark.django_db
ADDRESS = "/team/logo/"


@pytest.fixture(autouse=True)
def folder(settings, tmp_path):
    settings.PHOTOS_DIR, settings.PHOTOS_LEAVE_FREE_BYTES = tmp_path, 0
    return tmp_path


def mark(kind="PNG", size=(60, 30)):
    """Return a file of a mark in one colour on a see-through ground, with a comment where the format has one."""
    picture = Image.new("RGBA", size, (0, 0, 0, 0))
    picture.paste((10, 90, 60, 255), (0, 0, size[0] // 2, size[1]))
    return encode_image(picture.convert("RGB") if kind == "JPEG" else picture, kind)


def upload(who, content):
    """Upload a file and have it checked; return the answer to the upload."""
    answer = browser_of(who).post(ADDRESS, {"file": SimpleUploadedFile("logo", content)})
    check_logo(who.team.id, now=timezone.now())
    return answer


def files_in(folder):
    return [path for path in folder.rglob("*") if path.is_file()]


def shown_on(page):
    return '<p class="merchant"><img' in page.content.decode()


@pytest.mark.parametrize("kind", ["PNG", "JPEG", "WEBP"])
def test_logo_is_written_anew_on_a_white_ground(owner, kind):
    assert upload(owner, mark(kind)).status_code == 302
    answer = browser_of(owner).get("/team/logo.jpg")
    picture = Image.open(io.BytesIO(answer.content))

    assert (answer["Content-Type"], picture.format, picture.size) == ("image/jpeg", "JPEG", (60, 30))
    if kind != "JPEG":
        assert min(picture.getpixel((55, 15))) > 240


def test_logo_stands_beside_the_merchants_name_until_it_is_removed(
    owner, taster, lexicon, folder, django_capture_on_commit_callbacks
):
    lot, mine = tasted_lot(taster), browser_of(owner)
    own, links = (
        [f"/lots/{lot.id}/{name}/" for name in ("report", "card")],
        [urlsplit(give(owner, lot, shows=shows)["link"]).path for shows in ("card", "report")],
    )
    assert not any(shown_on(mine.get(page)) for page in chain(own, links))
    upload(owner, mark())
    guest = web_browser()
    pages = [*(mine.get(page) for page in own), *(guest.get(page) for page in links)]

    assert all(shown_on(page) for page in pages)
    assert mine.get(f"/lots/{lot.id}/logo.jpg").status_code == 200
    assert guest.get(f"{links[0]}logo.jpg").status_code == 200
    for form in ("card.pdf", "report.pdf"):
        mine.get(f"/lots/{lot.id}/{form}")
        document = RenderedDocument.objects.get(made_at=None)
        render_document(document.id, typeset=lambda *given: typeset(*given[:3], pictures=given[3]), now=timezone.now())
        document.refresh_from_db()
        assert b"/Subtype/Image" in document.content.replace(b" ", b"")
    delete_unused_photos(now=timezone.now())
    assert mine.get("/team/logo.jpg").status_code == 200
    with django_capture_on_commit_callbacks(execute=True):
        assert mine.post(ADDRESS, {"do": "remove"}).status_code == 302
    assert not any(shown_on(mine.get(page)) for page in own)
    assert (mine.get("/team/logo.jpg").status_code, PhotoContent.objects.count(), files_in(folder)) == (404, 0, [])


def test_what_is_no_picture_is_refused_and_the_logo_before_it_stays(owner, folder):
    upload(owner, mark())
    for content, why in (
        (b"tea", "no JPEG, PNG"),
        (heic(), "no JPEG, PNG"),
        (mark()[:-40], "cannot be read to its end"),
    ):
        assert upload(owner, content).status_code == 302
        page = browser_of(owner).get(ADDRESS).content.decode()
        assert ("The new picture was not taken" in page, why in page) == (True, True)
    assert browser_of(owner).get("/team/logo.jpg").status_code == 200
    for content in (b"", b"x" * (LARGEST_LOGO + 1)):
        answer = upload(owner, content)
        assert (answer.status_code, 'id="id_file_error"' in answer.content.decode()) == (422, True)
    assert TeamLogo.objects.get().content is not None


def test_large_logo_is_stored_smaller_and_the_one_before_it_is_deleted(
    owner, folder, django_capture_on_commit_callbacks
):
    with django_capture_on_commit_callbacks(execute=True):
        upload(owner, mark())
        upload(owner, mark(size=(3000, 600)))
    content = PhotoContent.objects.get()

    assert (content.width, content.height) == (1200, 240)
    assert len(files_in(folder)) == 2


def test_api_sends_shows_and_removes_the_logo(owner, taster):
    address, kind = "/api/v1/team/logo", "application/octet-stream"
    absent = owner.client.get(address)
    sent = owner.client.generic("PUT", address, mark(), kind)
    waiting = taster.client.get(f"{address}/image").status_code
    check_logo(owner.team.id, now=timezone.now())
    shown, picture = taster.client.get(address), taster.client.get(f"{address}/image")
    content = picture.getvalue()
    again = taster.client.get(f"{address}/image", HTTP_IF_NONE_MATCH=picture["ETag"])
    refused = owner.client.generic("PUT", address, b"x" * (LARGEST_LOGO + 1), kind)
    owner.client.generic("PUT", address, b"no picture", kind)
    check_logo(owner.team.id, now=timezone.now())
    wrong = owner.client.get(address).json()

    assert (absent.status_code, sent.status_code, waiting, refused.status_code) == (404, 202, 404, 413)
    assert (sent.json()["state"], sent.json()["has_picture"]) == ("checking", False)
    assert (shown.json()["state"], shown.json()["has_picture"]) == ("kept", True)
    assert Image.open(io.BytesIO(content)).size == (60, 30)
    assert (again.status_code, picture["Content-Type"]) == (304, "image/jpeg")
    assert (wrong["state"], wrong["reason"], wrong["has_picture"]) == ("refused", "not_an_image", True)
    assert [owner.client.delete(address).status_code for _ in range(2)] == [204, 404]
