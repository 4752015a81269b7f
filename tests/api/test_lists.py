"""Lists of records: pages, filters, and as many queries for three rows as for one."""

import json
from uuid import UUID

import pytest

from tastings.schemas import RECORD_SCHEMAS
from tests.api.problems import refusal
from tests.api.records import TYPES, Place, address_of, create
from tests.factories import LotFactory, NoteFactory

every_type = pytest.mark.parametrize("type_name", TYPES)


@pytest.fixture
def place(taster):
    return Place(taster)


@every_type
@pytest.mark.parametrize("more", [0, 2])
def test_list_takes_as_many_queries_for_one_row_as_for_three(
    taster, stranger, type_name, more, django_assert_num_queries
):
    Place(stranger)
    rows = Place(taster).more(type_name, more)
    taster.client.get("/api/v1/me")  # notes when the device last spoke
    with django_assert_num_queries(3):  # whose team; the token with its member; the rows with what they name
        answer = taster.client.get(address_of(type_name)).json()

    assert answer["next"] is None
    assert [row["id"] for row in answer["results"]] == [str(row.id) for row in rows]
    assert answer["results"][0] == taster.client.get(address_of(type_name, rows[0].id)).json()


@every_type
def test_list_pages_hold_every_row_once_in_the_order_of_ids(taster, place, type_name):
    rows = place.more(type_name, 4)
    pages, address = [], f"{address_of(type_name)}?limit=2"
    while address:
        page = taster.client.get(address).json()
        pages.append([row["id"] for row in page["results"]])
        address = page["next"]

    ids = [str(row.id) for row in rows]
    assert pages == [ids[:2], ids[2:4], ids[4:]]


def test_list_page_keeps_the_filter(taster, place):
    for kind in ("green", "white", "green", "green"):
        LotFactory(team=taster.team, by=taster.user, kind=kind)
    first = taster.client.get("/api/v1/lots/?kind=green&limit=2").json()
    rest = taster.client.get(first["next"]).json()

    found = first["results"] + rest["results"]
    assert ([row["kind"] for row in found], len({row["id"] for row in found}), rest["next"]) == (["green"] * 3, 3, None)


@every_type
def test_list_filters_find_those_with_the_value_only(buyer, place, type_name):
    sent = {**place.full(type_name), "taster": str(buyer.user.id)}
    made = create(buyer, type_name, place.full(type_name)).json()
    for name in (name for name in RECORD_SCHEMAS[type_name].filters if sent[name] is not None):
        asked = json.dumps(sent[name]) if isinstance(sent[name], bool) else sent[name]
        answer = buyer.client.get(address_of(type_name), {name: asked})

        assert answer.status_code == 200, answer.content
        rows = answer.json()["results"]
        assert made["id"] in [row["id"] for row in rows]
        assert {row[name] for row in rows} == {sent[name]}


@pytest.mark.parametrize(
    ("query", "problems"),
    [
        ("limit=0", {("limit", "range")}),
        ("limit=501", {("limit", "range")}),
        ("limit=many", {("limit", "range")}),
        ("limit=", {("limit", "range")}),
        ("limit=%D9%A1", {("limit", "range")}),  # a digit, and not an ASCII one
        ("after=here", {("after", "id")}),
        ("name=x", {("name", "unknown_filter")}),
        ("by=x&colour=red", {("by", "unknown_filter"), ("colour", "unknown_filter")}),
        ("kind=beer", {("kind", "choice")}),
        ("kind=", {("kind", "choice")}),
        ("country=xx", {("country", "pattern")}),
        ("country=%00%00", {("country", "characters")}),
        ("harvest_year=spring", {("harvest_year", "type")}),
        ("harvest_year=3000", {("harvest_year", "range")}),
        ("harvest_year=" + "9" * 5000, {("harvest_year", "type")}),
        ("from_lot=x&limit=7", {("from_lot", "id")}),
    ],
)
def test_list_names_what_it_cannot_filter_by(taster, query, problems):
    assert refusal(taster.client.get(f"/api/v1/lots/?{query}")) == (422, "invalid", problems)


def test_list_after_an_id_that_is_not_there_goes_on_from_its_place(taster, place):
    rows = place.more("lot", 2)
    between = UUID(int=rows[0].id.int + 1)
    answer = taster.client.get(f"/api/v1/lots/?after={between}").json()

    assert [row["id"] for row in answer["results"]] == [str(row.id) for row in rows[1:]]


@every_type
def test_list_of_an_empty_team_is_empty(stranger, type_name):
    assert stranger.client.get(address_of(type_name)).json() == {"results": [], "next": None}


def test_notes_of_a_long_list_are_read_in_one_go(taster, place, django_assert_num_queries):
    for _ in range(5):
        NoteFactory(session=place.session)  # each with a word of its own
    taster.client.get("/api/v1/me")
    with django_assert_num_queries(3):
        assert len(taster.client.get("/api/v1/notes/").json()["results"]) == 6
