"""The OpenAPI document: valid, complete, and true of what is really answered."""

import ast
from uuid import uuid4

import pytest
from django.conf import settings
from django.core.management import call_command
from drf_spectacular.generators import SchemaGenerator
from jsonschema import Draft202012Validator  # type: ignore[import-untyped]  # its stubs are not installed

from api.http.openapi import CODES, TYPES
from tastings.schemas import RECORD_SCHEMAS
from tests.api.phone import NEW_RECORD, change, post_sync, sync
from tests.api.problems import refusal
from tests.api.records import FULL, Place
from tests.api.records import TYPES as RECORD_TYPES
from tests.api.routes import routes
from tests.factories import phone


@pytest.fixture(scope="module")
def document():
    return SchemaGenerator().get_schema(request=None, public=True)


def operations(document):
    return [
        (path, method, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def schema_errors(document, name, value):
    """Return what of a value does not fit a named schema of the document."""
    schema = {"$ref": f"#/components/schemas/{name}", "components": document["components"]}
    return [error.message for error in Draft202012Validator(schema).iter_errors(value)]


def test_document_is_valid_and_made_without_a_warning(tmp_path):
    call_command("spectacular", validate=True, fail_on_warn=True, file=str(tmp_path / "openapi.yaml"))

    assert (tmp_path / "openapi.yaml").stat().st_size > 10_000


def test_document_is_served_to_anyone(db):
    answer = phone().get("/api/v1/schema", {"format": "json"})

    assert (answer.status_code, answer.json()["info"]["title"]) == (200, "Leafspan")
    assert phone().get("/api/v1/docs").status_code == 200


def test_document_holds_every_route_with_every_method(document):
    there = {
        (address, method)
        for address, _, methods in routes()
        for method in methods
        if address.startswith("/api/v1/") and address not in ("/api/v1/schema", "/api/v1/docs")
    }

    assert {(path, method) for path, method, _ in operations(document)} == there


def test_operations_tell_what_they_may_refuse(document):
    missing = []
    for path, method, operation in operations(document):
        wanted = {"401", "429"}
        wanted |= {"404"} if "{" in path else set()
        wanted |= {"400", "413", "415", "422"} if "requestBody" in operation else set()
        missing += [(path, method, code) for code in sorted(wanted - set(operation["responses"]))]

    assert missing == []


def test_refusals_are_problem_documents(document):
    for path, method, operation in operations(document):
        for code, response in operation["responses"].items():
            if int(code) >= 400:
                content = response["content"]
                assert list(content) == ["application/problem+json"], (path, method, code)
                assert content["application/problem+json"]["schema"] == {"$ref": "#/components/schemas/Problem"}


def test_operations_need_a_token_but_for_getting_in(document):
    open_ones = [
        (path, method)
        for path, method, operation in operations(document)
        if operation.get("security") != [{"bearer": []}]
    ]

    getting_in = ("auth/reset", "auth/reset/password", "auth/tokens", "auth/tokens/from-session", "invitations/accept")
    assert open_ones == [(f"/api/v1/{name}", "post") for name in getting_in]


@pytest.mark.parametrize("type_name", RECORD_TYPES)
def test_record_is_as_documented(taster, document, type_name):
    place, name = Place(taster), type_name.capitalize()
    full, least = {"id": str(uuid4()), **place.full(type_name)}, {"id": str(uuid4()), **place.new(type_name)}
    if type_name == "descriptor":
        least["key"] = "another"
    made = [taster.client.post(f"/api/v1/{type_name}s/", sent) for sent in (full, least)]
    page = taster.client.get(f"/api/v1/{type_name}s/?limit=2").json()
    history = taster.client.get(f"/api/v1/{type_name}s/{full['id']}/history").json()

    assert [answer.status_code for answer in made] == [201, 201]
    assert [schema_errors(document, name, answer.json()) for answer in made] == [[], []]
    assert [schema_errors(document, f"New{name}Request", sent) for sent in (full, least)] == [[], []]
    assert schema_errors(document, f"{name}Page", page) == []
    assert schema_errors(document, "History", history) == []
    described = set(document["components"]["schemas"][name]["properties"])
    assert described == set(made[0].json())
    required = {field.name for field in RECORD_SCHEMAS[type_name].fields if field.required} | {"id"}
    assert set(document["components"]["schemas"][f"New{name}Request"]["required"]) == required


def test_schema_errors_are_found(document):
    assert schema_errors(document, "Shop", {"id": 5, "name": "x"}) == ["5 is not of type 'string'"]
    assert schema_errors(document, "LotPage", {"results": [{}], "next": None}) != []


def test_changed_fields_alone_are_documented_as_a_change(document):
    for type_name, fields in FULL.items():
        described = document["components"]["schemas"][f"PatchedChanged{type_name.capitalize()}Request"]
        assert (set(described["properties"]), described.get("required")) == (set(fields), None)


def test_answers_about_people_are_as_documented(owner, document):
    read = {"Me": "me", "ShopPage": "shops/", "MemberPage": "members/", "DevicePage": "auth/tokens"}
    read |= {"Shop": f"shops/{owner.member.shop_id}/", "Member": f"members/{owner.user.id}/"}

    sent = {"role": "taster", "shop": str(owner.member.shop_id)}
    made = owner.client.post("/api/v1/invitations/", sent).json()
    read |= {"InvitationPage": "invitations/", "AuditPage": "audit"}
    coming = {"token": made["token"], "username": "Mei", "password": "two leaves and a bud", "device": "phone"}
    joined = phone().post("/api/v1/invitations/accept", coming).json()

    assert schema_errors(document, "InvitationMade", made) == []
    assert schema_errors(document, "AcceptingInvitationRequest", coming) == []
    assert schema_errors(document, "Joined", joined) == []
    for name, address in read.items():
        assert schema_errors(document, name, owner.client.get(f"/api/v1/{address}").json()) == [], name


def test_sync_is_as_documented(taster, document):
    place = Place(taster)
    changes = [
        change("lot", **NEW_RECORD["lot"]),
        change("lot", name=5),
        change("note", place.note.id, deleted=True),
        7,
    ]
    body = {"schema": 1, "device": str(uuid4()), "cursor": 0, "limit": 500, "changes": changes[:-1]}

    assert schema_errors(document, "SyncBodyRequest", body) == []
    assert schema_errors(document, "SyncAnswer", sync(taster.client, changes)) == []


def test_figures_are_as_documented(taster, document):
    place = Place(taster)

    assert (
        schema_errors(document, "Development", taster.client.get(f"/api/v1/lots/{place.lot.id}/development").json())
        == []
    )


def test_problems_are_as_documented(taster, document):
    refused = [taster.client.get("/api/v1/lots/x/"), post_sync(taster.client, limit=0), phone().get("/api/v1/me")]

    assert [schema_errors(document, "Problem", answer.json()) for answer in refused] == [[], [], []]
    assert [refusal(answer)[1] for answer in refused] == ["not-here", "invalid", "not-authenticated"]


def literals(node, constants):
    """Return the texts an expression may give."""
    match node:
        case ast.Constant(value=str(text)):
            return {text}
        case ast.IfExp(body=body, orelse=orelse):
            return literals(body, constants) | literals(orelse, constants)
        case ast.Name(id=name):
            return {constants[name]} if name in constants else set()
        case _:
            return set()  # a code handed on from somewhere else


def codes_in_the_source():
    """Return every field code and every problem type in the source, from the calls and classes that carry one."""
    trees = [
        ast.parse(file.read_text("utf-8"))
        for room in ("api", "lots", "tastings", "teams")
        for file in (settings.BASE_DIR / room).rglob("*.py")
        if "importing" not in file.parts  # spoken at the command line only
    ]
    constants = {
        node.targets[0].id: node.value.value
        for tree in trees
        for node in tree.body
        if isinstance(node, ast.Assign)
        and isinstance(node.targets[0], ast.Name)
        and isinstance(node.value, ast.Constant)
    }
    codes, types = set(), set()
    for node in (node for tree in trees for node in ast.walk(tree)):
        match node:
            case (
                ast.Call(func=ast.Name(id="Problem"), args=[_, code, _])
                | ast.Call(func=ast.Name(id="PotError"), args=[_, code])
                | ast.Call(func=ast.Name(id="Fault" | "InvalidValue"), args=[code, _, *_])
                | ast.Call(func=ast.Name(id="ValidationError"), keywords=[ast.keyword(arg="code", value=code)])
            ):
                codes |= literals(code, constants)
            case ast.Assign(targets=[ast.Name(id="code" | "default_code")], value=value):
                types |= literals(value, constants)
            case _:
                pass
    return codes, types


def test_every_code_is_documented(document):
    codes, types = codes_in_the_source()
    item = document["components"]["schemas"]["ProblemItem"]["properties"]["code"]["description"]
    whole = document["components"]["schemas"]["Problem"]["properties"]["type"]["description"]

    assert len(codes) > 20
    assert codes == set(CODES)
    assert types <= set(TYPES)
    assert [code for code in CODES if f"`{code}`" not in item] == []
    assert [code for code in TYPES if f"`/problems/{code.replace('_', '-')}`" not in whole] == []
