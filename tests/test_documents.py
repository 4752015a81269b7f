"""The documents are true: links and named files exist, the example of the README is what a phone may send."""

import json
import re

import pytest

from config.dev.home import ROOT
from tests.factories import person

DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
MOST_WORDS = 900


def test_readme_is_short():
    assert len((ROOT / "README.md").read_text("utf-8").split()) <= MOST_WORDS


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda file: file.name)
def test_links_lead_to_files(document):
    links = re.findall(r"\]\(([^)#]+)[^)]*\)", document.read_text("utf-8"))
    files = [link for link in links if "://" not in link]

    assert [link for link in files if not (document.parent / link).exists()] == []


@pytest.mark.parametrize("document", DOCUMENTS, ids=lambda file: file.name)
def test_files_of_the_project_that_are_named_exist(document):
    folders = "api|benchmarks|config|docs|lots|pages|table|tastings|teams|tests"
    named = re.findall(rf"`((?:{folders})/[\w./-]*)`", document.read_text("utf-8"))

    assert [name for name in named if not (ROOT / name).exists()] == []


def test_first_tasting_of_the_readme_is_applied(team, lexicon):
    owner = person(team, "owner")
    body = json.loads((ROOT / "docs" / "examples" / "first-tasting.json").read_text("utf-8"))

    answer = owner.client.post("/api/v1/sync", body).json()

    assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["applied"] * len(body["changes"])
