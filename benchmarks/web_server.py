"""The production web server in processes of its own beside a benchmark, and a phone that syncs with it."""

import gzip
import http.client
import json
import sys
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from typing import Any
from urllib.parse import urlsplit
from uuid import uuid4

from config.dev.process import Child, free_port, stop_all
from config.dev.services import Running

_READY_LIMIT_S = 30.0


@contextmanager
def web_server(servers: Running) -> Iterator[str]:
    """Run the web server on these servers, as ``make run`` does; yield its address."""
    port = free_port()
    environment = {"OMP_NUM_THREADS": "1", "PORT": str(port), "LEAFSPAN_REQUESTS_PER_MINUTE": "1000000"}
    command = ["gunicorn", "--config", "python:config.gunicorn_options", "--bind", f"127.0.0.1:{port}", "config.asgi"]
    web = Child(
        name="web",
        command=[sys.executable, "-m", *command],
        env={**servers.web_environment(), **environment},
        log=servers.home / "logs" / "web.log",
    )
    web.start()
    try:
        deadline = time.monotonic() + _READY_LIMIT_S
        while not _answers(port):
            if time.monotonic() > deadline or web.exit_code is not None:
                raise SystemExit(f"the web server does not answer\n{web.tail()}")
            time.sleep(0.1)
        yield f"http://127.0.0.1:{port}"
    finally:
        stop_all([web])


def _answers(port: int) -> bool:
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=1)
    try:
        link.request("GET", "/health/live")
        return link.getresponse().status == 200
    except (OSError, http.client.HTTPException):
        return False
    finally:
        link.close()


class SyncingPhone:
    """A signed-in phone on one kept-alive connection, which asks as the app does and stores only where it stands."""

    def __init__(self, url: str, *, username: str, password: str) -> None:
        place = urlsplit(url)
        self._link = http.client.HTTPConnection(str(place.hostname), place.port)
        self._headers = {"Content-Type": "application/json", "Accept": "application/json", "Accept-Encoding": "gzip"}
        sign_in = json.dumps({"username": username, "password": password, "device": "bench"})
        answer = self._send("/api/v1/auth/tokens", sign_in.encode(), expect=201)
        self._headers |= {"Authorization": f"Bearer {answer['token']}", "Content-Encoding": "gzip"}
        self._standing: dict[str, Any] = {"cursor": 0}
        self._device = str(uuid4())

    def body(self, changes: Sequence[object]) -> bytes:
        """Return the body of the next sync."""
        body = {"schema": 1, "device": self._device, "scope": {"days": 120, "lots": []}, **self._standing}
        return gzip.compress(json.dumps({**body, "limit": 500, "changes": changes, "echo": False}).encode())

    def sync(self, body: bytes) -> dict[str, Any]:
        """Send a body and read the answer."""
        answer = self._send("/api/v1/sync", body, expect=200)
        self._standing = {name: answer[name] for name in ("cursor", "scope_token") if name in answer}
        return answer

    def catch_up(self) -> None:
        """Pull everything there is."""
        while self.sync(self.body([]))["more"]:
            pass

    def close(self) -> None:
        """Close the connection."""
        self._link.close()

    def _send(self, path: str, body: bytes, *, expect: int) -> dict[str, Any]:
        self._link.request("POST", path, body=body, headers=self._headers)
        response = self._link.getresponse()
        text = response.read()
        if response.headers.get("Content-Encoding") == "gzip":
            text = gzip.decompress(text)
        if response.status != expect:
            raise RuntimeError(f"POST {path}: {response.status} {text.decode()}")
        return dict(json.loads(text))
