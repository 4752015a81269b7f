"""What is computed of a lot, as a client gets it."""

from datetime import UTC, datetime
from uuid import uuid4

import pytest

from lots.models import Lot
from tastings.actions.developments import refresh_development
from tastings.models import Descriptor
from tests.api.phone import change, sync, verdict_names
from tests.api.problems import refusal
from tests.factories import LotFactory

# the contract's members
MEMBERS = {
    "lot", "revision", "computed_at", "stale", "evidence", "even_brew", "profile", "steeps", "forecast", "curves",
    "layers", "departures", "next", "cautions", "sentence", "otherwise",
}  # fmt: skip
EVEN_BREW = {
    "leaf_g": 5, "vessel_ml": 110, "kettle_c": 100, "warmed": True, "rinse_s": 10, "contact_s": 20, "infusions": 12,
}  # fmt: skip


def address(lot):
    return f"/api/v1/lots/{lot}/development"


def session_of(lot, strengths):
    """Return the changes of one session with a strength rating for each cup."""
    session = change("session", lot=str(lot), started_at="2026-03-04T10:00:00Z", leaf_g=5, vessel_ml=110, warmed=True)
    changes = [session]
    for number, strength in enumerate(strengths, 1):
        pour = change("infusion", session=session["id"], number=number, steep_s=15, pour_s=10, kettle_c=100)
        rating = {"moment": "mouth", "descriptor": "strength", "intensity": strength}
        changes += [pour, change("note", session=session["id"], infusion=pour["id"], **rating)]
    return changes


@pytest.fixture
def lot(taster, lexicon):
    return LotFactory(team=taster.team, by=taster.user)


def test_lot_without_a_session_has_no_evidence_and_no_curves(viewer, lot):
    answer = viewer.client.get(address(lot.id))
    figures = answer.json()

    assert answer.status_code == 200
    assert figures.keys() == MEMBERS
    assert figures["evidence"] == {"sessions": 0, "infusions": 0, "tasters": 0, "shops": 0, "left_out": []}
    assert (figures["lot"], figures["stale"], figures["computed_at"], figures["curves"]) == (
        str(lot.id),
        False,
        None,
        [],
    )
    assert figures["profile"]["label"] == "undecided"
    assert figures["even_brew"] == EVEN_BREW  # contract, "Even brew"


@pytest.mark.parametrize("which", ["absent", "malformed", "deleted"])
def test_lot_that_is_not_there_has_no_figures(taster, lot, which):
    if which == "deleted":
        taster.client.delete(f"/api/v1/lots/{lot.id}/")

    asked = {"absent": uuid4(), "malformed": "x", "deleted": lot.id}[which]
    assert refusal(taster.client.get(address(asked))) == (404, "not-here", set())


def test_figures_are_stale_until_the_change_is_in_them(taster, lot):
    nothing = taster.client.get(address(lot.id))
    pushed = sync(taster.client, session_of(lot.id, [6, 7.5, 7, 6, 5]))
    behind = taster.client.get(address(lot.id), HTTP_IF_NONE_MATCH=nothing["ETag"])
    refresh_development(lot.id, now=datetime.now(UTC))
    ready = taster.client.get(address(lot.id), HTTP_IF_NONE_MATCH=behind["ETag"])
    again = taster.client.get(address(lot.id), HTTP_IF_NONE_MATCH=ready["ETag"])

    assert set(verdict_names(pushed)) == {"applied"}
    assert (behind.status_code, behind.json()["stale"], behind.json()["evidence"]["sessions"]) == (200, True, 0)
    figures = ready.json()
    assert (ready.status_code, figures["stale"], figures["revision"]) == (200, False, pushed["cursor"])
    assert figures["evidence"] == {"sessions": 1, "infusions": 5, "tasters": 1, "shops": 0, "left_out": []}
    assert [curve["descriptor"] for curve in figures["curves"]] == ["strength"]
    assert list(figures["otherwise"]) == ["descriptor", "points", "sentence"]
    assert list(figures["otherwise"]["points"][0]) == ["infusion", "ratings", "departed", "shown", "otherwise"]
    points = figures["curves"][0]["points"]
    assert [point["infusion"] for point in points] == list(range(1, 13))
    assert [point["n"] for point in points] == [1] * 5 + [0] * 7
    assert all(point["low"] <= point["mean"] <= point["high"] for point in points)
    assert (again.status_code, again.content, again["ETag"]) == (304, b"", ready["ETag"])


def test_figures_take_as_many_queries_with_evidence_as_without(taster, lot, django_assert_num_queries):
    taster.client.get("/api/v1/me")
    with django_assert_num_queries(5):  # whose team; the token with its member; the lot; the figures; the labels
        taster.client.get(address(lot.id))
    sync(taster.client, session_of(lot.id, [5, 4]))
    refresh_development(lot.id, now=datetime.now(UTC))
    with django_assert_num_queries(5):
        taster.client.get(address(lot.id))


def test_figures_have_another_etag_when_a_descriptor_is_renamed(taster, lot):
    word = change("descriptor", key="honeyed", label="Honey of the hills", rated_each_infusion=True)
    tasting = session_of(lot.id, [6, 5])
    mouth = {"moment": "mouth", "descriptor": "honeyed", "intensity": 7}
    poured = [one["id"] for one in tasting if one["type"] == "infusion"]
    notes = [change("note", session=tasting[0]["id"], infusion=one, **mouth) for one in poured]
    sync(taster.client, [word, *tasting, *notes])
    refresh_development(lot.id, now=datetime.now(UTC))
    before = taster.client.get(address(lot.id))
    taster.client.patch(f"/api/v1/descriptors/{word['id']}/", {"label": "Comb honey"})
    after = taster.client.get(address(lot.id), HTTP_IF_NONE_MATCH=before["ETag"])

    assert "oney of the hills" in before.json()["sentence"]
    assert (after.status_code, "omb honey" in after.json()["sentence"]) == (200, True)


def test_figures_cannot_be_written(taster, lot):
    for method in ("post", "put", "patch", "delete"):
        assert refusal(getattr(taster.client, method)(address(lot.id)))[:2] == (405, "method-not-allowed")


def test_lexicon_holds_what_the_figures_need(lexicon):
    # contract, "Records": always there, rated 0 to 10
    always = {
        "strength", "liking", "body", "sweetness", "bitterness", "astringency", "savouriness", "aroma", "finish",
        "minerality", "roast",
    }  # fmt: skip
    assert set(Descriptor.objects.filter(team=None, rated_each_infusion=True).values_list("key", flat=True)) >= always


def test_sweetness_at_the_finish_is_a_curve_of_its_own(taster, lot):
    tasting = session_of(lot.id, [6, 7, 6])
    pours = [one["id"] for one in tasting if one["type"] == "infusion"]
    for pour, mouth, finish in zip(pours, (5, 4, 3), (1, 6, 8), strict=True):
        for moment, intensity in (("mouth", mouth), ("finish", finish)):
            rating = {"moment": moment, "descriptor": "sweetness", "intensity": intensity}
            tasting.append(change("note", session=tasting[0]["id"], infusion=pour, **rating))
    for pour in pours:
        length = {"moment": "finish", "descriptor": "finish", "intensity": 7}
        tasting.append(change("note", session=tasting[0]["id"], infusion=pour, **length))
    assert set(verdict_names(sync(taster.client, tasting))) == {"applied"}
    refresh_development(lot.id, now=datetime.now(UTC))
    curves = taster.client.get(address(lot.id)).json()["curves"]

    assert [one["descriptor"] for one in curves] == ["strength", "sweetness", "finish", "returning_sweetness"]
    returning = curves[3]["points"]
    assert [one["n"] for one in returning[:4]] == [1, 1, 1, 0]
    assert returning[0]["observed"] < returning[1]["observed"] < returning[2]["observed"]
    assert curves[1]["points"][0]["observed"] > curves[1]["points"][2]["observed"]


def test_unrated_returning_sweetness_is_noted_and_has_no_curve(taster, lot):
    tasting = session_of(lot.id, [6, 7])
    note = {"moment": "finish", "descriptor": "returning_sweetness"}
    sync(taster.client, [*tasting, change("note", session=tasting[0]["id"], infusion=tasting[1]["id"], **note)])
    refresh_development(lot.id, now=datetime.now(UTC))
    assert [one["descriptor"] for one in taster.client.get(address(lot.id)).json()["curves"]] == ["strength"]


def test_very_different_waters_are_a_caution_in_answer_and_report(taster, lot):
    def brewed(tds_mg_l):
        tasting = session_of(lot.id, [6, 7])
        tasting[0]["fields"]["water_tds_mg_l"] = tds_mg_l
        sync(taster.client, tasting)
        refresh_development(lot.id, now=datetime.now(UTC))
        page = taster.client.get(f"/lots/{lot.id}/report/").content.decode()
        cautions = taster.client.get(address(lot.id)).json()["cautions"]
        warned = "very different waters, 40 to 210 mg of dissolved solids in a litre"
        return warned in page, any(warned in caution for caution in cautions)

    assert [brewed(tds_mg_l) for tds_mg_l in (40, 120, 210)] == [(False, False), (False, False), (True, True)]


def test_caution_of_what_the_leaf_contains_is_that_of_its_kind(taster, lot):
    Lot.objects.filter(id=lot.id).update(kind="herbal")
    sync(taster.client, session_of(lot.id, [6, 7]))
    refresh_development(lot.id, now=datetime.now(UTC))
    cautions = " ".join(taster.client.get(address(lot.id)).json()["cautions"])
    page = taster.client.get(f"/lots/{lot.id}/report/").content.decode()
    assert ("What a herbal lot holds" in cautions, "of tea leaf" in cautions) == (True, False)
    assert ("What a herbal lot holds" in page, "of tea leaf" in page) == (True, False)
