"""Restores a backup onto an empty server: checked before it begins, and before the commit.

One session of psql does all of it in one transaction: the tables that a fresh installation has made go, those of the
backup come, the content of each is read back and compared with the manifest, and every team's counter is put past all
cursors that phones may hold. Only then is it committed; otherwise the database stays as it was.
"""

import json
import shutil
import subprocess
import tempfile
import zipfile
from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import ExitStack
from pathlib import Path
from secrets import token_hex
from threading import Thread
from typing import IO
from uuid import uuid4

from django.apps import apps
from django.conf import settings
from django.core.exceptions import ImproperlyConfigured
from django.core.management import call_command
from django.db import connection
from django.db.migrations.loader import MigrationLoader

from config.backup.checksums import FIXED, TableDigest, copy_hashed, digest_of, quote_name, tables_here
from config.backup.create import DUMP, FORMAT, MANIFEST, SIGNATURE, VERSION, Manifest
from config.backup.photos import LIST, is_photo, restore_photos
from config.backup.programs import BackupError, environment, find_tools, server_major
from config.backup.signature import check_signature
from tastings.actions.lexicon import load_lexicon
from tastings.models.photo_bucket import UPLOADS
from tastings.models.photo_files import STORED, PhotoStore, give_to_owner, store
from teams.actions.counters import REVISION_JUMP
from teams.database_role import create_roles
from teams.row_security import role

_PIECE = 1 << 20
_MANIFEST_BYTES = 64 * 1024 * 1024
_VERSION_WITHOUT_SIGNATURE = 1

LogLine = Callable[[str], object]


def restore_backup(path: Path, *, start_again: bool, unsigned: bool = False, log: LogLine) -> None:
    """Restore a backup onto an empty database and an empty photo folder; ``log`` gets a line for each step.

    With ``start_again`` phones must pull everything anew. Then they have exactly what the server has, and records
    written after the backup that only phones have are lost; otherwise phones keep these beside later records. With
    ``unsigned`` a backup is restored also if its signature is missing or does not fit.

    Raise BackupError, and change nothing, if the file is damaged or its signature does not fit, the database or the
    folder is not empty, or the content is not what it was.
    """
    with ExitStack() as stack:
        source, manifest = _open_backup(path, stack, unsigned=unsigned)
        log(f"backup of {manifest['made_at']}, unharmed")
        _check_target(manifest)
        photos = store()
        if any(True for part in (STORED, UPLOADS) for _ in photos.keys(part)):
            raise BackupError(f"the photo folder {settings.PHOTO_BUCKET or settings.PHOTOS_DIR} is not empty")
        unpacked = Path(settings.PHOTOS_DIR) / f"restoring-{uuid4().hex[:8]}"  # the disk that a folder store renames on
        unpacked.mkdir(mode=0o700, parents=True)
        stack.callback(_remove, unpacked)
        log(f"{restore_photos(source, unpacked)} files of photos")
        undo = stack.enter_context(ExitStack())
        undo.callback(_delete_all, photos)
        photos.move_in(unpacked)
        _restore_database(source, manifest, start_again=start_again, log=log)
        undo.pop_all()
    give_to_owner()
    call_command("migrate", interactive=False, verbosity=0)
    load_lexicon()
    log("restored")


def _open_backup(path: Path, stack: ExitStack, *, unsigned: bool) -> tuple[zipfile.ZipFile, Manifest]:
    try:
        source = stack.enter_context(zipfile.ZipFile(stack.enter_context(path.open("rb"))))
        if source.getinfo(MANIFEST).file_size > _MANIFEST_BYTES:
            raise BackupError("the manifest is too large to be one")
        text = source.read(MANIFEST)
        manifest: Manifest = json.loads(text)
    except OSError as error:
        raise BackupError(f"{path}: {error.strerror}") from error
    except (zipfile.BadZipFile, KeyError, ValueError) as error:
        raise BackupError(f"{path} is no backup, or was cut short") from error
    names = source.namelist()
    if not unsigned:
        check_signature(text, source.read(SIGNATURE).decode(errors="replace") if SIGNATURE in names else None)
    if manifest.get("format") != FORMAT or manifest.get("version") not in (VERSION, _VERSION_WITHOUT_SIGNATURE):
        raise BackupError(f"{path} is of a format that this version does not read")
    odd = [name for name in names if name not in (DUMP, MANIFEST, SIGNATURE, LIST) and not is_photo(name)]
    if odd or len(set(names)) != len(names) or not {DUMP, LIST} <= set(names):
        raise BackupError(f"{path} holds what a backup does not, or lacks what it does: {', '.join(odd[:3])}")
    n_bytes, sha256 = _size_and_digest(source, DUMP)
    if manifest["dump"] != {"bytes": n_bytes, "sha256": sha256}:
        raise BackupError(f"{DUMP} is damaged: its SHA-256 is not the one noted")
    if manifest["version"] != _VERSION_WITHOUT_SIGNATURE:  # which has no digest of the list
        _n_bytes, sha256 = _size_and_digest(source, LIST)
        if manifest["photo_list"] != sha256:
            raise BackupError(f"{LIST} is damaged: its SHA-256 is not the one noted")
    return source, manifest


def _size_and_digest(source: zipfile.ZipFile, name: str) -> tuple[int, str]:
    try:
        with source.open(name) as member:
            return copy_hashed(member)
    except (zipfile.BadZipFile, OSError) as error:
        raise BackupError(f"{name} is damaged: {error}") from error


def _check_target(manifest: Manifest) -> None:
    """Refuse a database that is in use or another program's, a newer backup, or a server without the roles named."""
    here = set(tables_here())
    ours = {model._meta.db_table for model in apps.get_models(include_auto_created=True)} | {"django_migrations"}
    if strange := sorted(here - ours - set(manifest["tables"])):
        raise BackupError(f"the database holds tables that are not Leafspan's: {', '.join(strange[:5])}")
    with connection.cursor() as cursor:
        for table in ("teams_team", "teams_user"):
            if table in here:
                cursor.execute(f"SELECT EXISTS (SELECT FROM public.{quote_name(table)})")  # noqa: S608 - one of two names
                if cursor.fetchone()[0]:
                    raise BackupError("the database is not empty: restore onto one without teams and people")
        if role() in manifest["roles"]:
            try:
                create_roles()
            except ImproperlyConfigured as error:
                raise BackupError(str(error)) from error
        cursor.execute("SELECT rolname FROM pg_roles")
        roles = {name for (name,) in cursor.fetchall()}
    if missing := sorted(set(manifest["roles"]) - roles):
        raise BackupError(f"the server lacks the roles {', '.join(missing)}: make them first")
    known = set(MigrationLoader(None).disk_migrations)
    newer = [f"{app}.{name}" for app, name in manifest["migrations"] if (app, name) not in known]
    if newer:
        raise BackupError(f"the backup is of a newer version, which has {newer[0]}")


def _restore_database(source: zipfile.ZipFile, manifest: Manifest, *, start_again: bool, log: LogLine) -> None:
    server = server_major()
    connection.close()
    tools = find_tools(server, int(manifest["dumped_by"]))
    tables = {name: TableDigest(**entry) for name, entry in manifest["tables"].items()}
    token = token_hex(16)
    env = environment(connection.settings_dict)
    with tempfile.TemporaryFile() as stderr:
        psql = subprocess.Popen(  # noqa: S603 - a program of PostgreSQL's
            tools.command("psql", "--no-psqlrc", "--quiet", "--set=ON_ERROR_STOP=1"),
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=stderr, env=env,
        )  # fmt: skip
        opener = subprocess.Popen(  # noqa: S603
            tools.command("pg_restore", "--file=-", "--no-owner"),
            stdin=subprocess.PIPE, stdout=subprocess.PIPE, stderr=stderr, env=env,
        )  # fmt: skip
        with psql, opener:
            try:
                feeding = [Thread(target=_feed_archive, args=(source, opener)),
                           Thread(target=_feed_script, args=(opener, psql, tables, token, server))]  # fmt: skip
                for thread in feeding:
                    thread.start()
                wrong = _mismatched_tables(psql, tables, token=token, log=log)
                for thread in feeding:
                    thread.join()
                if psql.poll() is None and opener.wait() == 0 and not wrong:
                    _write(psql.stdin, _closing_sql(tables, start_again=start_again))
            finally:
                for process in (opener, psql):
                    if process.stdin is not None and not process.stdin.closed:
                        _close(process.stdin)
        if wrong:
            _fail(f"the content of {', '.join(wrong)} is not what it was when the backup was made", stderr)
        if psql.returncode != 0 or opener.returncode != 0:
            _fail("the database could not be restored", stderr)
    log(f"{len(tables)} tables, each as it was")


def _feed_archive(source: zipfile.ZipFile, opener: "subprocess.Popen[bytes]") -> None:
    with source.open(DUMP) as member:
        while piece := member.read(_PIECE):
            if not _write(opener.stdin, piece):
                return
    _close(opener.stdin)


def _feed_script(
    opener: "subprocess.Popen[bytes]",
    psql: "subprocess.Popen[bytes]",
    tables: Mapping[str, TableDigest],
    token: str,
    server: int,
) -> None:
    """Send psql the opening SQL, the SQL that pg_restore makes of the archive, and queries for the restored content."""
    assert opener.stdout is not None  # noqa: S101 - asked for
    _write(psql.stdin, _opening_sql())
    head = opener.stdout.read(_PIECE)
    if server < 17:  # newer programs set what older servers do not know
        head = head.replace(b"SET transaction_timeout = 0;\n", b"", 1)
    while head:
        if not _write(psql.stdin, head):
            opener.stdout.close()  # psql has ended: pg_restore is to end too
            return
        head = opener.stdout.read(_PIECE)
    questions = [f"{statement};" for statement in FIXED]
    for table, content in tables.items():
        questions += [f"\\echo {token} {table}", f"{content.query(table)};"]
    questions.append(f"\\echo {token}")
    _write(psql.stdin, ("\n".join(questions) + "\n").encode())


def _opening_sql() -> bytes:
    """Return the SQL that begins, drops the tables of a fresh installation, and fails if they are in use."""
    ours = [model._meta.db_table for model in apps.get_models(include_auto_created=True)]
    every = ", ".join(f"public.{quote_name(name)}" for name in sorted({*ours, "django_migrations"}))
    return f"""
        BEGIN;
        DO $$
        DECLARE made text;
        BEGIN
            IF to_regclass('public.teams_team') IS NOT NULL THEN
                LOCK TABLE public.teams_team, public.teams_user IN ACCESS EXCLUSIVE MODE;
                IF EXISTS (SELECT FROM public.teams_team) OR EXISTS (SELECT FROM public.teams_user) THEN
                    RAISE EXCEPTION 'the database is in use meanwhile';
                END IF;
            END IF;
            DROP TABLE IF EXISTS {every} CASCADE;
            FOR made IN SELECT oid::regprocedure::text FROM pg_proc WHERE pronamespace = 'public'::regnamespace
                AND NOT EXISTS (SELECT FROM pg_depend WHERE objid = pg_proc.oid AND deptype = 'e') LOOP
                EXECUTE 'DROP ROUTINE ' || made || ' CASCADE';
            END LOOP;
        END $$;
    """.encode()  # noqa: S608 - names of our own tables


def _closing_sql(tables: Mapping[str, TableDigest], *, start_again: bool) -> bytes:
    """Return the SQL that puts the counters past every phone's cursor and commits."""
    changes = [f"revision = revision + {REVISION_JUMP}"]
    if start_again and "pruned_before" in tables["teams_team"].columns:
        changes += [f"pruned_revision = revision + {REVISION_JUMP}", "pruned_before = now()"]
    return f"UPDATE public.teams_team SET {', '.join(changes)};\nCOMMIT;\n".encode()  # noqa: S608 - our own words


def _mismatched_tables(
    psql: "subprocess.Popen[bytes]", tables: Mapping[str, TableDigest], *, token: str, log: LogLine
) -> list[str]:
    """Read every table's content from psql; return the tables that differ from the manifest or did not arrive."""
    assert psql.stdout is not None  # noqa: S101 - asked for
    mark = token.encode()
    wrong = dict.fromkeys(tables)
    table = ""

    def rows() -> Iterator[bytes]:
        nonlocal table
        assert psql.stdout is not None  # noqa: S101
        for line in psql.stdout:
            if line.startswith(mark):
                table = line.split()[1].decode() if len(line.split()) > 1 else ""
                return
            yield line
        table = "\x00"  # psql ended early

    for _ in rows():  # messages of the restore itself
        pass
    while table in tables:
        name = table
        digest = digest_of(tables[name], rows())
        if table != "\x00" and digest == tables[name]:
            del wrong[name]
        log(f"{name}: {digest.rows} rows")
    return sorted(wrong) if table != "\x00" else []


def _write(pipe: IO[bytes] | None, data: bytes) -> bool:
    try:
        if pipe is not None:
            pipe.write(data)
            pipe.flush()
    except (BrokenPipeError, ValueError):
        return False  # the program has ended; see its exit status
    return True


def _close(pipe: IO[bytes] | None) -> None:
    try:
        if pipe is not None:
            pipe.close()
    except BrokenPipeError:
        return


def _fail(reason: str, stderr: IO[bytes]) -> None:
    stderr.seek(0)
    lines: Sequence[str] = stderr.read().decode(errors="replace").strip().splitlines()
    raise BackupError("\n".join([f"nothing was restored: {reason}", *lines[-12:]]))


def _delete_all(photos: PhotoStore) -> None:
    for part in (STORED, UPLOADS):
        for key in list(photos.keys(part)):
            photos.delete(key)


def _remove(folder: Path) -> None:
    if folder.exists():
        shutil.rmtree(folder)
