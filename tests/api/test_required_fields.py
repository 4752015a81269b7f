"""A required field that is missing or null has the code ``required``, whatever its type and whichever the route."""

import json

import pytest

from tests.api.openapi import DOCUMENT
from tests.api.problems import refusal
from tests.api.test_body_validation import JSON, Route
from tests.api.world import a_world

pytestmark = pytest.mark.django_db


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


def described_body(address, method):
    """Return the schema of a body as the OpenAPI document has it; of several the first."""
    operation = DOCUMENT["paths"][address.removesuffix("/")][method]
    schema = operation["requestBody"]["content"]["application/json"]["schema"]
    while "$ref" in schema or "oneOf" in schema:
        reference = (schema.get("oneOf") or [schema])[0]["$ref"]
        schema = DOCUMENT["components"]["schemas"][reference.rpartition("/")[2]]
    return schema


REQUIRED = [
    (address, method, name) for address, method in JSON for name in described_body(address, method).get("required", ())
]


def test_most_routes_with_a_body_have_a_required_field():
    assert len({(address, method) for address, method, _ in REQUIRED}) > len(JSON) / 2


@pytest.mark.parametrize(("address", "method", "name"), REQUIRED)
def test_missing_or_null_required_field_is_named(world, address, method, name):
    route = Route(world, address, method)
    without = {field: value for field, value in route.sent.body.items() if field != name}
    answers = [route.ask(json.dumps(body)) for body in (without, {**without, name: None})]

    assert [refusal(answer) for answer in answers] == [(422, "invalid", {(name, "required")})] * 2


@pytest.mark.parametrize(
    ("address", "method", "name"),
    [
        ("/api/v1/auth/tokens", "post", "team"),
        ("/api/v1/auth/tokens/from-session", "post", "team"),
        ("/api/v1/invitations/", "post", "expires_at"),
        ("/api/v1/invitations/accept", "post", "device"),
        ("/api/v1/invitations/accept", "post", "existing"),
        ("/api/v1/shops/{shop_id}/", "patch", "usual_pot"),
        ("/api/v1/team", "patch", "ready_roast"),
        ("/api/v1/flights/{flight_id}/reveal", "post", "reason"),
        ("/api/v1/lots/", "post", "cultivar"),
    ],
)
def test_null_in_an_optional_field_is_the_same_as_none(world, address, method, name):
    route = Route(world, address, method)
    without = {field: value for field, value in route.sent.body.items() if field != name}
    statuses = [route.ask(json.dumps(body)).status_code for body in (without, {**without, name: None})]

    assert statuses[0] == statuses[1]
    if name != "reason":  # needed while cups are not tasted
        assert statuses[0] < 300


@pytest.mark.parametrize(
    ("address", "method", "name"),
    [("/api/v1/shops/{shop_id}/", "patch", "name"), ("/api/v1/members/{user_id}/", "patch", "shop")],
)
def test_null_in_an_optional_field_that_cannot_be_null_is_refused(world, address, method, name):
    answer = Route(world, address, method).ask(json.dumps({name: None}))

    assert refusal(answer) == (422, "invalid", {(name, "required")})
