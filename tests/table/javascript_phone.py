"""Phones made of the app's own JavaScript, in Node, with the interface of the reference phone."""

import atexit
import json
import subprocess
from collections import Counter
from dataclasses import asdict
from datetime import datetime
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

from playwright._impl._driver import compute_driver_executable

from table.phone import (
    PhoneError,
    PhoneOptions,
    PhoneRecord,
    PhoneState,
    RefusedError,
    SignedOutError,
    SyncReport,
    UnreachableError,
)
from table.phone.sync_request import send_request

SCRIPT = Path(__file__).parent / "javascript" / "phones.mjs"
NODE = Path(compute_driver_executable()[0])
"""Node as Playwright's package brings it along."""
_ids = count()


class NodeProcess:
    """A process with any number of phones."""

    def __init__(self) -> None:
        process = subprocess.Popen([NODE, SCRIPT], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True)
        assert process.stdin
        assert process.stdout
        self._in, self._out = process.stdin, process.stdout
        atexit.register(process.kill)

    def do(self, name: str, *, carry: Any = None, **arguments: object) -> Any:
        """Run a command; ``carry`` carries the requests that it makes."""
        self._write({"do": name, **arguments})
        while True:
            line = json.loads(self._out.readline())
            if "request" in line:
                try:
                    answer = carry(line["request"])
                except BaseException:
                    self._write({"status": 0, "answer": None})
                    self._out.readline()  # so that the next command is not taken for an answer
                    raise
                self._write(answer)
            elif "error" in line:
                raise _error(line["error"])
            else:
                return line["result"]

    def _write(self, value: object) -> None:
        self._in.write(json.dumps(value) + "\n")
        self._in.flush()


@cache
def node() -> NodeProcess:
    """Return the process, which lives as long as the tests."""
    return NodeProcess()


class JavaScriptStore:
    """Where a JavaScript phone has its state; as a `MemoryStore` to those who read it."""

    def __init__(self, state: PhoneState) -> None:
        self.name = f"phone {next(_ids)}"
        node().do("restore", phone=self.name, snapshot=asdict(state))
        self._state: PhoneState | None = None

    @property
    def state(self) -> PhoneState:
        """Return the state as the reference phone has it."""
        if self._state is None:
            snapshot = node().do("snapshot", phone=self.name)
            self._state = PhoneState()
            self._state.apply({"event": "snapshot", "state": snapshot})
        return self._state

    def append(self, event: Any) -> None:
        """Store an event."""
        self.do("append", events=[event])

    def do(self, name: str, *, carry: Any = None, **arguments: object) -> Any:
        """Run a command of this phone."""
        self._state = None
        return node().do(name, phone=self.name, carry=carry, **arguments)

    def __deepcopy__(self, memo: object) -> "JavaScriptStore":
        return JavaScriptStore(self.state)

    def close(self) -> None:
        """Forget the phone."""
        node().do("forget", phone=self.name)


class JavaScriptPhone:
    """The app's modules behind the methods of `table.phone.Phone` that stories use."""

    def __init__(self, transport: Any, *, store: JavaScriptStore, options: PhoneOptions | None = None) -> None:
        self._transport, self._store, self._options = transport, store, options or PhoneOptions()

    def create(self, type_name: str, values: dict[str, object], *, record: str) -> str:
        """Create a record."""
        self._write({"type": type_name, "id": record, "fields": values})
        return record

    def edit(self, type_name: str, record: str, values: dict[str, object]) -> None:
        """Set fields."""
        self._write({"type": type_name, "id": record, "fields": values})

    def delete(self, type_name: str, record: str) -> None:
        """Delete a record."""
        self._write({"type": type_name, "id": record, "deleted": True})

    def set_scope(self, *, days: int | None, lots: list[str]) -> None:
        """Have infusions, notes and photos of sessions of the last days and of some lots only; None: of all."""
        scope = None if days is None else {"days": days, "lots": sorted(lots)}
        self._store.append({"event": "scoped", "scope": scope})

    def _write(self, change: dict[str, object]) -> None:
        now: datetime = self._options.clock()
        self._store.do("write", writes=[change], now_ms=int(now.timestamp() * 1000))

    def records(self, type_name: str) -> list[PhoneRecord]:
        """Return what screens show, in the order of the ids."""
        rows = self._store.do("rows", type=type_name)
        assert rows == self._store.do("rebuilt", type=type_name)  # step by step as from the beginning
        return [
            PhoneRecord(type=type_name, id=i, fields=row["fields"], revision=row["revision"], by=row["by"],
                        author=row["author"], at=row["at"], unsent=row["unsent"])
            for i, row in sorted(rows.items())
        ]  # fmt: skip

    def record(self, record: str) -> PhoneRecord | None:
        """Return one record as screens show it."""
        types = ("lot", "session", "infusion", "note", "descriptor", "pot")
        return next((found for name in types for found in self.records(name) if found.id == record), None)

    @property
    def unsent(self) -> list[Any]:
        """Return the changes to be sent."""
        outbox = self._store.state.outbox
        return [outbox[number] for number in sorted(outbox)]

    @property
    def refused(self) -> list[Any]:
        """Return the changes that the server refused."""
        refused = self._store.state.refused
        return [refused[number] for number in sorted(refused)]

    def sync(self, *, pull: bool = True) -> SyncReport:
        """Sync over the transport."""
        options = self._options
        done = self._store.do(
            "sync",
            carry=self._carry,
            pull=pull,
            pageSize=options.page_size,
            maxChanges=options.max_changes,
            isReversed=options.order is not list,
            streams=options.streams,
            echo=options.echo,
            now_ms=int(options.clock().timestamp() * 1000),
        )
        return JavaScriptReport(pulled=done["pulled"], names=Counter(done["verdicts"]))

    def _carry(self, request: dict[str, Any]) -> dict[str, object]:
        try:
            answer = send_request(
                self._transport,
                (request["method"], request["path"]),
                token=request["token"],
                body=request["body"],
                retry=self._options.retry,
                lines=request["lines"],
            )
        except UnreachableError:
            return {"status": 0, "answer": None}
        except RefusedError as refusal:
            return {"status": refusal.status, "answer": dict(refusal.problem)}
        return {"status": 200, "answer": dict(answer)}


class JavaScriptReport(SyncReport):
    """What a sync did; the outcome of each change stays in JavaScript."""

    def __init__(self, *, pulled: int, names: Counter[str]) -> None:
        super().__init__(pulled=pulled)
        self._names = names

    @property
    def verdicts(self) -> Counter[str]:
        """Return how often each verdict was given."""
        return self._names


def _error(error: dict[str, Any]) -> Exception:
    match error["name"]:
        case "UnreachableError":
            return UnreachableError(error["detail"])
        case "SignedOutError":
            return SignedOutError(error["detail"], status=401)
        case "RefusedError":
            return RefusedError(error["detail"], status=error["status"])
        case _:
            return PhoneError(error["detail"])
