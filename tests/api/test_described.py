"""What the API answers to anything is what its OpenAPI document says: schemathesis over every operation of it.

Everyone sends the request in which nothing is wrong, so that each success and each refusal of a role is compared with
its description and with the table of rules. An owner or a taster sends requests made up from the document, fitting and
unfitting ones, many of them naming records that are there. Everything is undone after each request.
``LEAFSPAN_FUZZ=300`` makes up as many of either kind per operation, other ones each time; ``make fuzz`` does so.
"""

import os
import re
from contextlib import closing, contextmanager
from http.cookies import SimpleCookie
from urllib.parse import parse_qsl
from uuid import uuid4

import pytest
import schemathesis
from django.core.signals import request_finished, request_started
from django.db import close_old_connections
from hypothesis import HealthCheck, Phase, given, settings
from hypothesis import strategies as st
from schemathesis import GenerationMode, checks
from schemathesis.specs.openapi import checks as of_openapi

from config import wsgi
from tests.api.openapi import DOCUMENT
from tests.api.routes import routes
from tests.api.rules import RULES
from tests.api.world import ROLES, a_world, undone

pytestmark = pytest.mark.django_db

EACH = int(os.environ.get("LEAFSPAN_FUZZ") or 2)
CHECKS = [
    checks.not_a_server_error,
    of_openapi.status_code_conformance,
    of_openapi.content_type_conformance,
    of_openapi.response_headers_conformance,
    of_openapi.response_schema_conformance,
]


def application(environ, start_response):
    """Answer as the server does, and read to the end what is sent in pieces."""
    with closing(wsgi.application(environ, start_response)) as answer:
        return [b"".join(answer)]


SCHEMA = schemathesis.openapi.from_dict(DOCUMENT)
SCHEMA.app = application
OPERATIONS = {f"{m.upper()} {path}": SCHEMA[path][m] for path, methods in DOCUMENT["paths"].items() for m in methods}
ADDRESSES = {address.removesuffix("/"): address for address, *_ in routes()}
"""The addresses of the URL table by their form in the document, which has no slash at the end."""
DESCRIBED = {(ADDRESSES[one.path], one.method.lower()) for one in OPERATIONS.values() if one.path.startswith("/api/")}
"""Every operation of the API; the document has files of pages as well."""
every_operation = pytest.mark.parametrize("label", OPERATIONS)


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


@contextmanager
def open_connection():
    """Let requests leave the connection open, as Django's own test client does: the world is in its transaction."""
    for signal in (request_started, request_finished):
        signal.disconnect(close_old_connections)
    yield
    for signal in (request_started, request_finished):
        signal.connect(close_old_connections)


def known(world):
    """Return for the names of fields and parameters values that are there."""
    words, user = world.place.words, str(world.taster.user.id)
    samples = [str(lot.id) for lot in world.samples]
    return {
        **{name: [str(one)] for name, one in world.ids.items()},
        **{name: [words[name]] for name in ("lot", "session", "infusion", "shop")},
        "from_lot": [words["lot"]],
        "against": [str(world.other_lot.id), words["lot"]],
        "reference": [str(world.other_lot.id)],
        "bought": [str(uuid4())],
        "descriptor": [words["word"], "honey", "strength"],
        "into": ["honey", words["word"]],
        "key": [words["word"], "slate"],
        "taster": [user],
        "to": [user],
        "user": [user],
        "lots": [samples, samples[:2], ",".join(samples)],
        "tasters": [[user]],
        "pourers": [[str(world.buyer.user.id)]],
        "token": [world.ids["invitation_token"], "reset"],
        "username": [world.taster.user.username],
    }


def with_known(value, there, dice, name=""):
    """Return the same with values that are there in the place of most made up ones of the same type."""
    if isinstance(value, dict):
        return {key: with_known(one, there, dice, key) for key, one in value.items()}
    fitting = [one for one in there.get(name, ()) if type(one) is type(value)]
    if fitting and dice.random() < 0.8:
        return dice.choice(fitting)
    return [with_known(one, there, dice) for one in value] if isinstance(value, list) else value


def validated(world, case, role="owner"):
    """Let someone send a case, compare what is answered with the document, and return it; undo nothing."""
    served = [one for one in CHECKS if one is not checks.not_a_server_error or case.path != "/api/v1/events"]
    headers = {"Accept-Encoding": "identity"}  # called in this process, nothing unpacks an answer
    if role in world.people:
        headers["Authorization"] = f"Bearer {world.people[role].token}"
    with open_connection():
        return case.call_and_validate(checks=served, headers=headers)


def parameters_in(address, template):
    """Return what stands in an address in the place of each parameter."""
    pattern = re.sub(r"\\{(\w+)\\}", r"(?P<\1>[^/]+)", re.escape(template))
    return re.fullmatch(pattern, address).groupdict()


def kind_of(answer):
    """Return an answer's class, as the table of rules has it."""
    if answer.status_code < 300:
        return "ok"
    if answer.status_code == 422 and {problem["code"] for problem in answer.json()["problems"]} == {"unknown_parent"}:
        return "unknown"
    return str(answer.status_code)


@every_operation
def test_everyone_is_answered_as_described(world, label):
    operation = OPERATIONS[label]
    route = ADDRESSES[operation.path], operation.method.lower()
    before, answered = world.digests(), {}
    for role in ROLES:
        sent = world.request(*route, role)
        address, _, query = sent.address.partition("?")
        address = address.removesuffix("/")
        headers = {name.removeprefix("HTTP_").replace("_", "-").title(): value for name, value in sent.headers.items()}
        cookies = SimpleCookie(headers.pop("Cookie", ""))
        case = operation.Case(
            path_parameters=parameters_in(address, operation.path),
            query=dict(parse_qsl(query)),
            headers=headers,
            cookies={name: one.value for name, one in cookies.items()},
            **({} if sent.body is None else {"body": sent.body, "media_type": sent.content_type}),
        )
        with undone():
            answer = validated(world, case, role)
            answered[role] = kind_of(answer)
            if answered[role] != "ok":
                assert world.digests() == before, f"{role} was refused and changed something"
        if route in DESCRIBED and route[1] == "get" and role in ("nobody", "stranger"):
            assert world.ask(role, "head", sent).status_code == answer.status_code

    rules = RULES[route]
    if route not in DESCRIBED:  # whom a page sends where: `test_matrix`
        answered, rules = ({role: kind == "ok" for role, kind in one.items()} for one in (answered, rules))
    assert answered == rules


@every_operation
@pytest.mark.parametrize("mode", list(GenerationMode))
def test_anything_is_answered_as_described(world, label, mode):
    operation, there = OPERATIONS[label], known(world)
    ids = parameters_in(world.path(ADDRESSES[operation.path]).removesuffix("/"), operation.path)
    there |= {name: [one] for name, one in ids.items()}

    @settings(
        max_examples=EACH,
        derandomize="LEAFSPAN_FUZZ" not in os.environ,
        database=None,
        deadline=None,
        phases=[Phase.generate],
        suppress_health_check=list(HealthCheck),
    )
    @given(
        operation.as_strategy(generation_mode=mode),
        st.randoms(use_true_random=False),
        st.sampled_from(["owner", "taster"]),
    )
    def ask(case, dice, role):
        case.path_parameters = with_known(case.path_parameters, there, dice)
        if isinstance(case.body, dict):
            case.body = with_known(case.body, there, dice)
        case.query = with_known(case.query, there, dice)
        with undone():
            validated(world, case, role)

    ask()


@pytest.mark.parametrize("label", [label for label in OPERATIONS if " /api/" in label])
def test_an_answer_in_another_form_is_refused_as_described(world, label):
    operation = OPERATIONS[label]
    ids = parameters_in(world.path(ADDRESSES[operation.path]).removesuffix("/"), operation.path)
    case = operation.Case(path_parameters=ids, headers={"Accept": "text/html"})

    with undone():
        assert validated(world, case).status_code == 406
