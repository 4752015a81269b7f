"""What no body may be, tried on every route that takes one: a problem, nothing stored, no memory for what is too much.

`test_field_validation` has each field's own limits.
"""

import gzip
import io
import json
import tracemalloc
import zlib
from contextlib import closing

import pytest
from django.urls import resolve

from api.http.parsing import MAX_BODY_BYTES
from api.photos.content import MAX_PIECE_BYTES
from config import wsgi
from tests.api.problems import refusal
from tests.api.rules import RULES
from tests.api.test_described import open_connection
from tests.api.world import ROLES, a_world, undone

pytestmark = pytest.mark.django_db

CONTENT, LOGO = "/api/v1/photos/{photo_id}/content", "/api/v1/team/logo"
SYNC = "/api/v1/sync"
WRITING = [(a, method) for a, method in RULES if a.startswith("/api/") and method in ("post", "put", "patch")]
WITHOUT_BODY = {"/api/v1/auth/codes", "/api/v1/me/email/verification", "/api/v1/shares/{share_id}/keep"}
"""Routes whose POST takes nothing."""
JSON = [
    route
    for route in WRITING
    if route[0] not in (CONTENT, LOGO) and not (route[0] in WITHOUT_BODY and route[1] == "post")
]
FORMS = [a for a, method in RULES if not a.startswith("/api/") and method == "post" and a != "/"]
every_json_route = pytest.mark.parametrize(("address", "method"), JSON)


@pytest.fixture(scope="module")
def world(django_db_setup, django_db_blocker, tmp_path_factory):
    with django_db_blocker.unblock(), a_world(tmp_path_factory.mktemp("photos")) as made:
        yield made


class Route:
    """A route with someone who may use it, and what they would send."""

    def __init__(self, world, address, method):
        self.role = next(role for role in ROLES if RULES[address, method][role] == "ok")
        self.sent = world.request(address, method, self.role)
        self.method, self._client = method, world.phones[self.role]

    def ask(self, body, *, content_type="application/json", **headers):
        """Send a body as it is."""
        headers = self.sent.headers | headers
        with undone():
            return self._client.generic(self.method.upper(), self.sent.address, body, content_type, **headers)

    def with_value(self, text, *names):
        """Return as JSON text the good body with another value for some of its fields."""
        return json.dumps(self.sent.body | dict.fromkeys(names, "@here@")).replace('"@here@"', text)

    def answers_to_value(self, text):
        """Send a value in all fields at once, then alone in each that the refusal did not name; yield the answers.

        A field that is named among all is refused by its own check, which does not ask what the others hold.
        """
        fields = list(self.sent.body)
        together = self.ask(self.with_value(text, *fields))
        yield fields, together
        named = {name.split(".")[0] for name, _ in refusal(together)[2]} if together.status_code == 422 else set()
        for name in fields if len(fields) > 1 else ():
            if name not in named:
                yield name, self.ask(self.with_value(text, name))


@pytest.fixture
def route(world, address, method):
    return Route(world, address, method)


def parsers_at(address):
    """Return the classes that read the bodies sent to an address."""
    return tuple(resolve(address.partition("?")[0]).func.cls.parser_classes)


@pytest.fixture(scope="module")
def first_of_parser(world):
    """Return the first route of each parser, and that of a sync."""
    found = {(SYNC,): (SYNC, "post")}
    for address, method in JSON:
        found.setdefault(parsers_at(world.path(address)), (address, method))
    return set(found.values())


@pytest.fixture
def tried(first_of_parser, address, method):
    """Return a function that chooses which values to send that a parser refuses before a view has the body.

    The first route of a parser is sent all values, any other the first few, one of each kind.
    """
    return lambda values, few: values if (address, method) in first_of_parser else values[:few]


@pytest.fixture
def nothing_stored(world):
    before = world.digests()
    yield
    assert world.digests() == before


def broken(good):
    """Return bodies with their Content-Encoding that are not JSON, made from one that is; first one of each kind."""
    packed = gzip.compress(good)
    return [
        (b"\xff" + good, "identity"), (b"[" * 100_000, "identity"), (packed[:-1], "gzip"), (good, "br"),
        *((body, "identity") for body in (
            good[: len(good) // 2], good[:-1], good * 2, b" ", b"{'a': 1}", b"a=1", b"\xef\xbb\xbf" + good,
            good.decode().encode("utf-16"), b'{"a":' * 50_000 + b"1" + b"}" * 50_000,
        )),
        (packed[: len(packed) // 2], "gzip"), (packed + b"x", "gzip"), (good, "gzip"), (packed, "br"),
        (packed, "deflate"), (gzip.compress(packed), "gzip, gzip"),
    ]  # fmt: skip


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_body_that_is_no_json_is_a_parse_error(route, tried):
    bodies = tried(broken(json.dumps(route.sent.body).encode()), 4)
    answers = [route.ask(body, HTTP_CONTENT_ENCODING=encoding) for body, encoding in bodies]

    assert [refusal(answer) for answer in answers] == [(400, "parse-error", set())] * len(answers)


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_number_that_json_does_not_have_is_a_parse_error(route, tried):
    field = list(route.sent.body)[-1]
    for number in tried(["NaN", "1" * 5000, "-Infinity", "1e400", "0x10", "01"], 2):
        assert refusal(route.ask(route.with_value(number, field))) == (400, "parse-error", set()), number


UNFIT = [
    r'"a\u0000b"', r'"\ud800"', r'{"\ud800": "\u0000"}', "[" * 400 + "]" * 400, '{"a":' * 400 + "1" + "}" * 400,
    '"' + "x" * 100_000 + '"', "1e308", "-1" + "0" * 38,
]  # fmt: skip
"""What no field of any body may be: NUL, lone surrogate, nested deeply, too long, beyond all limits."""
ODD = ["null", "true", "0", "-1", "1.5", '""', '" "', "[]", "{}", "[null]", '["a"]', '"0"', "1e-400", r'"\u2028"']
"""What may fit a field here and there."""


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_value_that_is_invalid_everywhere_is_refused(route):
    for value in UNFIT:
        for name, answer in route.answers_to_value(value):
            if route.sent.address == SYNC and answer.status_code == 200:  # a list, its members refused one by one
                assert {verdict["verdict"] for verdict in answer.json()["verdicts"]} == {"refused"}
            else:
                assert 400 <= refusal(answer)[0] < 500, (name, value[:40])


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_unusual_value_is_accepted_or_refused(route):
    for value in ODD:
        for name, answer in route.answers_to_value(value):
            if answer.status_code >= 300:
                assert refusal(answer)[0] in (401, 403, 404, 409, 422), (name, value)


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_body_that_is_no_object_is_refused(route, tried):
    for body in tried(["[]", "null", "[" * 500 + "]" * 500, '"a"', "1", "true"], 3):
        assert refusal(route.ask(body)) == (422, "invalid", {("", "type")})


OTHER_TYPES = [
    "", "application/x-www-form-urlencoded", "text/plain", "application/xml", "multipart/form-data; boundary=x",
    "application/octet-stream", "nonsense", "application/" + "x" * 1000,
]  # fmt: skip


@every_json_route
@pytest.mark.usefixtures("nothing_stored")
def test_body_of_another_type_is_refused(route, tried):
    good = json.dumps(route.sent.body)
    for kind in tried(OTHER_TYPES, 2):
        assert refusal(route.ask(good, content_type=kind)) == (415, "unsupported-media-type", set()), kind


class Flow(io.RawIOBase):
    """A body that is made up while it is read, which nobody holds as a whole; counts what was read of it."""

    def __init__(self, size, byte=b" "):
        self.left, self.taken, self._byte = size, 0, byte

    def readable(self):
        return True

    def readinto(self, target):
        n = min(self.left, len(target))
        target[:n] = self._byte * n
        self.left, self.taken = self.left - n, self.taken + n
        return n


def answered(world, route, stream, length, **headers):
    """Send a stream to the server; return status, problem type and the most memory that was held meanwhile."""
    address, _, query = route.sent.address.partition("?")
    environ = {
        "REQUEST_METHOD": route.method.upper(), "PATH_INFO": address, "QUERY_STRING": query, "SERVER_NAME": "localhost",
        "SERVER_PORT": "80", "wsgi.url_scheme": "http", "wsgi.input": stream, "wsgi.errors": io.StringIO(),
        "CONTENT_TYPE": route.sent.content_type, "CONTENT_LENGTH": str(length), **route.sent.headers, **headers,
    }  # fmt: skip
    if route.role in world.people:
        environ["HTTP_AUTHORIZATION"] = f"Bearer {world.people[route.role].token}"
    statuses = []
    with undone(), open_connection():
        tracemalloc.start()
        try:
            with closing(wsgi.application(environ, lambda status, headers, *_: statuses.append(status))) as answer:
                body = json.loads(b"".join(answer))
            peak = tracemalloc.get_traced_memory()[1]
        finally:
            tracemalloc.stop()
    return int(statuses[0][:3]), body["type"], peak


@pytest.fixture(scope="module")
def bomb():
    """128 times what a body may be, packed."""
    packer = zlib.compressobj(9, wbits=31)
    piece = b" " * MAX_BODY_BYTES
    return b"".join([*(packer.compress(piece) for _ in range(128)), packer.flush()])


@pytest.mark.parametrize(("address", "method"), [*JSON, (CONTENT, "put"), (LOGO, "put")])
@pytest.mark.usefixtures("nothing_stored")
def test_body_ten_times_too_large_is_not_even_read(world, route):
    flow = Flow(10 * MAX_BODY_BYTES)
    status, problem, peak = answered(world, route, io.BufferedReader(flow), 10 * MAX_BODY_BYTES)

    assert (status, problem) == (413, "/problems/too-large")
    assert flow.taken <= MAX_BODY_BYTES + io.DEFAULT_BUFFER_SIZE
    assert peak < 1.2 * MAX_BODY_BYTES  # of a piece of a photo, one more byte than it may have is read


def test_gzip_bomb_is_never_decompressed(world, first_of_parser, bomb):
    """Where a body is read otherwise than by its parser, the test above fails."""
    assert len(bomb) < MAX_BODY_BYTES / 4
    before = world.digests()
    for address, method in first_of_parser:
        stream, headers = io.BytesIO(bomb), {"HTTP_CONTENT_ENCODING": "gzip"}
        status, problem, peak = answered(world, Route(world, address, method), stream, len(bomb), **headers)

        assert (status, problem) == (413, "/problems/too-large")
        assert peak < 3 * MAX_BODY_BYTES
    assert world.digests() == before


@pytest.mark.parametrize(("address", "method"), [(CONTENT, "put"), (LOGO, "put")])
@pytest.mark.usefixtures("nothing_stored")
def test_compressed_or_too_large_piece_is_refused(world, route):
    packed = route.ask(gzip.compress(b"x"), content_type="application/octet-stream", HTTP_CONTENT_ENCODING="gzip")
    whole = Flow(MAX_PIECE_BYTES + 1)

    assert refusal(packed) == (400, "parse-error", set())
    assert answered(world, route, io.BufferedReader(whole), MAX_PIECE_BYTES + 1)[:2] == (413, "/problems/too-large")
    assert refusal(route.ask(b"{}")) == (415, "unsupported-media-type", set())


@pytest.mark.parametrize("unit", [b"[],", b"{},", b'"a",', b"0.5,"])
@pytest.mark.parametrize(("address", "method"), [(SYNC, "post")])
@pytest.mark.usefixtures("nothing_stored")
def test_memory_for_a_body_within_the_limit_is_bounded(world, route, unit):
    body = (b"[" + unit * (MAX_BODY_BYTES // len(unit)))[: MAX_BODY_BYTES - 10].rpartition(b",")[0] + b"]"
    status, _, peak = answered(world, route, io.BytesIO(body), len(body))

    assert status == 422
    assert peak < 32 * MAX_BODY_BYTES  # an empty list or object of 3 bytes becomes one of 56 to 64, and a pointer


@pytest.mark.parametrize("address", FORMS)
@pytest.mark.usefixtures("nothing_stored")
def test_forms_survive_malformed_bodies(world, address):
    sent, kind = world.request(address, "post", "nobody"), "application/x-www-form-urlencoded"
    fields = [name.encode() for name in sent.body or {"next": ""}]
    if RULES[address, "post"]["nobody"] == "sign-in":  # before any field is looked at
        fields = fields[:1]
    bodies = [(b"=".join([name, value]), kind)
              for name in fields for value in (b"%00", b"%ED%A0%80", b"\xff\xfe", b"x" * 100_000, b"")]  # fmt: skip
    bodies += [(b"&".join(b"a=1" for _ in range(5000)), kind), (b" " * 5 * 2**20, kind), (b"{}", "application/json"),
               (b"--x\r\nbroken", "multipart/form-data; boundary=x"), (b"", "multipart/form-data"), (b"", ""),
               (b"a=1", "application/x-www-form-urlencoded; charset=nonsense")]  # fmt: skip
    for body, of_type in bodies:
        with undone():
            answer = world.browser("nobody").generic("POST", sent.address, body, of_type)
        assert answer.status_code < 500, (body[:40], of_type)


@pytest.mark.parametrize(
    ("address", "method"),
    [
        ("/api/v1/descriptors/{record_id}/merge", "post"),
        ("/api/v1/flights/{flight_id}/reveal", "post"),
        ("/api/v1/notes/{record_id}/suggestions/accept", "post"),
        ("/api/v1/photos/{photo_id}/colour", "post"),
        ("/api/v1/shops/", "post"),
        ("/api/v1/shops/{shop_id}/", "patch"),
        ("/api/v1/team", "patch"),
    ],
)
def test_role_is_checked_before_the_body(world, address, method):
    sent = world.request(address, method, "viewer")
    with undone():
        answer = world.phones["viewer"].generic(
            method.upper(), sent.address, json.dumps({"nonsense": True}), "application/json", **sent.headers
        )

    assert answer.status_code == 403
