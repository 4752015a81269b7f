"""How long a lot's report page takes behind the production server, for somebody signed in with a browser.

Run from the repository root: ``python -m benchmarks.pages``. Starts a whole installation of its own, puts the demo data
in, and waits until every lot's figures are fresh. Then, over one connection, it asks for

- in turns, the floor, which is the server's smallest answer and asks no database, and a report that was read before and
  of which nothing has changed;
- a report that was read before, just after a push to another lot of the same team, while the worker is at that lot;

each report of the demo in its turn. Prints a markdown table; the times are this machine's, the
ratios to the floor are the point.
"""

import argparse
import http.client
import re
import sys
import tempfile
import time
from pathlib import Path
from statistics import median, quantiles
from urllib.parse import urlencode, urlsplit

from config.demo.company import ILVA, PASSWORD
from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.consistency import figures_are_current
from tests.faults.installation import Installation, installation

READINGS = 200
_FIELD = re.compile(r'name="csrfmiddlewaretoken" value="([^"]+)"')
_REPORT = re.compile(r'href="(/lots/[0-9a-f-]{36}/report/)"')


class Browser:
    """One connection that keeps cookies."""

    def __init__(self, url: str) -> None:
        self._origin, place = url, urlsplit(url)
        self._link = http.client.HTTPConnection(str(place.hostname), place.port)
        self._cookies: dict[str, str] = {}

    def get(self, path: str) -> str:
        """Return a page."""
        return self._ask("GET", path, expect=200)

    def sign_in(self, username: str, *, password: str) -> None:
        """Fill the form in and send it."""
        field = _FIELD.search(self.get("/sign-in/"))
        form = {"username": username, "password": password, "csrfmiddlewaretoken": field[1] if field else ""}
        self._ask("POST", "/sign-in/", expect=302, body=urlencode(form))

    def _ask(self, method: str, path: str, *, expect: int, body: str | None = None) -> str:
        headers = {"Cookie": "; ".join(f"{name}={value}" for name, value in self._cookies.items())}
        if body is not None:
            headers |= {"Content-Type": "application/x-www-form-urlencoded", "Origin": self._origin}
        self._link.request(method, path, body=body, headers=headers)
        answer = self._link.getresponse()
        for cookie in answer.headers.get_all("Set-Cookie") or ():
            name, _, value = cookie.partition(";")[0].partition("=")
            self._cookies[name] = value
        text = answer.read().decode()
        if answer.status != expect:
            raise RuntimeError(f"{method} {path}: {answer.status}")
        return text


def timed_s(browser: Browser, path: str) -> float:
    """Return how long one page takes. [s]."""
    begun = time.perf_counter()
    browser.get(path)
    return time.perf_counter() - begun


def measure(place: Installation, *, readings: int) -> None:
    """Read and print."""
    print(place.run("demo", "--url", place.url).splitlines()[-1], file=sys.stderr)
    phone = Phone(HttpTransport(place.url), store=MemoryStore())
    phone.sign_in(username=ILVA.username, password=PASSWORD)
    phone.sync()
    if not figures_are_current(phone, limit_s=300):
        raise SystemExit("the demo's figures do not become fresh")
    browser = Browser(place.url)
    browser.sign_in(ILVA.username, password=PASSWORD)
    reports = sorted(set(_REPORT.findall(browser.get("/lots/"))))
    other = phone.create("lot", {"name": "Bench", "kind": "green"})
    phone.sync()
    for path in reports * 2:
        browser.get(path)
    times_of: dict[str, list[float]] = {"floor": [], "nothing changed": [], "after a push to another lot": []}
    for i in range(readings):
        times_of["floor"].append(timed_s(browser, "/health/live"))
        times_of["nothing changed"].append(timed_s(browser, reports[i % len(reports)]))
    for i in range(readings):
        phone.edit("lot", other, {"name": f"Bench {i}"})
        phone.sync()
        times_of["after a push to another lot"].append(timed_s(browser, reports[i % len(reports)]))
        if i % 50 == 49:
            print(f"  {i + 1} of {readings} pushes", file=sys.stderr, flush=True)
    floor = median(times_of["floor"])
    print(f"{len(reports)} reports, {readings} readings of each kind.\n")
    print("| report | median | p95 | median by the floor |\n| --- | ---: | ---: | ---: |")
    for kind, times in times_of.items():
        p95 = quantiles(times, n=20)[-1]
        print(f"| {kind} | {1000 * median(times):.1f} ms | {1000 * p95:.1f} ms | {median(times) / floor:.1f} |")


def main() -> None:
    """Measure on an installation of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--readings", type=int, default=READINGS, help="of each kind")
    chosen = parser.parse_args()
    with tempfile.TemporaryDirectory(prefix="leafspan-pages-") as folder, installation(Path(folder)) as place:
        measure(place, readings=chosen.readings)


if __name__ == "__main__":
    main()
