"""A backup taken while phones sync comes back on another database and in another folder just as the snapshot was."""

import hashlib
import json
import os
import subprocess
import sys
import time
import zipfile
from datetime import timedelta
from io import BytesIO, StringIO
from threading import Event, Thread
from uuid import uuid4

import psycopg
import pytest
from django.conf import settings as django_settings
from django.core.management import CommandError, call_command
from django.db import connection
from django.utils import timezone
from psycopg import sql

from config.backup.checksums import copy_hashed
from config.backup.create import MANIFEST, SIGNATURE
from config.backup.photos import LIST
from config.backup.programs import BackupError, PostgresTools, find_tools, server_major
from config.backup.signature import sign
from lots.models import Lot
from tastings.actions.lexicon import load_lexicon
from tastings.models import PhotoContent
from tastings.models.photo_files import append, image_key
from tastings.queries.photos import name_on_disk
from teams.actions.counters import REVISION_JUMP
from teams.models import Role, Team
from tests.api.phone import change, sync
from tests.factories import TeamFactory, person
from tests.tastings.export_factory import a_flight, fill_team
from tests.tastings.photos.conftest import folder as _folder  # noqa: F401 - photos of a test lie in its own folder

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(autouse=True)
def _key_of_the_server(monkeypatch):
    monkeypatch.setenv("LEAFSPAN_SECRET_KEY", django_settings.SECRET_KEY)


def address(name=None):
    """Return the URL of the test's database, or of another on the same server."""
    user, password, host, port, own = (
        connection.settings_dict[key] for key in ("USER", "PASSWORD", "HOST", "PORT", "NAME")
    )
    return f"postgresql://{user}:{password}@{host}:{port}/{name or own}"


@pytest.fixture
def empty():
    """Another database on the server, without a table; gives its URL."""
    name = f"restored_{uuid4().hex[:12]}"
    with psycopg.connect(address("postgres"), autocommit=True) as server:
        server.execute(sql.SQL("CREATE DATABASE {}").format(sql.Identifier(name)))
        yield address(name)
        for left in range(20, -1, -1):
            try:
                server.execute(sql.SQL("DROP DATABASE {} WITH (FORCE)").format(sql.Identifier(name)))
                break
            except psycopg.errors.InsufficientPrivilege:  # the server's own cleaning of tables is at work in it
                if not left:
                    raise
                time.sleep(0.5)


def operator(*words, database, photos):
    """Run a command of manage.py as an operator does; return status and output."""
    env = {**os.environ, "DATABASE_URL": database, "REDIS_URL": "redis://127.0.0.1:1/0", "LEAFSPAN_PHOTOS": str(photos)}
    done = subprocess.run(
        [sys.executable, "manage.py", *map(str, words)],
        env=env, cwd=django_settings.BASE_DIR, capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    return done.returncode, done.stdout + done.stderr


def manage(*words, database, photos):
    """Run a command within this process, which is quicker; return status and output."""
    output, photos_before = StringIO(), django_settings.PHOTOS_DIR
    django_settings.PHOTOS_DIR = photos
    try:
        with on(database):
            call_command(*words, stdout=output)
    except CommandError as error:
        return 1, f"{output.getvalue()}{error}"
    finally:
        django_settings.PHOTOS_DIR = photos_before
    return 0, output.getvalue()


class on:  # noqa: N801 - reads as a word
    """Have the test's own connection go to another database for a while."""

    def __init__(self, database):
        self.name = database.rpartition("/")[2]

    def __enter__(self):
        connection.close()
        self.name_before = connection.settings_dict["NAME"]
        connection.settings_dict["NAME"] = self.name

    def __exit__(self, *_):
        connection.close()
        connection.settings_dict["NAME"] = self.name_before


def tables(database):
    """Return the rows of every table as texts, sorted: read otherwise than the program does."""
    with psycopg.connect(database) as session:
        names = session.execute("SELECT tablename FROM pg_tables WHERE schemaname = 'public' ORDER BY 1").fetchall()
        rows = {}
        for (name,) in names:
            query = sql.SQL("SELECT to_jsonb(one)::text FROM {} AS one").format(sql.Identifier(name))
            rows[name] = sorted(row for (row,) in session.execute(query))
        return rows


def files(folder):
    """Return the SHA-256 of every file below a folder."""
    return {
        str(path.relative_to(folder)): hashlib.sha256(path.read_bytes()).hexdigest()
        for path in folder.rglob("*") if path.is_file()
    }  # fmt: skip


@pytest.fixture
def installation(team):
    """Two teams with everything, words built in, an upload under way; gives who is in the first."""
    load_lexicon()
    people = fill_team(team)
    a_flight(team, by=people[0], taster=people[1], state="tasting")
    fill_team(TeamFactory(name="Second House"))
    append(uuid4(), offset=0, piece=b"half a photo")
    return people


def test_backup_under_load_comes_back_as_the_snapshot_was(installation, empty, tmp_path):
    owner, taster, *_ = installation
    stop, begun = Event(), Event()

    def keep_syncing():
        try:
            while not stop.is_set():
                sent = [change("lot", name=f"Written meanwhile {n}", kind="green") for n in range(20)]
                sync(taster.client, sent)
                begun.set()
                stop.wait(0.02)
        finally:
            connection.close()

    writers = [Thread(target=keep_syncing) for _ in range(2)]
    for writer in writers:
        writer.start()
    assert begun.wait(60)
    before = Team.objects.get(id=owner.team.id).revision
    path, photos = tmp_path / "all.backup", tmp_path / "photos"
    done = operator("backup", path, database=address(), photos=photos)
    after = Team.objects.get(id=owner.team.id).revision
    stop.set()
    for writer in writers:
        writer.join()
    assert done[0] == 0, done[1]
    assert path.stat().st_mode & 0o777 == 0o600

    other = tmp_path / "photos of the other"
    done = operator("restore", path, database=empty, photos=other)
    assert done[0] == 0, done[1]
    assert "tables, each as it was" in done[1]
    live, restored = tables(address()), tables(empty)

    # of the team that went on, the restored rows are exactly those up to one revision, and none is missing below it
    def lots(rows, up_to=None):
        found = [row for row in map(json.loads, rows["lots_lot"]) if row["team_id"] == str(owner.team.id)]
        return sorted((row for row in found if up_to is None or row["revision"] <= up_to), key=lambda row: row["id"])

    [counter] = [row["revision"] for row in map(json.loads, restored["teams_team"]) if row["id"] == str(owner.team.id)]
    counter -= REVISION_JUMP
    assert before < counter < after  # it was taken in the midst
    assert lots(restored) == lots(live, up_to=counter)
    assert max(row["revision"] for row in lots(restored)) == counter
    # what the audit log says of lots goes as far as the lots do
    later = {row["id"] for row in lots(live)} - {row["id"] for row in lots(restored)}
    entries = [row for row in live["teams_auditentry"] if json.loads(row)["about"].get("lot") not in later]
    assert restored["teams_auditentry"] == entries
    # all else did not change and is equal, row by row
    moved = {
        "lots_lot", "teams_auditentry", "teams_team", "teams_devicetoken", "tastings_development",
        "tastings_recordcount",
    }  # fmt: skip
    assert {name: rows for name, rows in restored.items() if name not in moved} == (
        {name: rows for name, rows in live.items() if name not in moved}
    )
    assert files(other) == files(photos)
    assert len(files(other)) > 4


def test_restored_is_equal_in_every_table_and_phones_go_on(installation, empty, tmp_path):
    live, path = tables(address()), tmp_path / "all.backup"
    assert manage("backup", path, database=address(), photos=tmp_path / "photos")[0] == 0
    assert manage("restore", path, database=empty, photos=tmp_path / "other")[0] == 0
    restored = tables(empty)

    def teams(rows, *, moved):
        return [{**row, "revision": row["revision"] + moved} for row in map(json.loads, rows["teams_team"])]

    by_id = {name: sorted(teams(rows, moved=moved), key=lambda row: row["id"]) for name, rows, moved in
             (("live", live, REVISION_JUMP), ("restored", restored, 0))}  # fmt: skip
    assert by_id["live"] == by_id["restored"]
    assert {**restored, "teams_team": 0} == {**live, "teams_team": 0}


def test_phone_ahead_of_the_backup_misses_nothing_written_after_the_restore(installation, empty, tmp_path):
    taster = installation[1]
    path = tmp_path / "all.backup"
    assert manage("backup", path, database=address(), photos=tmp_path / "photos")[0] == 0
    ahead = sync(taster.client, [change("lot", name=f"Lost {n}", kind="green") for n in range(30)])["cursor"]
    assert manage("restore", path, database=empty, photos=tmp_path / "other")[0] == 0

    with on(empty):
        assert not Lot.objects.filter(name__startswith="Lost").exists()
        written = str(uuid4())
        sync(taster.client, [change("lot", written, name="After the restore", kind="green")])
        assert [c["id"] for c in sync(taster.client, cursor=ahead)["changes"]] == [written]


def test_phones_are_told_to_start_again_if_asked(installation, empty, tmp_path):
    taster = installation[1]
    path = tmp_path / "all.backup"
    sync(taster.client)
    assert manage("backup", path, database=address(), photos=tmp_path / "photos")[0] == 0
    assert manage("restore", path, "--phones-start-again", database=empty, photos=tmp_path / "other")[0] == 0

    with on(empty):
        body = {"schema": 1, "device": str(uuid4())}
        assert taster.client.post("/api/v1/sync", {**body, "cursor": 5}).status_code == 410
        begun = taster.client.post("/api/v1/sync", {**body, "cursor": 0, "limit": 2}).json()
        assert taster.client.post("/api/v1/sync", {**body, "cursor": begun["cursor"]}).status_code == 200


@pytest.fixture(scope="module")
def backups(tmp_path_factory):
    return tmp_path_factory.mktemp("backups")


@pytest.fixture
def backup(backups, team):
    """A backup of a small installation, made once for the file; gives it."""
    path = backups / "all.backup"
    if not path.exists():
        owner = person(team, Role.OWNER)
        sync(owner.client, [change("lot", name="Kept", kind="green")])
        call_command("backup", path, stdout=StringIO())
    return path


def test_fresh_installation_may_be_restored_upon_and_one_in_use_may_not(backup, empty, tmp_path):
    assert manage("migrate", database=empty, photos=tmp_path / "p")[0] == 0
    assert manage("load_lexicon", database=empty, photos=tmp_path / "p")[0] == 0
    assert manage("restore", backup, database=empty, photos=tmp_path / "p")[0] == 0
    before = tables(empty)

    code, output = manage("restore", backup, database=empty, photos=tmp_path / "p")
    assert code == 1
    assert "the database is not empty" in output
    assert tables(empty) == before


def test_database_of_another_program_is_left_alone(backup, empty, tmp_path):
    with psycopg.connect(empty) as session:
        session.execute("CREATE TABLE invoices (id int)")
    code, output = manage("restore", backup, database=empty, photos=tmp_path / "p")

    assert code == 1
    assert "tables that are not Leafspan's: invoices" in output
    assert list(tables(empty)) == ["invoices"]


def test_photo_folder_in_use_is_left_alone(backup, empty, tmp_path):
    there = tmp_path / "p/uploads" / str(uuid4())
    there.parent.mkdir(parents=True)
    there.write_bytes(b"someone's")
    code, output = manage("restore", backup, database=empty, photos=tmp_path / "p")

    assert code == 1
    assert "is not empty" in output
    assert there.read_bytes() == b"someone's"
    assert tables(empty) == {}


def spoilt(backup, path, *, keep=lambda name: True, manifest=lambda content: None, turn=None, more=()):
    """Write the backup anew, without some files, with others, with another manifest, signed anew, or a byte turned."""
    with zipfile.ZipFile(backup) as source, zipfile.ZipFile(path, "w") as target:
        for name in source.namelist():
            data = source.read(name)
            if name == MANIFEST:
                content = json.loads(data)
                manifest(content)
                data = json.dumps(content).encode()
                signature = sign(data)
            if name == SIGNATURE:
                data = signature.encode()
            if name == turn:
                data = data[:-9] + bytes([data[-9] ^ 1]) + data[-8:]
            if keep(name):
                target.writestr(name, data)
        for name, data in more:
            target.writestr(name, data)
    return path


SPOILT = {
    "is no backup, or was cut short": {"keep": lambda name: name != "manifest.json"},
    "lacks what it does": {"keep": lambda name: name != "database.dump"},
    "database.dump is damaged": {"turn": "database.dump"},
    "holds what a backup does not": {"more": [("photos/../../evil", b"x")]},
    "of a format that this version does not read": {"manifest": lambda content: content.update(version=3)},
    "of a newer version, which has lots.9999_later": {
        "manifest": lambda content: content["migrations"].append(["lots", "9999_later"])
    },
    "lacks the roles nobody_knows": {"manifest": lambda content: content.update(roles=["nobody_knows"])},
    "the content of lots_lot is not what it was": {
        "manifest": lambda content: content["tables"]["lots_lot"].update(sha256="0" * 64)
    },
}


def assert_refused(path, problem, *, database, photos):
    """Check that nothing of a backup is restored, and that it is said why."""
    code, output = manage("restore", path, database=database, photos=photos)

    assert code == 1, problem
    assert problem in output
    assert tables(database) == {}, problem
    assert not photos.exists() or files(photos) == {}, problem


def test_backup_that_does_not_hold_is_refused_and_changes_nothing(backup, empty, tmp_path):
    for problem, spoil in SPOILT.items():
        path = spoilt(backup, tmp_path / "spoilt.backup", **spoil)
        assert_refused(path, problem, database=empty, photos=tmp_path / "p")


def tampered(backup, path, *, change=lambda name, data: data, without=()):
    """Write the backup anew as somebody without the server's key would."""
    with zipfile.ZipFile(backup) as source, zipfile.ZipFile(path, "w") as target:
        for name in source.namelist():
            if name not in without:
                target.writestr(name, change(name, source.read(name)))
    return path


def with_another_digest(name, data):
    """Change a figure of the manifest that would otherwise be believed."""
    if name != MANIFEST:
        return data
    content = json.loads(data)
    content["made_at"] = "2020-01-01T00:00:00Z"
    return json.dumps(content).encode()


def with_another_list(name, data):
    return data + b"\n" if name == LIST else data


def test_tampered_backup_is_refused_and_changes_nothing(backup, empty, tmp_path):
    for problem, changed in {
        "the signature of the backup does not fit": {"change": with_another_digest},
        "the backup is not signed": {"without": [SIGNATURE]},
        f"{LIST} is damaged": {"change": with_another_list},
    }.items():
        path = tampered(backup, tmp_path / "tampered.backup", **changed)
        assert_refused(path, problem, database=empty, photos=tmp_path / "p")


def test_backup_of_another_key_is_restored_only_on_request(backup, empty, tmp_path, settings):
    settings.SECRET_KEY = "of another server"
    code, output = manage("restore", backup, database=empty, photos=tmp_path / "p")
    assert code == 1
    assert "made with another LEAFSPAN_SECRET_KEY" in output
    assert tables(empty) == {}

    assert manage("restore", backup, "--unsigned", database=empty, photos=tmp_path / "p")[0] == 0
    assert tables(empty)["teams_team"]


def test_backup_without_a_key_is_not_begun(team, tmp_path, monkeypatch):
    monkeypatch.delenv("LEAFSPAN_SECRET_KEY")
    with pytest.raises(CommandError, match="signed with LEAFSPAN_SECRET_KEY"):
        call_command("backup", tmp_path / "new.backup", stdout=StringIO())
    assert list(tmp_path.iterdir()) == []


def test_backup_holds_no_browser_session(team, client, empty, tmp_path):
    owner = person(team, Role.OWNER)
    client.force_login(owner.user)
    key = client.session.session_key
    assert [json.loads(row)["session_key"] for row in tables(address())["django_session"]] == [key]
    path = tmp_path / "all.backup"
    call_command("backup", path, stdout=StringIO())
    with zipfile.ZipFile(path) as source:
        dump = tmp_path / "dump"
        dump.write_bytes(source.read("database.dump"))
    program = find_tools(server_major()).command(
        "pg_restore", "--data-only", "--table=django_session", "--file=-", str(dump)
    )
    assert key not in subprocess.run(program, capture_output=True, text=True, check=True).stdout

    assert manage("restore", path, database=empty, photos=tmp_path / "p")[0] == 0
    assert tables(empty)["django_session"] == []


def test_damaged_photo_is_refused(installation, empty, tmp_path):
    path = tmp_path / "all.backup"
    assert manage("backup", path, database=address(), photos=tmp_path / "photos")[0] == 0
    content = PhotoContent.objects.first()
    name = image_key(content.team_id, name_on_disk(content))
    bad = spoilt(path, tmp_path / "bad.backup", turn=f"photos/{name}")
    code, output = manage("restore", bad, database=empty, photos=tmp_path / "p")

    assert code == 1
    assert "is damaged: its SHA-256 is not the one noted" in output
    assert tables(empty) == {}
    assert files(tmp_path / "p") == {}


def test_photo_larger_than_listed_is_not_unpacked_to_its_end():
    whole, written = BytesIO(bytes(5_000_000)), BytesIO()
    size, _sha256 = copy_hashed(whole, written, most=10)
    assert 10 < size == len(written.getvalue()) < 5_000_000
    assert copy_hashed(BytesIO(b"leaf")) == (4, hashlib.sha256(b"leaf").hexdigest())


def test_picture_missing_from_the_folder_is_named(installation, tmp_path):
    content = PhotoContent.objects.first()
    (django_settings.PHOTOS_DIR / image_key(content.team_id, name_on_disk(content))).unlink()
    path = tmp_path / "all.backup"
    code, output = manage("backup", path, database=address(), photos=tmp_path / "photos")

    assert code == 0
    assert "1 pictures were taken away" in output
    with zipfile.ZipFile(path) as source:
        assert len(json.loads(source.read("manifest.json"))["missing_photos"]) == 1


def test_backup_never_writes_over_a_file_and_leaves_nothing_half_made(team, tmp_path, monkeypatch):
    path = tmp_path / "all.backup"
    path.write_bytes(b"older")
    with pytest.raises(CommandError, match="is there already"):
        call_command("backup", path)
    monkeypatch.setattr("config.backup.create.find_tools", lambda *_: PostgresTools(folder=tmp_path, major=99))
    with pytest.raises(CommandError):
        call_command("backup", tmp_path / "new.backup")
    assert [file.name for file in tmp_path.iterdir() if file.is_file()] == ["all.backup"]
    assert path.read_bytes() == b"older"


def test_programs_fit_the_server(tmp_path):
    folders = []
    for place, version in (("a", "18.1"), ("b", "15.4 (Debian 15.4-1)"), ("c", "16.0"), ("d", "16.2")):
        folder = tmp_path / place
        folder.mkdir()
        for name in ("pg_dump", "pg_restore", "psql"):
            (folder / name).write_text(f"#!/bin/sh\necho '{name} (PostgreSQL) {version}'\n")
            (folder / name).chmod(0o700)
        folders.append(folder)

    assert find_tools(15, folders=folders).folder == tmp_path / "b"
    assert find_tools(16, folders=folders).folder == tmp_path / "c"
    assert find_tools(15, 17, folders=folders) == PostgresTools(folder=tmp_path / "a", major=18)
    with pytest.raises(BackupError, match="PostgreSQL 19 or later"):
        find_tools(19, folders=folders)
    (tmp_path / "b/psql").unlink()
    assert find_tools(15, folders=folders).folder == tmp_path / "c"


def test_pruning_does_not_forget_that_phones_were_told_to_start_again(db, team):
    from tastings.actions.pruning import RETENTION, prune  # noqa: PLC0415 - of this test alone
    from tests.factories import LotFactory  # noqa: PLC0415

    now = timezone.now()
    gone = LotFactory(team=team, removed=True)
    Lot.objects.filter(id=gone.id).update(updated_at=now - RETENTION - timedelta(days=1))
    Team.objects.filter(id=team.id).update(pruned_before=now, pruned_revision=REVISION_JUMP)
    assert prune(team.id, now=now) == 1

    stored = Team.objects.get(id=team.id)
    assert (stored.pruned_before, stored.pruned_revision) == (now, REVISION_JUMP)
