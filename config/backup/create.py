"""Makes a backup while everything runs: one snapshot for the dump and for the digests of its tables."""

import json
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import asdict
from datetime import datetime
from pathlib import Path
from typing import IO, Any, NotRequired, TypedDict

from django.db import connection, transaction
from django.db.migrations.recorder import MigrationRecorder

from config.backup.checksums import copy_hashed, digest_of, table_digests, tables_here
from config.backup.photos import LIST, PhotoCopier
from config.backup.programs import BackupError, environment, find_tools, server_major
from config.backup.signature import sign
from lots.schema import format_utc
from tastings.models import PhotoContent
from tastings.models.photo_files import image_key, store, thumbnail_key
from tastings.queries.exporting import new_file
from tastings.queries.photos import name_on_disk

FORMAT, VERSION = "leafspan-backup", 2
DUMP, MANIFEST, SIGNATURE = "database.dump", "manifest.json", "manifest.signature"
EMPTIED = ("django_session",)
"""Tables whose rows stay out: whoever holds the file could continue a browser's session."""

LogLine = Callable[[str], object]


class Manifest(TypedDict):
    """What a backup says of itself."""

    format: str
    version: int
    made_at: str
    dumped_by: int
    dump: dict[str, int | str]
    """Its size and digest: ``bytes`` and ``sha256``."""
    tables: dict[str, dict[str, Any]]
    """The fields of each `TableDigest`."""
    migrations: list[list[str]]
    roles: list[str]
    photos: int
    missing_photos: list[str]
    photo_list: NotRequired[str]
    """Digest of the list of photos; from version 2 on."""


def create_backup(path: Path, *, now: datetime, log: LogLine) -> None:
    """Write database and photos into one new file, which is there only once it is complete.

    Raise BackupError if the file exists, there is no key to sign with, or PostgreSQL's programs are missing or fail.
    """
    if path.exists():
        raise BackupError(f"{path} is there already")
    sign(b"")  # without a key nothing is begun
    with new_file(path) as file, zipfile.ZipFile(file, "w") as target, tempfile.TemporaryFile() as listing:
        _write(target, PhotoCopier(store(), target, listing), listing, now=now, log=log)


def _write(
    target: zipfile.ZipFile,
    photos: PhotoCopier,
    listing: IO[bytes],
    *,
    now: datetime,
    log: LogLine,
) -> None:
    photos.copy("kept")
    log(f"{photos.count} files of photos")
    with _snapshot() as snapshot:
        photos.copy("kept")
        photos.copy("uploads")
        missing = list(_missing(photos))
        tools = find_tools(server_major())
        without = [f"--exclude-table-data=public.{table}" for table in EMPTIED]
        dump = _dump(target, tools.command("pg_dump", "--format=custom", f"--snapshot={snapshot}", *without))
        log(f"database: {dump['bytes']} bytes, by the programs of PostgreSQL {tools.major}")
        tables_in_full = tables_here()
        tables = {table: asdict(digest_of(tables_in_full.pop(table), ())) for table in EMPTIED}
        for table, content in table_digests(tables_in_full):
            tables[table] = asdict(content)
            log(f"{table}: {content.rows} rows")
        manifest: Manifest = {
            "format": FORMAT,
            "version": VERSION,
            "made_at": format_utc(now),
            "dumped_by": tools.major,
            "dump": dump,
            "tables": tables,
            "migrations": sorted(map(list, MigrationRecorder(connection).applied_migrations())),
            "roles": _roles(),
            "photos": photos.count,
            "missing_photos": missing,
            "photo_list": _write_list(target, listing),
        }
    text = f"{json.dumps(manifest, indent=1)}\n".encode()
    target.writestr(MANIFEST, text)
    target.writestr(SIGNATURE, sign(text))
    log(f"{photos.count} files of photos in all")
    if missing:
        log(f"{len(missing)} pictures were taken away while the backup was made, or were missing before")


def _write_list(target: zipfile.ZipFile, listing: IO[bytes]) -> str:
    """Write the list of photos; return its SHA-256."""
    listing.seek(0)
    with target.open(LIST, "w", force_zip64=True) as member:
        return copy_hashed(listing, member)[1]


@contextmanager
def _snapshot() -> Iterator[str]:
    """Keep one snapshot of the database until the end; yield its name for other connections."""
    with transaction.atomic(), connection.cursor() as cursor:
        cursor.execute("SET TRANSACTION ISOLATION LEVEL REPEATABLE READ, READ ONLY")
        cursor.execute("SELECT pg_export_snapshot()")
        yield cursor.fetchone()[0]


def _dump(target: zipfile.ZipFile, command: list[str]) -> dict[str, int | str]:
    with tempfile.TemporaryFile() as stderr:
        process = subprocess.Popen(  # noqa: S603 - a program of PostgreSQL's
            command,
            stdin=subprocess.DEVNULL,
            stdout=subprocess.PIPE,
            stderr=stderr,
            env=environment(connection.settings_dict),
        )
        with process, target.open(DUMP, "w", force_zip64=True) as member:
            assert process.stdout is not None  # noqa: S101 - asked for above
            size, sha256 = copy_hashed(process.stdout, member)
        if process.returncode != 0:
            stderr.seek(0)
            raise BackupError(f"pg_dump failed: {stderr.read().decode(errors='replace').strip()}")
    return {"bytes": size, "sha256": sha256}


def _missing(photos: PhotoCopier) -> Iterator[str]:
    """Yield the pictures that the snapshot lists and the folder did not have."""
    for content in PhotoContent.objects.order_by("id").iterator(chunk_size=1000):
        name = name_on_disk(content)
        for key in (image_key(content.team_id, name), thumbnail_key(content.team_id, name)):
            place = f"photos/{key}"
            if not photos.has(place):
                yield place


def _roles() -> list[str]:
    """Return the roles, but for the owner, that rights or policies name: a server to restore on must have them."""
    with connection.cursor() as cursor:
        cursor.execute(
            """SELECT DISTINCT named.rolname::text FROM (
                   SELECT (aclexplode(relacl)).grantee AS role FROM pg_class WHERE relnamespace = 'public'::regnamespace
                   UNION SELECT (aclexplode(proacl)).grantee FROM pg_proc WHERE pronamespace = 'public'::regnamespace
                   UNION SELECT (aclexplode(nspacl)).grantee FROM pg_namespace WHERE nspname = 'public'
                   UNION SELECT unnest(polroles) FROM pg_policy) AS given
               JOIN pg_roles AS named ON named.oid = given.role
               WHERE named.rolname <> current_user AND named.rolname NOT LIKE 'pg\\_%%' ORDER BY 1"""
        )
        return [name for (name,) in cursor.fetchall()]
