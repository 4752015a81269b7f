"""The documents are true: links and named files exist, the example of the README is what a phone may send."""

import json
import re

import pytest

from config.dev.home import ROOT
from tests.factories import TeamFactory, person
from tests.tastings.photos.conftest import folder as _folder  # noqa: F401 - photos of a test lie in its own folder
from tests.tastings.photos.photographs import send

DOCUMENTS = [ROOT / "README.md", ROOT / "DEVELOPERS.md", *sorted((ROOT / "docs").glob("*.md"))]
MOST_WORDS = 900
EXAMPLES = {"test_name", "test_name_is_changed_by_a_push"}
"""Tests that are named to show how one is run or written."""


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


def test_tests_that_are_named_exist():
    files = list((ROOT / "tests").rglob("*.py"))
    defined = {name for file in files for name in re.findall(r"def (test_\w+)", file.read_text("utf-8"))}
    named = {name for document in DOCUMENTS for name in re.findall(r"\btest_\w+", document.read_text("utf-8"))}

    assert len(named) > 100
    assert named - defined - {file.stem for file in files} == EXAMPLES


def test_first_tasting_of_the_readme_is_applied(team, lexicon):
    owner = person(team, "owner")
    body = json.loads((ROOT / "docs" / "examples" / "first-tasting.json").read_text("utf-8"))

    answer = owner.client.post("/api/v1/sync", body).json()

    assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["applied"] * len(body["changes"])


def test_first_tasting_of_the_readme_is_for_one_team_alone(team, lexicon):
    body = json.loads((ROOT / "docs" / "examples" / "first-tasting.json").read_text("utf-8"))
    person(team, "owner").client.post("/api/v1/sync", body)

    answer = person(TeamFactory(), "owner").client.post("/api/v1/sync", body).json()

    assert [verdict["verdict"] for verdict in answer["verdicts"]] == ["refused"] * len(body["changes"])
    assert answer["verdicts"][0]["problems"][0]["code"] == "taken"


def test_photo_of_the_guide_is_announced_and_received(team, lexicon):
    guide = (ROOT / "docs" / "client.md").read_text("utf-8").partition("## Photos")[2]
    announcement = json.loads(guide[guide.index("    {") : guide.index("}") + 1])
    tasting = json.loads((ROOT / "docs" / "examples" / "first-tasting.json").read_text("utf-8"))
    taster = person(team, "taster")
    taster.client.post("/api/v1/sync", tasting)
    announced = taster.client.post("/api/v1/photos", announcement)
    pieces = [
        send(taster, f"/api/v1/photos/{announcement['id']}/", bytes(n), offset)
        for n, offset in ((1_048_576, 0), (451_424, 1_048_576))
    ]

    assert announced.status_code == 201, announced.content
    assert taster.client.post("/api/v1/photos", announcement).status_code == 200
    assert [piece.json()["received"] for piece in pieces] == [1_048_576, announcement["bytes"]]
    assert [piece["Upload-Offset"] for piece in pieces] == ["1048576", "1500000"]
