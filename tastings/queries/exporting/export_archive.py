"""Streams a team as one zip: neither the team nor the zip is ever in memory as a whole.

Everything is read in one snapshot. The zip holds ``records/*.jsonl``, ``sheets/*.csv``, ``photos/``, a data dictionary,
and last ``manifest.json`` with the SHA-256 of each of the others.
"""

import errno
import hashlib
import io
import os
import zipfile
from collections.abc import Callable, Iterable, Iterator
from contextlib import contextmanager
from datetime import datetime
from pathlib import Path
from typing import BinaryIO
from uuid import UUID, uuid4

from django.db import connection, transaction
from django.utils.translation import gettext as _

from lots.schema import format_utc
from tastings.errors import AlreadyRunning
from tastings.models.photo_files import image_key, read_file, thumbnail_key
from tastings.queries.exporting.dictionary import dictionary_json, dictionary_markdown
from tastings.queries.exporting.lines import SHEETS, csv_sheet, encode_line, json_lines
from tastings.queries.exporting.scope import ExportScope
from tastings.queries.exporting.tables import ALWAYS_EXCLUDED, OWNER_EXCLUDED, TABLES
from tastings.queries.photos import name_on_disk
from teams.errors import NotAllowed
from teams.models import Member, Team
from teams.row_security import acting_for

FORMAT, VERSION = "leafspan-team", 1
_CHUNK_BYTES = 64 * 1024
_STALL_TIMEOUT = "2min"
"""A client that reads nothing for this time loses the export, which keeps a snapshot of the database open."""
_LOCK = 0x1EAF_E4B0
"""First key of the advisory lock that allows a team one export at a time; the second is the team's."""

LogLine = Callable[[str], object]


class ZipStream:
    """The chunks of a team's zip. The first is made at once, so that a refusal of the export is raised here.

    Each chunk is made acting for the team, since the request has ended by then.
    """

    def __init__(self, team: UUID, chunks: Iterator[bytes]) -> None:
        self._team, self._chunks = team, chunks
        self._first: bytes | None = self._next_chunk()

    def __iter__(self) -> "ZipStream":
        return self

    def __next__(self) -> bytes:
        """Return the next chunk."""
        first, self._first = self._first, None
        return self._next_chunk() if first is None else first

    def _next_chunk(self) -> bytes:
        with acting_for(self._team):
            return next(self._chunks)

    def close(self) -> None:
        """Stop and close the snapshot."""
        close = getattr(self._chunks, "close", None)
        if close is not None:
            close()


def check_may_export(member: Member) -> None:
    """Raise NotAllowed unless the member is an owner."""
    if not member.runs_team:
        raise NotAllowed(_("only an owner may export the team"))


def export_for_owner(member: Member, *, now: datetime) -> ZipStream:
    """Return what an owner may see of the team.

    Raise NotAllowed for all but owners, AlreadyRunning while another export of the team is being made.
    """
    check_may_export(member)
    return ZipStream(member.team_id, _locked(member.team_id, export(ExportScope(member.team, member), now=now)))


def _locked(team: UUID, chunks: Iterator[bytes]) -> Iterator[bytes]:
    with _snapshot():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_try_advisory_xact_lock(%s, hashtext(%s))", [_LOCK, str(team)])
            if not cursor.fetchone()[0]:
                raise AlreadyRunning(_("an export of this team is being made; fetch the next once it has ended"))
            cursor.execute("SELECT set_config('idle_in_transaction_session_timeout', %s, true)", [_STALL_TIMEOUT])
        yield from chunks


def export(scope: ExportScope, *, now: datetime, log: LogLine = lambda _: None) -> Iterator[bytes]:
    """Yield the zip in chunks; ``log`` is called with a line for each file."""
    buffer = _ChunkBuffer()
    files: list[dict[str, object]] = []
    with _snapshot(), zipfile.ZipFile(buffer, "w", compresslevel=3) as target:

        def put(name: str, chunks: Iterable[tuple[bytes, int]], *, packed: bool = True) -> Iterator[bytes]:
            digest, size, lines = hashlib.sha256(), 0, 0
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
            info._compresslevel = 3  # type: ignore[attr-defined]  # noqa: SLF001 - `open` takes no level
            info.external_attr = 0o600 << 16
            with target.open(info, "w", force_zip64=True) as member:
                for chunk, n_lines in chunks:
                    member.write(chunk)
                    digest.update(chunk)
                    size, lines = size + len(chunk), lines + n_lines
                    if buffer.waiting >= _CHUNK_BYTES:
                        yield buffer.take()
            files.append({"name": name, "bytes": size, "sha256": digest.hexdigest(), "lines": lines})
            log(f"{name}: {lines} lines" if lines else f"{name}: {size} bytes")

        missing: set[UUID] = set()
        for content in scope.photo_contents().iterator(chunk_size=500):
            name = name_on_disk(content)
            keys = [image_key(content.team_id, name), thumbnail_key(content.team_id, name)]
            try:  # both are read before either is written: the photo may be deleted meanwhile
                pictures = [read_file(key) for key in keys]
            except FileNotFoundError:
                missing.add(content.id)
                continue
            for key, picture in zip(keys, pictures, strict=True):
                yield from put(f"photos/{key.rpartition('/')[2]}", [(picture, 0)], packed=False)
        for table in TABLES:
            yield from put(table.file, json_lines(table, scope, missing=missing))
        for kind in SHEETS:
            yield from put(f"sheets/{kind}.csv", csv_sheet(kind, scope))
        yield from put("dictionary.json", [(dictionary_json(), 0)])
        yield from put("dictionary.md", [(dictionary_markdown(), 0)])
        manifest = {
            "format": FORMAT,
            "version": VERSION,
            "team": {"id": str(scope.team.id), "name": scope.team.name},
            "made_at": format_utc(now),
            "made_for": "operator" if scope.is_operator else "owner",
            "left_out": [*ALWAYS_EXCLUDED, *(() if scope.is_operator else OWNER_EXCLUDED)],
            "files": list(files),
        }
        yield from put("manifest.json", [((encode_line(manifest) + "\n").encode(), 0)])
    yield buffer.take()


def write_export(team: Team, path: Path, *, now: datetime, log: LogLine) -> None:
    """Write the operator's export of a whole team to a new file."""
    with new_file(path) as file:
        file.writelines(export(ExportScope(team), now=now, log=log))


@contextmanager
def new_file(path: Path) -> Iterator[BinaryIO]:
    """Open a file that only we can read, and that is there only once it is complete; raise FileExistsError."""
    if path.exists():
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    tmp_path = path.with_name(f"{path.name}.{uuid4().hex[:8]}.part")
    try:
        with open(os.open(tmp_path, os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # noqa: PTH123 - a descriptor, so that the mode holds from the first byte
            yield file
            file.flush()
            os.fsync(file.fileno())
        tmp_path.replace(path)
    finally:
        tmp_path.unlink(missing_ok=True)


@contextmanager
def _snapshot() -> Iterator[None]:
    """See the database as it is now, until the end. Within a transaction that has begun, that one's rules hold."""
    if connection.in_atomic_block:
        yield
        return
    with transaction.atomic():
        with connection.cursor() as cursor:
            cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        yield


class _ChunkBuffer(io.RawIOBase):
    """Collects what the zip writes until it is taken."""

    def __init__(self) -> None:
        super().__init__()
        self._chunks: list[bytes] = []
        self.waiting = 0

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        chunk = bytes(data)  # type: ignore[call-overload]  # a buffer
        self._chunks.append(chunk)
        self.waiting += len(chunk)
        return len(chunk)

    def take(self) -> bytes:
        taken, self._chunks, self.waiting = b"".join(self._chunks), [], 0
        return taken
