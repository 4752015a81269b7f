"""The OpenAPI document: valid, complete, and true of what is really answered."""

import ast
import dataclasses
import json
import re
from pathlib import Path
from uuid import uuid4

import jsonschema_rs
import pytest
from django.conf import settings
from django.core.management import call_command
from django.utils.translation import get_language
from drf_spectacular import validation

from api.http.dataclass_answers import AnswerSerializer
from api.http.problem_types import CODES, TYPES
from pages import docs
from tastings.answers.meanings import FIGURES
from tastings.schemas import RECORD_SCHEMAS
from tests.api.openapi import DOCUMENT, errors_of, schema_errors
from tests.api.phone import NEW_RECORD, change, post_sync, sync
from tests.api.problems import refusal
from tests.api.records import FULL, Place
from tests.api.records import TYPES as RECORD_TYPES
from tests.api.routes import routes
from tests.factories import phone


@pytest.fixture
def document():
    return DOCUMENT


def operations(document):
    return [
        (path, method, operation)
        for path, methods in document["paths"].items()
        for method, operation in methods.items()
    ]


def test_document_is_valid_and_made_without_a_warning(tmp_path):
    made = tmp_path / "openapi.json"
    call_command("spectacular", fail_on_warn=True, format="openapi-json", file=str(made))
    document = json.loads(made.read_text())
    # the schema of OpenAPI 3.1 itself
    openapi = json.loads(Path(validation.__file__).with_name("openapi_3_1_schema.json").read_text())
    is_valid = jsonschema_rs.validator_for(openapi).is_valid

    assert document["openapi"].startswith("3.1.")
    assert len(document["paths"]) > 50
    assert is_valid(document)
    document["paths"]["/api/v1/lots"]["get"]["parameters"][0].pop("in")
    assert not is_valid(document)


def test_document_is_served_to_anyone(db):
    answer = phone().get("/api/v1/schema", {"format": "json"})

    assert (answer.status_code, answer.json()["info"]["title"]) == (200, "Leafspan")
    assert phone().get("/api/v1/docs").status_code == 200


def test_document_is_made_once_in_each_language_and_form(db, client, monkeypatch):
    made = []
    monkeypatch.setattr(docs, "_documents", {})
    monkeypatch.setattr(docs.SchemaGenerator, "get_schema", lambda *_, **__: made.append(get_language()) or {})
    for _ in range(3):
        for language in ("en", "de", "fr", "en-GB"):
            for accept in ("application/json", "application/yaml", "*/*"):
                sent = {"Accept": accept, "Accept-Language": language}
                assert client.get(f"/api/v1/schema?lang={uuid4()}&version={uuid4()}", headers=sent).status_code == 200

    assert sorted(made) == ["de", "de", "en", "en"]


@pytest.mark.parametrize("form", ["json", "yaml"])
def test_document_is_not_sent_again_to_who_has_it(db, client, form):
    first = client.get("/api/v1/schema", {"format": form})
    again = client.get("/api/v1/schema", {"format": form}, headers={"If-None-Match": first["ETag"]})
    other = client.get("/api/v1/schema", {"format": form}, headers={"If-None-Match": '"other"'})

    assert (again.status_code, again.content, again["ETag"]) == (304, b"", first["ETag"])
    assert (other.status_code, other.content) == (200, first.content)
    assert "Accept" in first["Vary"]


@pytest.mark.parametrize("path", ["/api/v1/schema", "/api/v1/docs"])
@pytest.mark.parametrize("accept", ["image/png", "nonsense", ",,,", 'text/plain;charset="'])
def test_format_that_does_not_exist_is_refused(db, client, path, accept):
    assert refusal(client.get(path, headers={"Accept": accept})) == (406, "not-acceptable", set())


def test_document_holds_every_route_with_every_method(document):
    there = {
        (address.removesuffix("/"), method)
        for address, _, methods in routes()
        for method in methods
        if address.startswith("/api/v1/") and not address.startswith(("/api/v1/schema", "/api/v1/docs"))
    }
    files = {
        (address.removesuffix("/"), "get")
        for address, *_ in routes()
        if address.startswith(("/lots/{lot_id}/report", "/lots/{lot_id}/card"))
    }

    assert len(files) == 8
    assert {(path, method) for path, method, _ in operations(document)} == there | files


def test_every_body_has_an_example_that_fits(document):
    schemas = document["components"]["schemas"]
    bodies = {
        content["schema"]["$ref"].rpartition("/")[2]: content.get("examples", {}).values()
        for *_, operation in operations(document)
        for kind, content in operation.get("requestBody", {}).get("content", {}).items()
        if kind == "application/json"
    }
    without, not_fitting = [], []
    for name, written in bodies.items():
        forms = [name, *(one["$ref"].rpartition("/")[2] for one in schemas[name].get("oneOf", ()))]
        examples = [one["value"] for one in written] + [
            one for form in forms for one in schemas[form].get("examples", ())
        ]
        without += [] if examples else [name]
        not_fitting += [(name, found) for one in examples if (found := schema_errors(name, one))]

    assert len(bodies) > 30
    assert without == []
    assert not_fitting == []


def test_operations_have_a_summary_and_a_tag_that_is_described(document):
    described = {tag["name"] for tag in document["tags"] if tag["description"]}
    used = {tag for *_, operation in operations(document) for tag in operation["tags"]}
    summaries = [operation["summary"] for *_, operation in operations(document)]

    answers = [one for *_, operation in operations(document) for one in operation["responses"].values()]

    assert used == described
    assert all(one["description"] for one in answers)
    assert [text for text in summaries if re.search(r"\ba [aeio]", text)] == []
    assert [text for text in summaries if not 3 < len(text) < 120 or text.endswith(".")] == []
    assert document["servers"][0]["url"] == "/"


def test_headers_are_declared(document):
    for path, method, operation in operations(document):
        declared = {status: set(response.get("headers", ())) for status, response in operation["responses"].items()}
        assert not declared.pop("414") | declared.pop("431")  # the web server refuses a head before anything of ours
        sent = {one["name"] for one in operation.get("parameters", []) if one.get("in") == "header"}
        assert all("X-Request-ID" in names for names in declared.values())
        assert all("Retry-After" in declared[status] for status in ("429", "503"))
        assert "WWW-Authenticate" in declared["401"]
        if operation["security"]:
            assert all({"RateLimit", "RateLimit-Policy"} <= names for names in declared.values()), path
        if "If-None-Match" in sent:
            assert all("ETag" in declared[status] for status in ("200", "304")), path
        if method == "patch" and "If-Match" in sent:
            assert "ETag" in declared["200"], path


def test_keys_for_repeats_are_declared_where_they_are_heeded(document):
    reference = {"$ref": "#/components/parameters/Idempotency-Key"}
    with_key = {
        (path, method)
        for path, method, operation in operations(document)
        if reference in operation.get("parameters", [])
    }

    assert {("/api/v1/lots", "post"), ("/api/v1/lots/{record_id}", "patch"), ("/api/v1/shops", "post")} <= with_key
    assert {
        ("/api/v1/sync", "post"),
        ("/api/v1/auth/tokens", "post"),
        ("/api/v1/invitations", "post"),
    } & with_key == set()


def test_limits_steps_and_choices_are_declared(document):
    schemas = document["components"]["schemas"]
    rating = schemas["NewNoteRequest"]["properties"]["intensity"]
    leaf = schemas["NewSessionRequest"]["properties"]["leaf_g"]
    parameters = {one.get("name"): one["schema"] for one in document["paths"]["/api/v1/lots"]["get"]["parameters"]}

    assert (rating["minimum"], rating["maximum"], rating["multipleOf"]) == (0, 10, 0.1)
    assert leaf["exclusiveMinimum"] == 0
    assert schemas["Lot"]["properties"]["revision"] == {"type": "integer", "format": "int64", "minimum": 0}
    assert schemas["SyncAnswer"]["properties"]["cursor"]["format"] == "int64"
    admitted = schemas["NewAdmissionRequest"]["properties"]["revision"]
    assert (admitted["type"], admitted["format"], admitted["minimum"]) == ("integer", "int64", 1)
    assert (parameters["limit"]["minimum"], parameters["limit"]["maximum"], parameters["limit"]["default"]) == (
        1,
        500,
        100,
    )
    assert parameters["status"]["enum"] == ["bought", "retired", "sample"]


def test_every_field_of_a_computed_answer_has_a_meaning(document):
    schemas, waiting, answers = document["components"]["schemas"], [AnswerSerializer], {}
    while waiting:
        for made in waiting.pop().__subclasses__():
            waiting.append(made)
            if (dataclass := getattr(getattr(made, "Meta", None), "dataclass", None)) is not None:
                answers[getattr(made.Meta, "ref_name", None) or dataclass.__name__] = dataclass
    properties = {(name, field): one for name in answers for field, one in schemas[name]["properties"].items()}

    assert {"Development", "Otherwise", "CurvePoint", "Panel", "FlightStanding", "PulledCup"} <= answers.keys()
    assert len(properties) > 400
    assert sorted(place for place, one in properties.items() if not one.get("description")) == []


def test_meanings_are_of_fields_that_answers_have():
    for figures, texts in FIGURES.items():
        assert texts.keys() - {field.name for field in dataclasses.fields(figures)} == set(), figures


@pytest.mark.parametrize("direction", ["SentChangeRequest", "PulledChange"])
def test_synced_changes_are_told_apart_by_their_type(document, direction):
    schemas = document["components"]["schemas"]
    union = schemas[direction]
    for type_name, schema in RECORD_SCHEMAS.items():
        reference = union["discriminator"]["mapping"][type_name]
        change_of_type = schemas[reference.rpartition("/")[2]]
        fields = change_of_type["properties"]["fields"]
        [within] = [one for one in (fields, *fields.get("allOf", ())) if "$ref" in one]
        names = set(schemas[within["$ref"].rpartition("/")[2]]["properties"])
        assert {"$ref": reference} in union["oneOf"]
        assert change_of_type["properties"]["type"]["const"] == type_name
        of_server = set(schema.server_fields) if direction == "PulledChange" else set()
        assert names == {field.name for field in schema.fields} | of_server
    assert union["discriminator"]["propertyName"] == "type"


def test_change_with_the_fields_of_another_type_is_not_described(document):
    sent = change("infusion", session=str(uuid4()), number=1, steep_s=10)

    assert schema_errors("SentChangeRequest", sent) == []
    assert schema_errors("SentChangeRequest", {**sent, "fields": {"steep_s": "ten"}}) != []
    assert schema_errors("SentChangeRequest", {**sent, "type": "brew"}) != []


def test_example_of_a_problem_fits_what_is_answered(taster, document):
    [example] = document["components"]["schemas"]["Problem"]["examples"]
    sent = {"id": str(uuid4()), **Place(taster).new("infusion", steep_s=-1)}

    assert schema_errors("Problem", example) == []
    assert taster.client.post("/api/v1/infusions", sent).json() == example


def test_examples_fit_their_schemas(document):
    found = []
    for path, method, operation in operations(document):
        bodies = [operation.get("requestBody", {}), *operation["responses"].values()]
        for media in (media for body in bodies for media in body.get("content", {}).values()):
            for name, example in media.get("examples", {}).items():
                found.append((path, name))
                assert errors_of(media["schema"], example["value"]) == [], (path, method, name)

    assert {path for path, _ in found} >= {f"/api/v1/{type_name}s" for type_name in RECORD_SCHEMAS}


def test_operations_tell_what_they_may_refuse(document):
    missing = []
    for path, method, operation in operations(document):
        wanted = {"401", "429", "503"}
        wanted |= {"404"} if "{" in path else set()
        wanted |= {"400", "408", "413", "415", "422"} if "requestBody" in operation else set()
        missing += [(path, method, code) for code in sorted(wanted - set(operation["responses"]))]

    assert missing == []


def test_refusals_are_problem_documents(document):
    for path, method, operation in operations(document):
        for code, response in operation["responses"].items():
            if int(code) >= 400 and code not in ("414", "431"):  # the web server's own, before anything of ours
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
def test_record_is_as_documented(buyer, document, type_name):
    place, name = Place(buyer), type_name.capitalize()
    full, least = {"id": str(uuid4()), **place.full(type_name)}, {"id": str(uuid4()), **place.new(type_name)}
    if type_name == "descriptor":
        least["key"] = "another"
    made = [buyer.client.post(f"/api/v1/{type_name}s/", sent) for sent in (full, least)]
    page = buyer.client.get(f"/api/v1/{type_name}s/?limit=2").json()
    history = buyer.client.get(f"/api/v1/{type_name}s/{full['id']}/history").json()

    assert [answer.status_code for answer in made] == [201, 201]
    assert [schema_errors(name, answer.json()) for answer in made] == [[], []]
    assert [schema_errors(f"New{name}Request", sent) for sent in (full, least)] == [[], []]
    assert schema_errors(f"{name}Page", page) == []
    assert schema_errors("History", history) == []
    described = set(document["components"]["schemas"][name]["properties"])
    assert described == set(made[0].json())
    required = {field.name for field in RECORD_SCHEMAS[type_name].fields if field.required} | {"id"}
    assert set(document["components"]["schemas"][f"New{name}Request"]["required"]) == required


def test_schema_errors_are_found(document):
    assert schema_errors("Shop", {"id": 5, "name": "x", "usual_pot": None}) == ['5 is not of type "string"']
    assert schema_errors("LotPage", {"results": [{}], "next": None}) != []


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

    assert schema_errors("InvitationMade", made) == []
    assert schema_errors("AcceptingInvitationRequest", coming) == []
    assert schema_errors("Joined", joined) == []
    for name, address in read.items():
        assert schema_errors(name, owner.client.get(f"/api/v1/{address}").json()) == [], name


def test_sync_is_as_documented(taster, document):
    place = Place(taster)
    changes = [
        change("lot", **NEW_RECORD["lot"]),
        change("lot", name=5),
        change("note", place.note.id, deleted=True),
        7,
    ]
    fitting = [changes[0], changes[2]]
    body = {"schema": 1, "device": str(uuid4()), "cursor": 0, "limit": 500, "changes": fitting}

    assert schema_errors("SyncBodyRequest", body) == []
    assert schema_errors("SyncBodyRequest", {**body, "changes": changes[1:2]}) != []
    assert schema_errors("SyncAnswer", sync(taster.client, changes)) == []


def test_figures_are_as_documented(taster, document):
    place = Place(taster)

    assert schema_errors("Development", taster.client.get(f"/api/v1/lots/{place.lot.id}/development").json()) == []


def test_problems_are_as_documented(taster, document):
    refused = [taster.client.get("/api/v1/lots/x/"), post_sync(taster.client, limit=0), phone().get("/api/v1/me")]

    assert [schema_errors("Problem", answer.json()) for answer in refused] == [[], [], []]
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
