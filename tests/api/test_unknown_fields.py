"""A field that a body does not have is refused by every route, and the OpenAPI document says so."""

import json

import pytest

from tests.api.openapi import DOCUMENT, schema_errors
from tests.api.problems import refusal
from tests.api.test_body_validation import JSON, Route
from tests.api.world import a_world

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


@pytest.mark.parametrize(("address", "method"), JSON)
def test_unknown_field_is_refused_and_nothing_is_stored(world, address, method):
    route, before = Route(world, address, method), world.digests()

    assert refusal(route.ask(json.dumps({**route.sent.body, "foo": 1}))) == (422, "invalid", {("foo", "unknown_field")})
    assert world.digests() == before


def test_unknown_field_is_refused_beside_each_way_of_signing_in(world):
    code = Route(world, "/api/v1/auth/tokens", "post").ask(
        json.dumps({"code": "ABCD-EFGH", "device": "phone", "team": None})
    )

    assert refusal(code) == (422, "invalid", {("team", "unknown_field")})


def test_field_of_a_change_is_no_field_of_a_new_shop(owner):
    """A shop is made by its name alone; its usual pot is chosen later."""
    answer = owner.client.post("/api/v1/shops/", {"name": "Harbour", "usual_pot": None})

    assert refusal(answer) == (422, "invalid", {("usual_pot", "unknown_field")})


def test_unknown_field_of_an_object_in_a_body_is_refused(world):
    route = Route(world, "/api/v1/photos/{photo_id}/colour", "post")
    body = {**route.sent.body, "white": {**route.sent.body["white"], "depth": 1}}

    assert refusal(route.ask(json.dumps(body))) == (422, "invalid", {("white.depth", "unknown_field")})


@pytest.mark.parametrize(("address", "method"), JSON)
def test_document_has_no_other_fields_in_a_body(address, method):
    operation = DOCUMENT["paths"][address.removesuffix("/")][method]
    schema = operation["requestBody"]["content"]["application/json"]["schema"]
    for part in schema.get("oneOf", [schema]):
        body = of_reference(part)
        bodies = [body] if "properties" in body else [of_reference(one) for one in body["oneOf"]]
        assert [one["additionalProperties"] for one in bodies] == [False] * len(bodies)


def of_reference(schema):
    """Return the schema of the document that another refers to."""
    return DOCUMENT["components"]["schemas"][schema["$ref"].rpartition("/")[2]]


def test_objects_of_answers_may_have_new_fields():
    shop = {"id": "0198c0de-0000-7000-8000-000000000001", "name": "Harbour", "usual_pot": None}

    assert not schema_errors("Shop", {**shop, "added_later": 1})
    assert schema_errors("ShopNameRequest", {"name": "Harbour", "added_later": 1})
