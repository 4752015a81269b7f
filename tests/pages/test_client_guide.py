"""The guide for people who build a client, as a page."""

import json
import re

import pytest
from django.test import Client

from config.dev.home import ROOT
from tests.factories import phone

ADDRESSES = {"/api/v1/docs/client": "client.md", "/api/v1/docs/conformance": "conformance/README.md"}
pytestmark = pytest.mark.django_db


def links_of(page):
    """Return the links of the document itself that lead to this server."""
    article = page.partition("<article")[2].partition("</article>")[0]
    return [link for link in re.findall(r'href="([^"]+)"', article) if link.startswith(("/", "#"))]


@pytest.mark.parametrize(("address", "document"), ADDRESSES.items())
def test_page_has_every_heading_and_row_of_the_document(address, document):
    text = (ROOT / "docs" / document).read_text("utf-8")
    page = Client().get(address).content.decode()
    rows = [line for line in text.splitlines() if line.startswith("| ") and not line.startswith("| ---")]

    assert page.count("<h1>") == 1
    assert len(re.findall(r"<h[23][ >]", page)) == len(re.findall(r"^##+ ", text, re.MULTILINE)) > 2
    assert page.count("<tr>") == len(rows) > 10
    assert "<script" not in page
    assert '<article class="document" lang="en">' in page


@pytest.mark.parametrize("address", ADDRESSES)
def test_every_link_of_the_page_leads_somewhere(address):
    page = Client().get(address).content.decode()
    anchors = set(re.findall(r' id="([^"]+)"', page))
    links = links_of(page)

    assert [link for link in links if link.startswith("#") and link[1:] not in anchors] == []
    followed = {link: Client().get(link, follow=True).status_code for link in links if link.startswith("/")}
    assert {link: status for link, status in followed.items() if status != 200} == {}
    assert any(link.endswith("/merged.json") for link in links)


def test_link_to_a_file_that_is_not_served_is_plain_text():
    page = Client().get("/api/v1/docs/client").content.decode()

    assert "how well it reads" in page
    assert "reading.md" not in page


def test_api_page_and_document_lead_to_the_guide():
    assert 'href="/api/v1/docs/client"' in Client().get("/api/v1/docs").content.decode()
    document = phone().get("/api/v1/schema", {"format": "json"}).json()
    assert "`/api/v1/docs/client`" in document["info"]["description"]


@pytest.mark.parametrize("name", ["conformance/merged.json", "examples/first-tasting.json"])
def test_files_are_sent_as_they_are(name):
    answer = phone().get(f"/api/v1/docs/{name}")

    assert answer["Content-Type"] == "application/json"
    assert json.loads(answer.content) == json.loads((ROOT / "docs" / name).read_text("utf-8"))


@pytest.mark.parametrize("name", ["none-such.json", "README.md", "..%2Fclient.md", "%2e%2e%2fREADME.md"])
def test_other_files_are_not_there(name):
    assert phone().get(f"/api/v1/docs/conformance/{name}").status_code == 404


def test_every_case_is_listed_in_the_readme():
    readme = (ROOT / "docs" / "conformance" / "README.md").read_text("utf-8")
    listed = set(re.findall(r"^\| \[\w+\]\((\w+\.json)\)", readme, re.MULTILINE))

    assert listed == {file.name for file in (ROOT / "docs" / "conformance").glob("*.json")}
