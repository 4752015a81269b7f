"""A query parameter that the OpenAPI document does not name is refused by every operation of the API."""

import pytest

from tests.api.openapi import DOCUMENT
from tests.api.problems import refusal
from tests.api.rules import RULES
from tests.api.test_described import DESCRIBED
from tests.api.world import a_world

pytestmark = pytest.mark.django_db

OPERATIONS = sorted(DESCRIBED)


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


def named_in_document(address, method):
    parameters = DOCUMENT["paths"][address.removesuffix("/")][method].get("parameters", [])
    return {one["name"] for one in parameters if one.get("in") == "query"}


@pytest.mark.parametrize(("address", "method"), OPERATIONS)
def test_unknown_parameter_is_refused_and_nothing_is_stored(world, address, method):
    role = next((role for role in ("owner", "buyer", "taster") if RULES[address, method][role] == "ok"), "owner")
    sent, before = world.request(address, method, role), method == "get" or world.digests()
    asked = world.phones[role].generic(
        method.upper(), f"{sent.address}{'&' if '?' in sent.address else '?'}foo=1&limit[]=2&lang=", b"", **sent.headers
    )

    assert refusal(asked) == (422, "invalid", {(name, "unknown_filter") for name in ("foo", "limit[]", "lang")})
    assert method == "get" or world.digests() == before


@pytest.mark.parametrize(("address", "method"), [one for one in OPERATIONS if named_in_document(*one)])
def test_named_parameter_is_never_unknown(world, address, method):
    names = named_in_document(address, method)
    sent = world.request(address, method, "owner")
    path = sent.address.partition("?")[0]
    for name in names:
        answer = world.phones["owner"].generic(method.upper(), f"{path}?{name}=x", b"", **sent.headers)
        codes = {code for _, code in refusal(answer)[2]} if answer.status_code == 422 else set()
        assert "unknown_filter" not in codes, name


def test_several_operations_have_parameters():
    assert len([one for one in OPERATIONS if named_in_document(*one)]) > 12


@pytest.mark.parametrize(
    ("address", "name"),
    [("members/?role=owner", "role"), ("shops/?limit=1", "limit"), ("me?format=json", "format"), ("sync?x", "x")],
)
def test_refusal_says_which_parameters_there_are(owner, address, name):
    method = "post" if address.startswith("sync") else "get"
    answer = getattr(owner.client, method)(f"/api/v1/{address}")

    assert answer.json()["problems"] == [
        {"field": name, "code": "unknown_filter", "detail": "there are no parameters here"}
    ]
    [problem] = owner.client.get("/api/v1/photos/?of=liquor").json()["problems"]
    assert problem["detail"] == "the parameters here are session, lot, after, limit"


def test_who_is_not_signed_in_is_asked_to_sign_in_first(world):
    assert world.phones["nobody"].get("/api/v1/members/?foo=1").status_code == 401
