"""A team as one zip, given piece by piece: neither the team nor the zip is ever held in memory.

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
from uuid import UUID, uuid4

from django.db import connection, transaction
from django.utils.translation import gettext as _

from lots.schema import utc_text
from tastings.errors import UnderWay
from tastings.models.photo_files import image_path, thumbnail_path
from tastings.queries.exporting.dictionary import dictionary_json, dictionary_markdown
from tastings.queries.exporting.lines import SHEETS, encoded, json_lines, sheet
from tastings.queries.exporting.scope import Scope
from tastings.queries.exporting.tables import ALWAYS_LEFT_OUT, OWNER_LEFT_OUT, TABLES
from tastings.queries.photos import name_on_disk
from teams.errors import NotAllowed
from teams.models import Member, Team
from teams.row_security import acting_for

FORMAT, VERSION = "leafspan-team", 1
_PIECE_BYTES = 64 * 1024
_STALLED = "2min"
"""A reader that takes nothing for so long loses the export: it holds a snapshot of the database open."""
_LOCK = 0x1EAF_E4B0
"""Of the lock by which a team has one export under way at a time; the other key is the team's."""

Say = Callable[[str], object]


class Stream:
    """The pieces of a team's zip. The first is made at once, so that what stands against the export is raised here.

    Each piece is made acting for the team, since the request that asked for them has ended by then.
    """

    def __init__(self, team: UUID, pieces: Iterator[bytes]) -> None:
        self._team, self._pieces = team, pieces
        self._first: bytes | None = self._made()

    def __iter__(self) -> "Stream":
        return self

    def __next__(self) -> bytes:
        """Return the next piece."""
        first, self._first = self._first, None
        return self._made() if first is None else first

    def _made(self) -> bytes:
        with acting_for(self._team):
            return next(self._pieces)

    def close(self) -> None:
        """Give up: the snapshot is let go."""
        close = getattr(self._pieces, "close", None)
        if close is not None:
            close()


def export_for(member: Member, *, now: datetime) -> Stream:
    """Return what an owner may see of the team.

    Raises
    ------
    NotAllowed
        The member does not own the team.
    UnderWay
        Another export of the team is being made.
    """
    if not member.runs_team:
        raise NotAllowed(_("only an owner may export the team"))
    return Stream(member.team_id, _alone(member.team_id, export(Scope(member.team, member), now=now)))


def _alone(team: UUID, pieces: Iterator[bytes]) -> Iterator[bytes]:
    with _snapshot():
        with connection.cursor() as cursor:
            cursor.execute("SELECT pg_try_advisory_xact_lock(%s, hashtext(%s))", [_LOCK, str(team)])
            if not cursor.fetchone()[0]:
                raise UnderWay("an export of this team is being made; fetch the next once it has ended")
            cursor.execute("SELECT set_config('idle_in_transaction_session_timeout', %s, true)", [_STALLED])
        yield from pieces


def export(scope: Scope, *, now: datetime, say: Say = lambda _: None) -> Iterator[bytes]:
    """Give the zip piece by piece; ``say`` is told how far it has come."""
    outlet = _Outlet()
    files: list[dict[str, object]] = []
    with _snapshot(), zipfile.ZipFile(outlet, "w", compresslevel=3) as target:

        def put(name: str, pieces: Iterable[tuple[bytes, int]], *, packed: bool = True) -> Iterator[bytes]:
            digest, size, lines = hashlib.sha256(), 0, 0
            info = zipfile.ZipInfo(name)
            info.compress_type = zipfile.ZIP_DEFLATED if packed else zipfile.ZIP_STORED
            info._compresslevel = 3  # type: ignore[attr-defined]  # noqa: SLF001 - `open` takes no level
            info.external_attr = 0o600 << 16
            with target.open(info, "w", force_zip64=True) as member:
                for piece, n_lines in pieces:
                    member.write(piece)
                    digest.update(piece)
                    size, lines = size + len(piece), lines + n_lines
                    if outlet.waiting >= _PIECE_BYTES:
                        yield outlet.take()
            files.append({"name": name, "bytes": size, "sha256": digest.hexdigest(), "lines": lines})
            say(f"{name}: {lines} lines" if lines else f"{name}: {size} bytes")

        gone: set[UUID] = set()
        for content in scope.photo_contents().iterator(chunk_size=500):
            name = name_on_disk(content)
            paths = [image_path(content.team_id, name), thumbnail_path(content.team_id, name)]
            try:  # both at hand before either is written: a photo may be taken away meanwhile
                pictures = [path.read_bytes() for path in paths]
            except FileNotFoundError:
                gone.add(content.id)
                continue
            for path, picture in zip(paths, pictures, strict=True):
                yield from put(_place(path), [(picture, 0)], packed=False)
        for table in TABLES:
            yield from put(table.file, json_lines(table, scope, gone=gone))
        for kind in SHEETS:
            yield from put(f"sheets/{kind}.csv", sheet(kind, scope))
        yield from put("dictionary.json", [(dictionary_json(), 0)])
        yield from put("dictionary.md", [(dictionary_markdown(), 0)])
        manifest = {
            "format": FORMAT,
            "version": VERSION,
            "team": {"id": str(scope.team.id), "name": scope.team.name},
            "made_at": utc_text(now),
            "made_for": "operator" if scope.whole else "owner",
            "left_out": [*ALWAYS_LEFT_OUT, *(() if scope.whole else OWNER_LEFT_OUT)],
            "files": list(files),
        }
        yield from put("manifest.json", [((encoded(manifest) + "\n").encode(), 0)])
    yield outlet.take()


def write_export(team: Team, path: Path, *, now: datetime, say: Say) -> None:
    """Write the operator's export of a whole team to a new file, which is there only once it is complete."""
    if path.exists():
        raise FileExistsError(errno.EEXIST, os.strerror(errno.EEXIST), str(path))
    draft = path.with_name(f"{path.name}.{uuid4().hex[:8]}.part")
    try:
        with open(os.open(draft, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600), "wb") as file:  # noqa: PTH123 - a descriptor, so that the mode holds from the first byte
            file.writelines(export(Scope(team), now=now, say=say))
            file.flush()
            os.fsync(file.fileno())
        draft.replace(path)
    finally:
        draft.unlink(missing_ok=True)


def _place(path: Path) -> str:
    return f"photos/{path.name}"


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


class _Outlet(io.RawIOBase):
    """Gathers what the zip writes until it is taken."""

    def __init__(self) -> None:
        super().__init__()
        self._pieces: list[bytes] = []
        self.waiting = 0

    def writable(self) -> bool:
        return True

    def write(self, data: object) -> int:
        piece = bytes(data)  # type: ignore[call-overload]  # a buffer
        self._pieces.append(piece)
        self.waiting += len(piece)
        return len(piece)

    def take(self) -> bytes:
        taken, self._pieces, self.waiting = b"".join(self._pieces), [], 0
        return taken
