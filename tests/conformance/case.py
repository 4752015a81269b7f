"""One case of the conformance kit while it is recorded: what a client does, sends, gets, and must know afterwards."""

import gzip
import json
import re
from collections.abc import Callable, Mapping, Sequence
from contextlib import AbstractContextManager
from datetime import datetime
from http import HTTPStatus
from types import MappingProxyType
from typing import Any, Protocol
from uuid import uuid4

from table.phone import MemoryStore, Phone, PhoneOptions, RefusedError, Response, RetryPolicy, UnreachableError
from table.phone.phone_state import PhoneState
from table.phone.transport import LINES

BEGINNING = b"0198c0de"
"""Of every id in the kit."""
DEVICE = "0198c0de-0000-7000-8000-0000000000d1"
TEAM = "0198c0de-0000-7000-8000-0000000000e1"
OF_TEAM = ("shop", "member")
"""Types of which each server has its own; they are pulled, and left out of the recordings."""
OF_CLOCK = ("now", "created_at", "joined_at", "revealed_at")
"""Moments of the server's clock."""
COUNTED = ("revision", "cursor")
"""Numbers of a team's counter, which begins anywhere; in the recordings it begins at 0."""
COLLEAGUE_DEVICE = "0198c0de-0000-7000-8000-0000000000d2"
NOW = "2026-03-04T18:00:00.000000Z"
WAIT_S = "30"
Headers = Mapping[str, str]


class Server(Protocol):
    """A running Leafspan."""

    def send(self, method: str, path: str, *, headers: Headers, body: bytes | None) -> Response:
        """Carry one request."""
        ...

    def new_team(self, *roles: str) -> list[tuple[str, str]]:
        """Make a team with one member of each role; return the token and the id of each."""
        ...

    def work(self) -> None:
        """Let the worker do something."""
        ...


class OwnIds:
    """A server as one case sees it: the ids of the kit, which every case uses, are others at the server.

    ``made`` are ids that the server made, with those that stand for them in the kit.
    """

    def __init__(self, server: Server) -> None:
        self._server, self._own = server, uuid4().hex[:8].encode()
        self.made: dict[str, str] = {}

    def send(self, method: str, path: str, *, headers: Headers, body: bytes | None) -> Response:
        """Carry one request."""
        sent = None if body is None else self._at_server(body)
        answer = self._server.send(method, self._at_server(path.encode()).decode(), headers=headers, body=sent)
        received = answer.body.replace(self._own, BEGINNING)
        for own, ours in self.made.items():
            received = received.replace(own.encode(), ours.encode())
        return answer._replace(body=received)

    def _at_server(self, text: bytes) -> bytes:
        for own, ours in self.made.items():
            text = text.replace(ours.encode(), own.encode())
        return text.replace(BEGINNING, self._own)

    def work(self) -> None:
        """Let the worker do something."""
        self._server.work()

    def new_team(self, *roles: str) -> list[tuple[str, str]]:
        """Make a team."""
        return self._server.new_team(*roles)


class Installed(Server, Protocol):
    """A server whose database can be stopped."""

    def without_database(self) -> AbstractContextManager[None]:
        """Stop the database for as long as the context lasts, and wait at its end until it is back."""
        ...

    def events(self, token: str, change: Callable[[], object]) -> str:
        """Open the stream of events, make a change, and return the stream's text up to the end of its event."""
        ...


class Member:
    """Somebody in the team. A colleague's work is not in the recording, only what the client gets of it."""

    def __init__(self, server: Server, *, token: str, user: str) -> None:
        self.token, self.user, self._server = token, user, server

    def request(self, method: str, path: str, body: object = None) -> Any:
        """Send a request and return the JSON of its answer, which must be a success."""
        headers = {"Authorization": f"Bearer {self.token}", "Content-Type": "application/json"}
        answer = self._server.send(method, path, headers=headers, body=json.dumps(body).encode() if body else None)
        if answer.status >= 400:
            raise AssertionError(f"{method} {path}: {answer.status} {answer.body!r}")
        return json.loads(answer.body or b"null")

    def sync(self, *changes: Mapping[str, Any]) -> Any:
        """Push changes, all of which must stand, and pull everything."""
        body = {"schema": 1, "device": COLLEAGUE_DEVICE, "cursor": 0, "limit": 1000, "changes": list(changes)}
        answer = self.request("POST", "/api/v1/sync", body)
        assert {verdict["verdict"] for verdict in answer["verdicts"]} <= {"applied", "unchanged"}, answer
        return answer


class Recorder:
    """Carries the client's requests to the server and writes both down.

    ``on_the_way`` changes the bytes of the next sync before the server gets them; ``loses_answer`` drops the next
    answer; of the next stream, ``lines_before_break`` arrive. So that two recordings are equal, counters begin at 0,
    ``codes`` of cups, ids of people, moments of the clock, scope tokens and waits become fixed ones, and shops and
    members are left out unless ``has_team``.
    """

    def __init__(self, server: Server, *, people: Mapping[str, str], beginning: int) -> None:
        self._server, self.people, self.beginnings = server, dict(people), [beginning]
        self.exchanges: list[dict[str, Any]] = []
        self._tokens: dict[str, str] = {}
        self.on_the_way: Callable[[bytes], bytes] | None = None
        self.loses_answer = False
        self.lines_before_break: int | None = None
        self.codes: dict[int, int] = {}
        self.has_team = False

    def send(self, method: str, path: str, *, headers: Headers, body: bytes | None) -> Response:
        """Carry one request."""
        plain = gzip.decompress(body) if body else None
        asked = {"method": method, "path": path, "body": None}
        if plain:
            asked["body"] = self._with_token(self.counted_from_0(json.loads(plain)))
        sent = plain
        if plain is not None and self.on_the_way is not None:
            sent, self.on_the_way = self.on_the_way(plain), None
        kept = {name: value for name, value in headers.items() if not name.endswith("Encoding")}
        answer = self._server.send(method, path, headers=kept, body=sent)
        if answer.headers["content-type"] == LINES and self.lines_before_break is not None:
            lines = answer.body.splitlines(keepends=True)
            n, self.lines_before_break = self.lines_before_break, None
            answer = answer._replace(body=b"".join([*lines[:n], lines[n][: len(lines[n]) // 2]]))
        lost, self.loses_answer = self.loses_answer, False
        self.exchanges.append({"request": asked, "answer": None if lost else self._written_down(answer)})
        if lost:
            raise UnreachableError("the answer was lost")
        return answer

    def close(self) -> None:
        """Do nothing."""

    def _with_token(self, body: Any) -> Any:
        """Return JSON with a fixed scope token in the place of one that holds a day: the first is 1, the next 2."""
        if not isinstance(body, dict) or "scope_token" not in body:
            return body
        name = self._tokens.setdefault(body["scope_token"], f"scope token {len(self._tokens) + 1}")
        return body | {"scope_token": name}

    def _written_down(self, answer: Response) -> dict[str, Any]:
        headers = {"Content-Type": answer.headers["content-type"].partition(";")[0]}
        content = answer.body.decode()
        if answer.headers["content-type"] == LINES:
            *lines, rest = content.split("\n")
            written = [self._with_token(self.fixed(json.loads(line))) for line in lines]
            broken = {"broken": '{"changes": [{'} if rest else {}
            return {"status": answer.status, "headers": headers, "lines": written, **broken}
        if wait_s := answer.headers.get("retry-after"):
            headers["Retry-After"] = wait_s
            if answer.status == HTTPStatus.TOO_MANY_REQUESTS:  # the rest of a minute
                headers["Retry-After"] = WAIT_S
                content = re.sub(r"in \d+ seconds?", f"in {WAIT_S} seconds", content)
        return {"status": answer.status, "headers": headers, "body": self._with_token(self.fixed(json.loads(content)))}

    def fixed(self, value: Any) -> Any:
        """Return JSON with fixed ids of people and moments of the clock, without the team's shops and members."""
        match value:
            case dict():
                return {name: self._fixed_member(name, one) for name, one in self.counted_from_0(value).items()}
            case list():
                return [self.fixed(one) for one in value if not self._is_left_out(one)]
            case str():
                return self.people.get(value, value)
            case _:
                return value

    def _fixed_member(self, name: str, value: Any) -> Any:
        if name in OF_CLOCK and value is not None:
            return NOW
        return self.codes.get(value, value) if name == "code" else self.fixed(value)

    def _is_left_out(self, one: Any) -> bool:
        return not self.has_team and isinstance(one, dict) and one.get("type") in OF_TEAM

    def counted_from_0(self, body: Mapping[str, Any]) -> dict[str, Any]:
        """Return JSON whose revision or cursor is counted from the beginning of the team's counter."""

        def count(number: int) -> int:
            return number - max((one for one in self.beginnings if one <= number), default=0)

        return {name: count(one) if name in COUNTED and one else one for name, one in body.items()}


class Case:
    """A case while it is played: the reference phone, its colleague, and the steps so far."""

    def __init__(
        self, server: Server, *, role: str = "taster", limit: int = 500, streams: bool = False, echo: bool = True
    ) -> None:
        server = server if isinstance(server, OwnIds) else OwnIds(server)
        (token, user), (colleague_token, colleague) = server.new_team(role, "owner")
        self.colleague = Member(server, token=colleague_token, user=colleague)
        self.member = Member(server, token=token, user=user)
        people = {user: "0198c0de-0000-7000-8000-0000000000a1", colleague: "0198c0de-0000-7000-8000-0000000000a2"}
        beginning = min(one["revision"] for one in self.colleague.sync()["changes"]) - 1
        self.server, self.recorder = server, Recorder(server, people=people, beginning=beginning)
        self._store = MemoryStore(DEVICE)
        options = PhoneOptions(page_size=limit, retry=RetryPolicy(attempts=1), streams=streams, echo=echo)
        self.phone = Phone(self.recorder, store=self._store, options=options)
        self.steps: list[dict[str, Any]] = [{"do": "stream"}] if streams else [] if echo else [{"do": "no_echo"}]
        self.sign_in(self.member)

    def sign_in(self, member: Member) -> None:
        """Give the client a token."""
        self._store.append({"event": "signed", "token": member.token})
        self.steps.append({"do": "sign_in"})

    def name_cups(self, flight: str, names: Sequence[str]) -> None:
        """Wait until a flight is planned, and give the client's cups the ids of the kit and codes from 101."""
        while not (cups := self.member.request("GET", f"/api/v1/flights/{flight}")["cups"]):
            self.server.work()
        for number, (cup, name) in enumerate(zip(cups, names, strict=True), start=101):
            self.server.made[cup["id"]] = name
            self.recorder.codes[cup["code"]] = number

    def name_team(self) -> tuple[str, str]:
        """Have shop and members in the recording, by ids and names of the kit; return somebody else and the shop."""
        self.recorder.has_team = True
        changes = self.colleague.sync()["changes"]
        for number, one in enumerate(changes, start=21):
            self.server.made.setdefault(one["id"], f"0198c0de-0000-7000-8000-0000000000{number}")
            named = [one["fields"][name] for name in ("name", "username") if name in one["fields"]]
            self.recorder.people |= dict.fromkeys(named, f"{one['type']} {number}")
        shop, gone, *_ = (one["id"] for one in changes)
        return self.server.made[gone], self.server.made[shop]

    def write(
        self, type_name: str, record: str, /, *, at: str, creates: bool = False, deleted: bool = False, **fields: object
    ) -> None:
        """Change a record on the client at a time of the fourth of March."""
        moment = datetime.fromisoformat(f"2026-03-04T{at}Z")
        if deleted:
            self.phone.delete(type_name, record, at=moment)
        elif creates:
            self.phone.create(type_name, fields, record=record, at=moment)
        else:
            self.phone.edit(type_name, record, fields, at=moment)
        written = self.phone.unsent[-1]
        self.steps.append({"do": "write", "creates": creates, "change": written.change})

    def set_scope(self, *, days: int, lots: Sequence[str] = ()) -> None:
        """Let the client want only sessions of the last days and of some lots."""
        self.phone.set_scope(days=days, lots=lots)
        self.steps.append({"do": "scope", "scope": {"days": days, "lots": list(lots)}})

    def sync(self, *, ends_with: int | None = 200) -> None:
        """Let the client sync; ``ends_with`` is the status it ends with, None without an answer."""
        self.recorder.exchanges = []
        status: int | None = 200
        try:
            self.phone.sync()
        except RefusedError as refusal:
            status = refusal.status
        except UnreachableError:
            status = None
        assert status == ends_with, (status, self.recorder.exchanges)
        self.steps.append({"do": "sync", "exchanges": self.recorder.exchanges, "ends_with": status})

    def receive_events(self, text: str) -> None:
        """Let the client read its stream of events, of which one says that there is something to pull."""
        self.recorder.exchanges = []
        self.phone.sync()

        def count(found: re.Match[str]) -> str:
            return str(self.recorder.counted_from_0({"cursor": int(found[0])})["cursor"])

        text = re.sub(r'(?<="team": ")[^"]+', TEAM, re.sub(r'(?<=id: )\d+|(?<="cursor": )\d+', count, text))
        self.steps.append({"do": "events", "text": text, "exchanges": self.recorder.exchanges})

    def request(self, method: str, path: str, *, body: Mapping[str, object], ends_with: int) -> None:
        """Let the client send a request of its own."""
        self.recorder.exchanges = []
        status = HTTPStatus.CREATED
        try:
            self.phone.request(method, path, body=body)
        except RefusedError as refusal:
            status = HTTPStatus(refusal.status)
        assert status == ends_with
        self.steps.append({"do": "request", "exchanges": self.recorder.exchanges, "ends_with": ends_with})

    def expect(
        self,
        *,
        unsent: Sequence[int] | None = (),
        refused: Mapping[int, str] | None = MappingProxyType({}),
        kept: Sequence[int] | None = None,
        shown: Sequence[str] | None = None,
        has_all: bool = True,
    ) -> None:
        """State what the client must know now.

        ``unsent``, ``refused`` and ``kept`` (either of both) are the changes by ``seq``, ``shown`` the ids of the
        records it shows, all as ``docs/client.md`` says; None where a client may choose. ``has_all``: what it has
        pulled is all that the server has, as somebody else pulls it.
        """
        expected: dict[str, Any] = {}
        if unsent is not None:
            expected["unsent"] = list(unsent)
        if refused is not None:
            expected["refused"] = {str(number): code for number, code in refused.items()}
        if kept is not None:
            expected["kept"] = list(kept)
        if has_all:
            expected["pulled"] = self._of_server()
        if shown is not None:
            expected["shown"] = sorted(shown)
        without = () if self.recorder.has_team else OF_TEAM
        found = known_to(self._store.state, fixed=self.recorder.fixed, without=without)
        assert {name: found[name] for name in expected} == expected, (found, expected)
        self.steps.append({"do": "expect", **expected})

    def _of_server(self) -> dict[str, Any]:
        changes = self.recorder.fixed(self.colleague.sync()["changes"])
        return {
            one["id"]: {name: one.get(name) for name in ("type", "revision", "by", "fields")}
            for one in changes
            if not one["deleted"]
        }


def known_to(
    state: PhoneState, *, fixed: Callable[[Any], Any] = lambda value: value, without: Sequence[str] = ()
) -> dict[str, Any]:
    """Return what the reference phone knows, in the form of the kit."""
    types = {record.type for record in state.records.values()} - {*without}
    types |= {str(unsent.change["type"]) for unsent in [*state.outbox.values(), *(one for _, one in state.confirmed)]}
    return {
        "unsent": sorted(state.outbox),
        "kept": sorted([*state.outbox, *state.refused]),
        "refused": {str(number): unsent.problems[0]["code"] for number, unsent in state.refused.items()},
        "pulled": fixed(
            {
                i: {"type": one.type, "revision": one.revision, "by": one.by, "fields": one.fields}
                for i, one in state.records.items()
                if one.type not in without
            }
        ),
        "shown": sorted(fixed(record.id) for name in types for record in state.views(name)),
    }
