"""A replica, kept by real streaming replication from the tests' own server, answers only what it has in full."""

import json
import os
import re
import signal
import subprocess
import time
from types import SimpleNamespace

import psycopg
import pytest
from django.db import InternalError, connection
from django.utils import timezone

from config.dev.home import load_secrets
from config.dev.identity import chown_tree, find_identity
from config.dev.postgres import bin_folder
from config.dev.process import child_command, free_port, stop_all
from config.dev.replica import start_replica
from lots.models import Lot
from teams import replica as replica_reads
from teams.models import MovedTeam
from teams.replica import READS, counter_of, read_from_replica
from teams.row_security import acting_for
from tests.api.phone import change, sync
from tests.config.launching import eventually
from tests.config.test_containers import SERVICES
from tests.factories import LotFactory
from tests.flights import flight_of, reveal, taste
from tests.row_security import as_application

pytestmark = pytest.mark.django_db(transaction=True)


@pytest.fixture(scope="module")
def server(django_db_setup, django_db_modify_db_settings, tmp_path_factory):
    """A replica of the server of this run: how to sign in as superuser to both, and its process."""
    found = django_db_modify_db_settings
    if found is None:
        pytest.skip("DATABASE_URL names a server whose superuser is not known")
    secrets = load_secrets(found.home)
    child, url = start_replica(
        tmp_path_factory.mktemp("replica"), primary_url=found.database_url, secrets=secrets, durable=False,
        pause=time.sleep,
    )  # fmt: skip
    address = psycopg.conninfo.conninfo_to_dict(url)

    def ask(sql, *values, port=address["port"]):
        named = {**address, "port": port, "user": "postgres", "password": secrets["superuser_password"]}
        with psycopg.connect(**named, autocommit=True) as session:
            return session.execute(sql, values).fetchone()[0]

    primary = found.database_url.rpartition(":")[2].split("/")[0]
    yield SimpleNamespace(child=child, url=url, ask=ask, primary=primary, secrets=secrets)
    stop_all([child])


@pytest.fixture
def replica(server, settings, monkeypatch):
    """The replica, which the settings name; it is asked again at once after a failure."""
    monkeypatch.setattr(replica_reads, "LEFT_ALONE_S", 0.0)
    settings.DATABASE_REPLICA_URL = f"{server.url.rpartition('/')[0]}/{connection.settings_dict['NAME']}"

    def catch_up():
        server.ask("SELECT pg_logical_emit_message(false, '', '', flush => true)::text", port=server.primary)
        written = server.ask("SELECT pg_current_wal_flush_lsn()::text", port=server.primary)
        assert eventually(lambda: server.ask("SELECT pg_last_wal_replay_lsn() >= %s::pg_lsn", written), seconds=60)

    yield SimpleNamespace(**vars(server), catch_up=catch_up, address=settings.DATABASE_REPLICA_URL)
    if server.child.exit_code is None:
        server.ask("SELECT pg_wal_replay_resume()::text")


def test_replica_of_the_containers_copies_the_server(server, tmp_path):
    shell, option, script, name = SERVICES["replica"]["command"]
    programs, port = bin_folder(os.environ), free_port()
    placement = find_identity(tmp_path, programs / "postgres")
    (hba,) = re.findall(r"printf .*?pg_hba\.conf", SERVICES["postgres"]["command"][-1], re.DOTALL)
    subprocess.run([shell, option, hba.replace("/tmp", str(tmp_path))], check=True)  # noqa: S108 - the container's
    given = {"listen_addresses": "127.0.0.1", "port": port, "unix_socket_directories": "", "fsync": "off"}
    given["hba_file"] = tmp_path / "pg_hba.conf"  # that of the primary is as good
    (tmp_path / "data").mkdir()
    chown_tree(tmp_path, placement.owner)
    running = subprocess.Popen(
        [*child_command(placement.identity, signal.SIGKILL), "/bin/sh", option,
         script.replace("$$", "$").replace("/tmp/", f"{tmp_path}/data/"), name,  # noqa: S108
         *(f"--{key}={value}" for key, value in given.items())],
        env={"PATH": f"{programs}:{os.environ['PATH']}", "PGDATA": str(tmp_path / "data/replica"),
             "PRIMARY": "127.0.0.1", "PGPORT": server.primary, "PGPASSWORD": server.secrets["replication_password"]},
        stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL,
    )  # fmt: skip

    def is_copy():
        assert running.poll() is None
        try:
            return server.ask("SELECT pg_is_in_recovery()", port=port)
        except psycopg.OperationalError:
            return False

    try:
        assert eventually(is_copy, seconds=60)
    finally:
        running.send_signal(signal.SIGINT)
        running.wait(timeout=60)


def answered():
    """Return how many reads each server has answered."""
    return {
        sample.labels["answered_by"]: sample.value
        for sample in next(iter(READS.collect())).samples
        if sample.name.endswith("_total")
    }


@pytest.fixture
def reads(owner, replica, settings):
    """Read all that a replica may answer; return the answers and which servers gave them."""
    lot = LotFactory(team=owner.team, by=owner.user)

    def read():
        before, now = answered(), sync(owner.client)
        address = f"/api/v1/lots/{lot.id}/"
        answers = {
            "pull": (now["changes"], now["cursor"]),
            "stream": [json.loads(line)["changes"] for line in b"".join(stream(owner)).splitlines()],
        }
        for path in ("/api/v1/lots/", address, f"{address}history", "/lots/", f"/lots/{lot.id}/report.csv"):
            answer = owner.client.get(path)
            assert answer.status_code == 200, (path, answer.content)
            answers[path] = answer.content
        by = {name: n - before.get(name, 0) for name, n in answered().items() if n > before.get(name, 0)}
        return answers, by

    return SimpleNamespace(read=read, lot=lot)


def stream(who):
    answer = who.client.post("/api/v1/sync/stream", {"schema": 1, "cursor": 0, "device": str(who.device.id)})
    assert answer.status_code == 200, answer.content
    return answer.streaming_content


N_READS = 7


def rename(who, lot, name):
    at = timezone.now().isoformat()
    assert sync(who.client, [change("lot", lot.id, at=at, name=name)])["verdicts"][0]["verdict"] == "applied"


def test_replica_answers_as_the_primary_and_never_from_the_past(reads, replica, owner, stranger, settings):
    replica.catch_up()
    from_replica, by = reads.read()
    assert by == {"replica": N_READS}
    settings.DATABASE_REPLICA_URL = ""
    assert reads.read() == (from_replica, {})
    settings.DATABASE_REPLICA_URL = replica.address

    replica.ask("SELECT pg_wal_replay_pause()::text")
    rename(owner, reads.lot, "Later Name")
    answers, by = reads.read()
    assert by == {"primary": N_READS}
    assert all("Later Name" in str(answers[where]) for where in ("pull", "stream", "/api/v1/lots/", "/lots/"))
    new = LotFactory(team=owner.team, by=owner.user)
    assert owner.client.get(f"/lots/{new.id}/report.csv").status_code == 200
    before = answered()
    sync(stranger.client)  # nothing of this team has changed
    assert answered() == before | {"replica": before["replica"] + 1}

    replica.ask("SELECT pg_wal_replay_resume()::text")
    replica.catch_up()
    answers, by = reads.read()
    assert (by, str(new.id) in str(answers["pull"])) == ({"replica": N_READS}, True)


def test_nobody_notices_that_the_replica_is_gone(reads, replica):
    replica.catch_up()
    answers, _ = reads.read()
    replica.child.popen.send_signal(signal.SIGKILL)
    replica.child.popen.wait(timeout=60)
    assert reads.read() == (answers, {"primary": N_READS})
    replica.child.start()
    assert eventually(lambda: reads.read() == (answers, {"replica": N_READS}), seconds=60)


def test_replica_that_failed_is_left_alone_for_a_while(reads, replica, monkeypatch):
    replica.catch_up()
    monkeypatch.setattr(replica_reads, "LEFT_ALONE_S", 600.0)
    failing = replica_reads._replica_at(replica.address)
    failing.leave_alone(OSError("away"))
    try:
        assert reads.read()[1] == {"primary": N_READS}
    finally:
        failing._ask_again_at = 0.0
    assert reads.read()[1] == {"replica": N_READS}


def test_replica_that_lacks_the_return_of_a_team_is_asked_again_at_once(reads, replica, owner, settings, monkeypatch):
    settings.CELLS = {"b": "http://127.0.0.1:1"}
    monkeypatch.setattr(replica_reads, "LEFT_ALONE_S", 600.0)
    MovedTeam.objects.create(team=owner.team.id, cell="b")
    replica.catch_up()
    replica.ask("SELECT pg_wal_replay_pause()::text")
    MovedTeam.objects.all().delete()
    assert reads.read()[1] == {"primary": N_READS}
    replica.ask("SELECT pg_wal_replay_resume()::text")
    replica.catch_up()
    assert reads.read()[1] == {"replica": N_READS}


def test_blind_sessions_and_other_teams_stay_hidden_on_the_replica(replica, owner, stranger, lexicon, settings):
    flight = flight_of(owner.team)
    LotFactory(team=stranger.team, by=stranger.user)
    taster, _ = flight.tasters
    cup = flight.cups_of(taster)[0]
    ids = taste(taster, cup, liking=6)

    def lot_of_session(who):
        replica.catch_up()
        before = answered()
        pulled = [one for one in sync(who.client)["changes"] if one["id"] == ids.session]
        assert answered()["replica"] == before.get("replica", 0) + 1
        return [one["fields"]["lot"] for one in pulled]

    assert (lot_of_session(owner), lot_of_session(taster), lot_of_session(stranger)) == ([], [None], [])
    reveal(flight, reason="time is up")
    [lot] = lot_of_session(owner)
    assert (lot_of_session(taster), lot_of_session(stranger)) == ([lot], [])

    replica.catch_up()
    before = answered()["replica"]
    for settings.CELLS in ({}, {"a": "http://127.0.0.1:1", "b": "http://127.0.0.1:2"}):
        with as_application(), acting_for(stranger.team.id):  # a read that forgets to name the team
            seen = read_from_replica(lambda: list(Lot.objects.values_list("team", flat=True)), state=lambda: None)
        assert seen == [stranger.team.id]
    assert answered()["replica"] == before + 2
    with as_application(), acting_for():
        assert read_from_replica(Lot.objects.count, state=lambda: None) == 0


def test_write_where_only_reading_is_allowed_is_an_error(replica, team, settings):
    replica.catch_up()
    primary = "postgresql://{USER}:{PASSWORD}@{HOST}:{PORT}/{NAME}".format(**connection.settings_dict)
    for settings.DATABASE_REPLICA_URL in (replica.address, primary):  # even if the address is wrong
        with acting_for(team.id), pytest.raises(InternalError, match="read-only transaction"):
            read_from_replica(lambda: type(team).objects.update(name="other"), state=counter_of(team.id))
    replica_reads._replica_at(primary)._connections.close_all()
