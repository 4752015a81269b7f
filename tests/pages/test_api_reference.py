"""The API's own pages: all of the OpenAPI document, in words."""

import re
from html import unescape

import pytest
from django.test import Client

from api.http.document import TAGS
from tests.factories import phone

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def document(django_db_setup, django_db_blocker):
    with django_db_blocker.unblock():
        return phone().get("/api/v1/schema", {"format": "json"}).json()


def page_of(name=""):
    return Client().get(f"/api/v1/docs/{name}".removesuffix("/")).content.decode()


def text_of(html):
    """Return what people read, with single blanks."""
    return " ".join(unescape(re.sub(r"<[^>]+>", "", html)).split())


def section(page, operation):
    return text_of(page.partition(f'<section id="{operation}">')[2].partition("</section>")[0])


def test_contents_list_every_operation_and_lead_to_it(document):
    page = page_of()
    listed = re.findall(r'href="/api/v1/docs/(\w+)#(\w+)"', page)
    operations = [one for methods in document["paths"].values() for one in methods.values()]

    assert sorted(listed) == sorted((one["tags"][0], one["operationId"]) for one in operations)
    assert all(path in page for path in document["paths"])
    assert all(f'href="/problems/{name}"' in page for name in ("invalid", "start-again"))


@pytest.mark.parametrize("name", TAGS)
def test_page_has_every_operation_field_and_status_of_its_resource(document, name):
    page = page_of(name)
    schemas = document["components"]["schemas"]
    missing = []
    for path, methods in document["paths"].items():
        for method, operation in methods.items():
            if operation["tags"] != [name]:
                continue
            shown = section(page, operation["operationId"])
            bodies = operation.get("requestBody", {}).get("content", {}).values()
            named = [schemas.get(body["schema"].get("$ref", "").rpartition("/")[2], {}) for body in bodies]
            words = [f"{method.upper()} {path}", *operation["responses"]]
            words += [field for schema in named for field in schema.get("properties", ())]
            words += [one["name"] for one in operation.get("parameters", ()) if "name" in one]
            missing += [(path, method, word) for word in words if word not in shown]

    assert missing == []


@pytest.mark.parametrize("name", ["", *TAGS])
def test_every_link_within_the_page_leads_somewhere(name):
    page = page_of(name)
    anchors = re.findall(r' id="([^"]+)"', page)

    assert len(anchors) == len(set(anchors))
    assert {link for link in re.findall(r'href="#([^"]+)"', page) if link not in anchors} == set()


@pytest.mark.parametrize(
    ("name", "operation", "words"),
    [
        ("infusions", "infusion_create", "steep_s required number, 0 to 86,400 s — from filled to first pour"),
        ("infusions", "infusion_create", "water_ml number, more than 0, at most 10,000 ml, or null — water poured on"),
        ("lots", "lot_create", "kind required one of green, white, yellow, oolong, black, dark, scented, herbal —"),
        ("lots", "lot_create", "harvest_year whole number, 1900 to 2200, or null"),
        ("lots", "lot_create", '"name": "Mist Ridge spring"'),
        ("lots", "lot_list", "limit whole number, 1 to 500, 100 when left out — how many at most"),
        ("sync", "sync_create", "changes list of SentChangeRequest, at most 1,000 values"),
        ("account", "auth_tokens_create", "one of SignInRequest or CodeSignInRequest"),
    ],
)
def test_field_is_written_with_its_unit_and_limits(name, operation, words):
    assert words in section(page_of(name), operation)


def test_types_have_one_entry_each_with_all_fields(document):
    page = page_of("lots")
    entry = text_of(page.partition('id="Development"')[2].partition('class="entry"')[0])

    assert all(field in entry for field in document["components"]["schemas"]["Development"]["properties"])
    assert "list of DescriptorCurve" in entry


def test_page_is_sent_once_and_has_no_script(client):
    first = client.get("/api/v1/docs/lots")
    again = client.get("/api/v1/docs/lots", headers={"If-None-Match": first["ETag"]})

    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert client.get("/api/v1/docs/lots", headers={"Accept-Language": "de"})["ETag"] != first["ETag"]
    assert b"<script" not in first.content


def test_resource_that_does_not_exist_is_not_there():
    assert phone().get("/api/v1/docs/none-such").status_code == 404
    assert phone().post("/api/v1/docs/lots").status_code == 405
