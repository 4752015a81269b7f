"""Every route of the URL table with every method, asked by everyone, against the table of rules.

A route or method without a rule fails, so that a new one cannot be forgotten. `test_described` asks for the operations
of the API, and compares each answer with the OpenAPI document as well.
"""

from collections import Counter

import pytest

from tests.api.problems import refusal
from tests.api.routes import routes
from tests.api.rules import AN_ID, ROWS, RULES
from tests.api.test_described import DESCRIBED
from tests.api.world import BODIES, ROLES, Sent, a_world, undone

pytestmark = pytest.mark.django_db

METHODS = {address: methods for address, _, methods in routes()}


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


@pytest.fixture(autouse=True)
def _as_on_a_server(settings):
    settings.METRICS_TOKEN = "of the one who watches"


def kind_of(answer):
    """Return an answer's class, as the table has it."""
    if answer.status_code < 400:
        return "sign-in" if answer.get("Location", "").startswith("/sign-in/?next=") else "ok"
    return str(answer.status_code)


def test_table_names_every_route_with_every_method_once():
    assert Counter((address, method) for method, address, *_ in ROWS) == Counter(
        (address, method) for address, methods in METHODS.items() for method in methods
    )


def test_every_body_is_of_a_route():
    assert BODIES.keys() <= RULES.keys()


@pytest.mark.parametrize(("address", "method"), [route for route in RULES if route not in DESCRIBED])
def test_everyone_is_answered_as_the_table_says(world, address, method):
    before, found = world.digests(), {}
    for role in ROLES:
        sent = world.request(address, method, role)
        with undone():
            answer = world.ask(role, method, sent)
            found[role] = kind_of(answer)
            if found[role] != "ok":
                assert world.digests() == before, f"{role} was refused and changed something"
        if method == "get" and role in ("nobody", "stranger") and not answer.streaming:
            assert world.ask(role, "head", sent).status_code == answer.status_code

    assert found == RULES[address, method]


@pytest.mark.parametrize("address", METHODS)
def test_other_methods_are_not_taken(world, address):
    before, taken = world.digests(), set(METHODS[address])
    asked = RULES[address, METHODS[address][0]]["nobody"] == "401"
    for method in {"get", "post", "put", "patch", "delete"} - taken:
        nobody, owner = (
            Sent(world.path(address), headers=world.request(address, METHODS[address][0], who).headers)
            for who in ("nobody", "owner")
        )
        assert world.ask("nobody", method, nobody).status_code == (401 if asked else 405)
        if address.startswith("/api/"):
            assert refusal(world.ask("owner", method, owner)) == (405, "method-not-allowed", set())
    assert world.digests() == before


@pytest.mark.parametrize("address", ["/lots/", "/flights/"])
def test_lists_show_nothing_to_who_left(world, address):
    with undone():
        page = world.ask("left", "get", Sent(address)).content.decode()

    assert AN_ID.search(page) is None
    assert [name for name in (world.place.lot.name, "Spring samples", world.taster.team.name) if name in page] == []
