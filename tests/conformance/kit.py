"""Files of the conformance kit, and the reference phone run against one."""

import gzip
import json
from datetime import datetime
from pathlib import Path
from typing import Any

from config.dev.home import ROOT
from table.phone import MemoryStore, Phone, PhoneOptions, RefusedError, Response, RetryPolicy, UnreachableError
from tests.conformance.case import DEVICE, Case, Headers, known_to

FOLDER = ROOT / "docs" / "conformance"


def files() -> list[Path]:
    """Return the recorded cases."""
    return sorted(FOLDER.glob("*.json"))


def as_recorded(case: Case, *, about: str) -> dict[str, Any]:
    """Return a case as its file has it."""
    return {"about": " ".join(about.split()), "device": DEVICE, "steps": case.steps}


def write(name: str, recorded: dict[str, Any]) -> None:
    """Write the file of a case."""
    text = json.dumps(recorded, ensure_ascii=False, indent=1)
    (FOLDER / f"{name}.json").write_text(f"{text}\n", "utf-8")


class Replayed:
    """Gives the recorded answers to the recorded requests; any other request fails."""

    def __init__(self) -> None:
        self.exchanges: list[dict[str, Any]] = []

    def send(self, method: str, path: str, *, headers: Headers, body: bytes | None) -> Response:
        """Answer as recorded."""
        assert self.exchanges, f"{method} {path} was not recorded"
        exchange = self.exchanges.pop(0)
        sent = {"method": method, "path": path, "body": json.loads(gzip.decompress(body)) if body else None}
        assert without_limit(sent) == without_limit(exchange["request"])
        answer = exchange["answer"]
        if answer is None:
            raise UnreachableError("as recorded")
        received = {name.lower(): value for name, value in answer["headers"].items()}
        if "lines" in answer:
            content = "".join(f"{json.dumps(line)}\n" for line in answer["lines"]) + answer.get("broken", "")
            return Response(answer["status"], received, content.encode())
        return Response(answer["status"], received, json.dumps(answer["body"]).encode())

    def close(self) -> None:
        """Do nothing."""


def without_limit(request: dict[str, Any]) -> dict[str, Any]:
    """Return a request without the size of a page, which is the client's choice."""
    body = request["body"] or {}
    return request | {"body": {name: value for name, value in body.items() if name != "limit"}}


def replay_phone(recorded: dict[str, Any]) -> None:
    """Run the reference phone through a case; raise AssertionError where it does something else."""
    transport, store = Replayed(), MemoryStore(recorded["device"])
    habits = {step["do"] for step in recorded["steps"]}
    options = PhoneOptions(retry=RetryPolicy(attempts=1), streams="stream" in habits, echo="no_echo" not in habits)
    phone = Phone(transport, store=store, options=options)
    for step in recorded["steps"]:
        match step["do"]:
            case "sign_in":
                store.append({"event": "signed", "token": "of the test"})
            case "write":
                write_on(phone, step)
            case "stream" | "no_echo":
                pass  # as it was made
            case "scope":
                phone.set_scope(**step["scope"])
            case "events":
                transport.exchanges = list(step["exchanges"])
                for _ in range(step["text"].count("event: changed\n")):
                    phone.sync()
                assert transport.exchanges == [], "not all requests were sent"
            case "sync" | "request":
                transport.exchanges = list(step["exchanges"])
                assert status_of(phone, step) == step["ends_with"]
                assert transport.exchanges == [], "not all requests were sent"
            case "expect":
                found = known_to(store.state)
                expected = {name: value for name, value in step.items() if name != "do"}
                assert {name: found[name] for name in expected} == expected
            case other:
                raise AssertionError(f"a step called {other!r} is not known")


def write_on(phone: Phone, step: dict[str, Any]) -> None:
    """Make the change of a step."""
    change = step["change"]
    at = datetime.fromisoformat(change["at"])
    if change.get("deleted"):
        phone.delete(change["type"], change["id"], at=at)
    elif step["creates"]:
        phone.create(change["type"], change["fields"], record=change["id"], at=at)
    else:
        phone.edit(change["type"], change["id"], change["fields"], at=at)


def status_of(phone: Phone, step: dict[str, Any]) -> int | None:
    """Let the phone sync, or send the request of a step; return the status it ends with."""
    try:
        if step["do"] == "sync":
            phone.sync()
        else:
            sent = step["exchanges"][0]["request"]
            phone.request(sent["method"], sent["path"], body=sent["body"])
            return int(step["exchanges"][0]["answer"]["status"])
    except RefusedError as refusal:
        return refusal.status
    except UnreachableError:
        return None
    return 200
