"""``python -m tests.conformance``: record ``docs/conformance/`` from an installation of its own. About four minutes."""

import os
import shutil
import signal
import sys
import tempfile
import time
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from http.client import HTTPConnection
from pathlib import Path
from uuid import uuid4

from table.phone import HttpTransport, Response
from tests.config.launching import eventually
from tests.conformance.case import Member
from tests.conformance.cases import CASES, OF_INSTALLATION, QUOTAS, REQUESTS_A_MINUTE
from tests.conformance.kit import as_recorded, files, write
from tests.faults.installation import PASSWORD, Installation, installation

SHOP = "Ford"


class InstalledServer:
    """The installation, reached over HTTP."""

    def __init__(self, place: Installation) -> None:
        self._place, self._transport = place, HttpTransport(place.url)

    def send(self, method: str, path: str, *, headers: Mapping[str, str], body: bytes | None) -> Response:
        """Carry one request."""
        return self._transport.send(method, path, headers=headers, body=body)

    def new_team(self, *roles: str) -> list[tuple[str, str]]:
        """Make a team with one member of each role; return the token and the id of each."""
        name = uuid4().hex
        team = self._place.manage("new_team", "--name", name, "--shop", SHOP, "--username", f"{name}-0")["team"]
        for n, role in enumerate(roles, start=1):
            login = f"{name}-{n}"
            self._place.manage(
                "new_member", "--team", team, "--shop", SHOP, "--username", login, "--role", role
            )  # fmt: skip
        nobody = Member(self, token="", user="")
        signed_in = [
            nobody.request(
                "POST",
                "/api/v1/auth/tokens",
                {"username": f"{name}-{n}", "password": PASSWORD, "device": "phone"},
            )
            for n in range(1, len(roles) + 1)
        ]
        return [(answer["token"], answer["user"]) for answer in signed_in]

    def work(self) -> None:
        """Give the worker time."""
        time.sleep(0.2)

    def events(self, token: str, change: Callable[[], object]) -> str:
        """Open the stream of events, make a change, and return the text up to the end of its event."""
        place = HTTPConnection("127.0.0.1", self._place.port, timeout=60)
        place.request("GET", "/api/v1/events", headers={"Authorization": f"Bearer {token}"})
        with place.getresponse() as answer:
            lines = [answer.readline(), answer.readline()]  # how long to wait before opening it again
            change()
            while lines[-1] != b"\n" or len(lines) < 4:
                lines.append(answer.readline())
        return b"".join(lines).decode()

    @contextmanager
    def without_database(self) -> Iterator[None]:
        """Kill the database; the launcher, which starts it again, is halted meanwhile."""
        [pid] = self._place.processes("database")
        self._place.launcher.send_signal(signal.SIGSTOP)
        try:
            self._place.kill(pid)
            time.sleep(0.2)  # until its connections are closed
            yield
        finally:
            self._place.launcher.send_signal(signal.SIGCONT)
        if not eventually(self._place.ready, seconds=120):
            raise SystemExit("the database did not come back")


def main() -> int:
    """Record every case; a file whose case is gone is deleted."""
    os.environ["LEAFSPAN_REQUESTS_PER_MINUTE"] = str(REQUESTS_A_MINUTE)
    for name, (team, member) in QUOTAS.items():
        os.environ[f"LEAFSPAN_QUOTA_{name.upper()}"] = f"{team}/{member}"
    home = Path(tempfile.mkdtemp(prefix="leafspan-conformance-"))
    with installation(home) as place:
        server = InstalledServer(place)
        recorded = {name: as_recorded(play(server), about=str(play.__doc__)) for name, play in CASES.items()}
        recorded |= {name: as_recorded(play(server), about=str(play.__doc__)) for name, play in OF_INSTALLATION.items()}
    shutil.rmtree(home, ignore_errors=True)
    for name, case in recorded.items():
        write(name, case)
    for file in files():
        if file.stem not in recorded:
            file.unlink()
    sys.stdout.write(f"{len(recorded)} cases recorded\n")
    return 0


if __name__ == "__main__":
    sys.exit(main())
