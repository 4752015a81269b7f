"""Chromium for tests of the app, and a proxy that breaks its connections."""

import os
import shutil
import signal
import socket
import threading
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import Browser, BrowserContext, Error, Page, Playwright, sync_playwright

OPEN_STORE = """
async () => {
  const { openStore } = await import("/static/table/data/store.js");
  globalThis.store = await openStore();
  globalThis.until = async (isTrue, patience_ms = 20000) => {
    for (const end = Date.now() + patience_ms; !(await isTrue()); ) {
      if (Date.now() > end) throw new Error(`not in time: ${isTrue}`);
      await new Promise((resume) => setTimeout(resume, 20));
    }
  };
}
"""

AFTERNOON = """
async (lot) => {
  const session = store.newId();
  const kept = [];
  const write = async (...writes) => (await store.write(writes), kept.push(...writes));
  const fields = { lot, started_at: store.now().toISOString(), leaf_g: 5, vessel_ml: 110 };
  await write({ type: "session", id: session, fields });
  for (let number = 0; number < 9; number++) {
    const infusion = store.newId();
    await write({ type: "infusion", id: infusion, fields: { session, number, steep_s: 10 + number, kettle_c: 99 } });
    for (const [descriptor, intensity] of [["strength", number / 2], ["liking", 6.1]]) {
      const fields = { session, infusion, moment: "mouth", descriptor, intensity };
      await write({ type: "note", id: store.newId(), fields });
    }
  }
  return kept;
}
"""
"""A session of nine infusions with two ratings each; returns what was called kept, 28 writes."""


def chromium() -> str:
    """Return the path of ``LEAFSPAN_CHROMIUM`` or of the first browser installed; skip where there is none.

    Where the variable names one that is not there, the test fails.
    """
    promised = os.environ.get("LEAFSPAN_CHROMIUM")
    if promised and not Path(promised).exists():
        pytest.fail(f"LEAFSPAN_CHROMIUM names {promised}, which is not there")
    names = ("chromium", "chromium-browser", "google-chrome")
    found = promised or next(filter(None, map(shutil.which, names)), None)
    if not found:
        pytest.skip("NO BROWSER: Debian's chromium is not installed, so the app is not tried in it")
    return found


@contextmanager
def started_playwright() -> Iterator[Playwright]:
    """Start Playwright; Django's models may be used beside its event loop."""
    former = os.environ.get("DJANGO_ALLOW_ASYNC_UNSAFE")
    os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"] = "1"
    try:
        with sync_playwright() as playwright:
            yield playwright
    finally:
        if former is None:
            del os.environ["DJANGO_ALLOW_ASYNC_UNSAFE"]


class Phone:
    """A browser's own storage with the app in it."""

    def __init__(self, browser: Browser, *, url: str, script: str = "") -> None:
        self._browser, self._script, self.url = browser, script, url
        self.errors: list[str] = []
        self.context = self._start()

    def _start(self) -> BrowserContext:
        context = self._new_context()
        if self._script:
            context.add_init_script(self._script)
        return context

    def _new_context(self) -> BrowserContext:
        return self._browser.new_context()

    def page(self, path: str = "/table/") -> Page:
        """Open the app in a new tab, with the store as ``store``; an error on it fails the test at the end."""
        page = self.context.new_page()
        self.open_in(page, path)
        return page

    def open_in(self, page: Page, path: str = "/table/") -> None:
        """Open the app in a tab."""
        page.on("pageerror", lambda error: self.errors.append(str(error)))
        page.on("console", self._note)
        page.goto(self.url + path)
        try:
            page.evaluate(OPEN_STORE)
        except Error as error:  # seen right after Chromium was killed; a store that cannot be opened fails again
            if "garbage collected" not in str(error):
                raise
            page.evaluate(OPEN_STORE)

    def _note(self, message: Any) -> None:
        if message.type == "error" and "Failed to load resource" not in message.text:
            self.errors.append(message.text)

    def sign_in(self, session: str) -> None:
        """Give the browser a Django session."""
        host = str(urlsplit(self.url).hostname)
        self.context.add_cookies([{"name": "sessionid", "value": session, "domain": host, "path": "/"}])

    def close(self) -> None:
        """Close every tab."""
        self.context.close()


class PhoneToKill(Phone):
    """A browser of its own, with a folder, which can be killed and started again."""

    def __init__(self, browser: Browser, *, url: str, folder: Path) -> None:
        self._folder = folder
        super().__init__(browser, url=url)

    def _new_context(self) -> BrowserContext:
        return self._browser.browser_type.launch_persistent_context(
            self._folder,
            executable_path=chromium(),
            args=["--no-sandbox", "--disable-gpu"] if os.geteuid() == 0 else [],
        )

    def kill(self) -> None:
        """Kill every process of the browser at once."""
        mark = f"--user-data-dir={self._folder}".encode()
        for entry in Path("/proc").iterdir():
            with suppress(OSError):
                if entry.name.isdigit() and mark in (entry / "cmdline").read_bytes().split(b"\0"):
                    os.kill(int(entry.name), signal.SIGKILL)
        with suppress(Exception):
            self.context.close()

    def start_again(self) -> None:
        """Start the browser on what it left on its disk."""
        for lock in self._folder.glob("Singleton*"):
            lock.unlink()
        self.context = self._start()


def ready(phone: Phone) -> Page:
    """Open the app, signed in, with everything pulled and the service worker in charge."""
    page = phone.page()
    page.evaluate("until(() => store.link.value.lastSync !== null && store.unsent.value === 0)")
    page.evaluate("navigator.serviceWorker.ready.then(() => null)")
    return page


class Proxy:
    """Carries bytes between a browser and a server, until it is cut."""

    def __init__(self, url: str) -> None:
        parts = urlsplit(url)
        self._server = (str(parts.hostname), int(parts.port or 80))
        self._listener = socket.create_server(("127.0.0.1", 0))
        self.url = f"http://127.0.0.1:{self._listener.getsockname()[1]}"
        self.loses_answers = self._is_cut = False
        self._open: set[socket.socket] = set()
        threading.Thread(target=self._listen, daemon=True).start()

    def cut(self) -> None:
        """Break every connection and refuse new ones."""
        self._is_cut = True
        for one in list(self._open):
            _close(one)

    def mend(self) -> None:
        """Carry again."""
        self._is_cut = self.loses_answers = False

    def close(self) -> None:
        """Stop."""
        self.cut()
        _close(self._listener)

    def _listen(self) -> None:
        with suppress(OSError):
            while True:
                client, _ = self._listener.accept()
                if self._is_cut:
                    _close(client)
                else:
                    threading.Thread(target=self._carry, args=(client,), daemon=True).start()

    def _carry(self, client: socket.socket) -> None:
        with suppress(OSError):
            server = socket.create_connection(self._server)
            for one in (client, server):
                one.setsockopt(socket.IPPROTO_TCP, socket.TCP_NODELAY, 1)
            self._open |= {client, server}
            back = threading.Thread(target=self._copy, args=(server, client), daemon=True)
            back.start()
            self._copy(client, server)
            back.join()
        self._open -= {client}

    def _copy(self, source: socket.socket, target: socket.socket) -> None:
        try:
            while content := source.recv(65536):
                if self.loses_answers and source.getpeername() == self._server:
                    break
                target.sendall(content)
        except OSError:
            pass
        finally:
            _close(source)
            _close(target)


def _close(one: socket.socket) -> None:
    with suppress(OSError):
        one.shutdown(socket.SHUT_RDWR)
    one.close()
