"""What compressing an answer costs and saves: brotli, zstd and gzip side by side.

Run from the repository root: ``python -m benchmarks.compression``; a minute. Starts a whole installation of its own
with one team of 20,000 notes, takes answers as a phone and a browser get them, not compressed, and compresses each as
the server does. Prints a markdown table of bytes and milliseconds of one processor, in one run.
"""

import argparse
import json
import sys
import tempfile
import time
from collections.abc import Callable, Mapping, Sequence
from functools import partial
from pathlib import Path
from uuid import uuid4

from django.http import HttpRequest, HttpResponse

from api.http.compression import CompressText
from api.sync.lines import COMPRESS
from benchmarks.first_load import SCOPE, Line, fill
from table import shell
from tests.faults.installation import installation

CODINGS = ("gzip", "zstd", "br")


def cpu_ms(work: Callable[[], int]) -> tuple[int, float]:
    """Return what the work returns, and its processor time in milliseconds: the least of several runs."""
    took_s = []
    n_bytes = work()
    for _ in range(7):
        begun = time.process_time()
        work()
        took_s.append(time.process_time() - begun)
    return n_bytes, min(took_s) * 1000


def packed(contents: Sequence[bytes], coding: str) -> int:
    """Return the length of these answers as the server compresses them."""
    compression, request, size = CompressText(lambda _: HttpResponse()), HttpRequest(), 0
    request.META["HTTP_ACCEPT_ENCODING"] = coding
    for content in contents:
        answer = HttpResponse(content, content_type="application/json")
        compression.maybe_compress(request, answer)
        size += len(answer.content)
    return size


def streamed(lines: Sequence[bytes], coding: str) -> int:
    """Return the length of a stream of these lines as the server compresses it."""
    return sum(map(len, COMPRESS[coding](iter(lines))))


def answers(line: Line) -> Mapping[str, bytes]:
    """Return answers of the API, not compressed."""
    pages = line.ask("/api/v1/sync", {"cursor": 0, "limit": 500}).read()
    cursor = json.loads(pages)["cursor"]
    few = line.ask("/api/v1/sync", {"cursor": cursor, "limit": 10}).read()
    lot = {
        "type": "lot",
        "id": str(uuid4()),
        "at": "2026-03-04T12:00:00.000Z",
        "fields": {"name": "A", "kind": "oolong"},
    }
    pushed = line.ask("/api/v1/sync", {"cursor": 0, "limit": 1, "changes": [lot]}).read()
    return {"a page of 500 records": pages, "a page of 10 records": few, "a pushed lot, one record pulled": pushed}


def main() -> int:
    """Fill, pull, compress, print."""
    argparse.ArgumentParser(description=__doc__.splitlines()[0]).parse_args()
    with tempfile.TemporaryDirectory(prefix="leafspan-compression-") as folder, installation(Path(folder)) as place:
        line = Line(place.url, token=fill(place, notes=20_000), accepts="identity")
        lines = line.ask("/api/v1/sync/stream", {"cursor": 0, "scope": SCOPE}).read().splitlines(keepends=True)
        texts = answers(line)
    files = [(shell.FILES.parent / name).read_bytes() for name in shell.shell_files()]
    name = f"the first load as a stream of {len(lines)} lines"
    works = [(name, sum(map(len, lines)), partial(streamed, lines))]
    works += [(name, len(text), partial(packed, [text])) for name, text in texts.items()]
    works += [(f"the {len(files)} files of the app", sum(map(len, files)), partial(packed, files))]
    print("| answer | bytes |" + "".join(f" {coding} | ms |" for coding in CODINGS))
    print("| --- | ---: |" + " ---: |" * 2 * len(CODINGS))
    for name, size, work in works:
        row = [cpu_ms(partial(work, coding)) for coding in CODINGS]
        print(f"| {name} | {size:,} |" + "".join(f" {n_bytes:,} | {took_ms:.2f} |" for n_bytes, took_ms in row))
    return 0


if __name__ == "__main__":
    sys.exit(main())
