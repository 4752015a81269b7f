"""What a new phone of a team with many notes pulls at first: everything, or the last days; in pages, or as a stream.

Run from the repository root: ``python -m benchmarks.first_load``; a few minutes. Starts a whole installation of its
own and fills one team with sessions spread evenly over three years. A phone then pulls from cursor 0 through HTTP, with
compressed answers: everything in pages of 500, as every phone did before scopes; the last 120 days in pages; the last
120 days as one stream. Prints a markdown table of requests, bytes and seconds in one run.
"""

import argparse
import gzip
import http.client
import json
import sys
import tempfile
import time
import zlib
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit
from uuid import uuid4

import psycopg

from benchmarks.sync_growth import BASE, FILL
from config.dev import services
from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.installation import PASSWORD, Installation, installation

SCOPE = {"days": 120}
YEARS = 3
_SPREAD = """
UPDATE tastings_session
SET started_at = now() - ((revision - %(base)s)::float / %(last)s) * interval '1 year' * %(years)s
WHERE team_id = %(team)s
"""


class Line:
    """One connection that counts what it carries."""

    def __init__(self, url: str, *, token: str, accepts: str = "gzip") -> None:
        place = urlsplit(url)
        self._link = http.client.HTTPConnection(str(place.hostname), place.port)
        self._headers = {
            "Authorization": f"Bearer {token}",
            "Content-Type": "application/json",
            "Accept-Encoding": accepts,
        }
        self.requests = self.n_bytes = self.records = 0

    def ask(self, path: str, body: Mapping[str, object]) -> http.client.HTTPResponse:
        """Send a request; raise RuntimeError unless it is answered with 200."""
        self.requests += 1
        sent = {"schema": 1, "device": str(uuid4()), **body}
        self._link.request("POST", path, body=json.dumps(sent), headers=self._headers)
        answer = self._link.getresponse()
        if answer.status != 200:
            raise RuntimeError(f"{path}: {answer.status} {answer.read()[:200]!r}")
        return answer

    def pull(self, **body: object) -> None:
        """Pull in pages until there is no more."""
        has_more = True
        body["cursor"] = 0
        while has_more:
            content = self.ask("/api/v1/sync", body).read()
            self.n_bytes += len(content)
            page = json.loads(gzip.decompress(content))
            self.records += len(page["changes"])
            has_more, body["cursor"] = page["more"], page["cursor"]
            if "scope_token" in page:
                body["scope_token"] = page["scope_token"]

    def stream(self, **body: object) -> None:
        """Pull as one stream, line by line."""
        answer, rest = self.ask("/api/v1/sync/stream", body), b""
        unpack = zlib.decompressobj(wbits=31)
        while piece := answer.read1(65_536):
            self.n_bytes += len(piece)
            *lines, rest = (rest + unpack.decompress(piece)).split(b"\n")
            self.records += sum(len(json.loads(line)["changes"]) for line in lines)


def fill(place: Installation, *, notes: int) -> str:
    """Make a team with so many notes; return a token."""
    ids = place.manage("new_team", "--name", "Bench", "--shop", "Bench", "--username", "bench")
    phone = Phone(HttpTransport(place.url), store=MemoryStore())
    token = phone.sign_in(username="bench", password=PASSWORD)["token"]
    lot = phone.create("lot", {"name": "Bench", "kind": "oolong"})
    phone.sync()
    with psycopg.connect(services.running(place.home).database_url, autocommit=True) as link:  # type: ignore[union-attr]  # it runs
        word = link.execute("SELECT id FROM tastings_descriptor WHERE team_id IS NULL LIMIT 1").fetchone()
        began = link.execute("SELECT first_revision FROM teams_team WHERE id = %s", [ids["team"]]).fetchone()
        base = began[0] + BASE  # type: ignore[index]  # the team is there
        of = {"team": ids["team"], "user": ids["user"], "lot": lot, "word": word and word[0], "base": base}
        for first in range(1, notes // 100 + 1, 500):
            last = min(first + 499, notes // 100)
            with psycopg.ClientCursor(link) as cursor:
                cursor.execute(FILL, of | {"first": first, "last": last})
            print(f"  {last * 100:,} of {notes:,} notes", file=sys.stderr, flush=True)
        link.execute(_SPREAD, {"team": ids["team"], "base": base, "last": notes // 100 * 110, "years": YEARS})
        link.execute("VACUUM ANALYZE tastings_session, tastings_infusion, tastings_note")
    return str(token)


def main() -> int:
    """Fill, pull, print."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--notes", type=int, default=200_000)
    notes = parser.parse_args().notes
    with tempfile.TemporaryDirectory(prefix="leafspan-first-load-") as folder, installation(Path(folder)) as place:
        token = fill(place, notes=notes)
        print(f"| first pull of a team of {notes:,} notes | requests | records | kB on the wire | seconds |")
        print("| --- | ---: | ---: | ---: | ---: |")
        for name, scope, in_pages in (
            ("everything, in pages of 500", {}, True),
            (f"the last {SCOPE['days']} days, in pages of 500", {"scope": SCOPE}, True),
            (f"the last {SCOPE['days']} days, as a stream", {"scope": SCOPE}, False),
        ):
            line, begun = Line(place.url, token=token), time.perf_counter()
            line.pull(limit=500, **scope) if in_pages else line.stream(**scope)
            took_s = time.perf_counter() - begun
            print(f"| {name} | {line.requests} | {line.records:,} | {line.n_bytes / 1000:,.0f} | {took_s:.1f} |")
    return 0


if __name__ == "__main__":
    sys.exit(main())
