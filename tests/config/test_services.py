"""The embedded servers: they answer, keep what was committed, and stay apart."""

import json
import os
import shutil
import signal
import stat
import time

import psycopg
import pytest
import redis

from config import embedded as embedded_servers
from config.dev import home as homes
from config.dev import identity, postgres, services
from tests.config.launching import SERVERS_ONLY, alive, eventually, launch


@pytest.fixture
def embedded(monkeypatch):
    """Start servers on a folder as often as a test likes; all are stopped at its end."""
    started = []

    def start(home):
        children, found = services.start_servers(home, environ={}, durable=True)
        started.append((home, children))
        return children, found

    yield start
    for home, children in started:
        services.stop_servers(home, children)


@pytest.fixture(scope="module")
def made_once(tmp_path_factory):
    """A data folder whose servers have run: making one takes longer than most of what a test does with it."""
    folder = tmp_path_factory.mktemp("made")
    children, _ = services.start_servers(folder, environ={}, durable=True)
    services.stop_servers(folder, children)
    return folder


@pytest.fixture
def home(made_once, tmp_path):
    """A data folder of the test's own, with passwords and logins."""
    return shutil.copytree(made_once, tmp_path / "home")


def rows(url):
    with psycopg.connect(url) as link:
        return [row[0] for row in link.execute("SELECT n FROM kept ORDER BY n")]


def keep(url, n):
    with psycopg.connect(url) as link:
        link.execute("CREATE TABLE IF NOT EXISTS kept (n int)")
        link.execute("INSERT INTO kept VALUES (%s)", (n,))


def test_logins_of_web_and_worker_own_nothing_and_may_only_act_as_their_roles(monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)
    monkeypatch.delenv("REDIS_URL", raising=False)
    with services.test_servers() as found:
        roles = {found.web_database_url: "leafspan_app", found.worker_database_url: "leafspan_app_worker"}
        for url, role in roles.items():
            with psycopg.connect(url, autocommit=True) as link:
                rights = link.execute(
                    "SELECT rolsuper, rolcreaterole, rolcreatedb, rolbypassrls, rolinherit FROM pg_roles"
                    " WHERE rolname = current_user"
                ).fetchone()
                assert rights == (False, False, False, False, False)
                link.execute(f"SET ROLE {role}")
                link.execute("RESET ROLE")
                for other in {"leafspan", "postgres", *roles.values()} - {role}:
                    if (role, other) != ("leafspan_app_worker", "leafspan_app"):  # the worker's role holds the other
                        with pytest.raises(psycopg.errors.InsufficientPrivilege):
                            link.execute(f"SET ROLE {other}")
                with pytest.raises(psycopg.errors.InsufficientPrivilege):
                    link.execute("CREATE TABLE mine (id int)")


def test_data_folder_of_an_earlier_version_gets_the_new_logins(home, embedded):
    children, found = embedded(home)
    keep(found.database_url, 1)
    secrets = json.loads((home / "secrets.json").read_text())
    with psycopg.connect(found.database_url.replace("leafspan:", "postgres:").replace(
        secrets["database_password"], secrets["superuser_password"]), autocommit=True) as link:  # fmt: skip
        for name in ("leafspan_web", "leafspan_worker", "leafspan_app_worker"):
            link.execute(f"DROP ROLE {name}")
    services.stop_servers(home, children)
    for name in ("web_password", "worker_password"):
        del secrets[name]
    (home / "secrets.json").write_text(json.dumps(secrets))

    _, again = embedded(home)
    assert rows(again.database_url) == [1]
    for url in (again.web_database_url, again.worker_database_url):
        with psycopg.connect(url) as link, pytest.raises(psycopg.errors.InsufficientPrivilege):
            link.execute("SELECT * FROM kept")


def test_test_servers_answer_and_leave_nothing(monkeypatch):
    monkeypatch.delenv("DATABASE_URL", raising=False)
    monkeypatch.delenv("REDIS_URL", raising=False)
    with services.test_servers() as found:
        with psycopg.connect(found.database_url) as link:
            role = link.execute("SELECT current_user, rolsuper FROM pg_roles WHERE rolname = current_user").fetchone()
            encoding = link.execute("SHOW server_encoding").fetchone()
        broker = redis.from_url(found.redis_url)
        assert (role, encoding, broker.ping()) == (("leafspan", False), ("UTF8",), True)
        broker.close()
        assert services.running(found.home) == found
    assert not found.home.exists()
    with pytest.raises(psycopg.OperationalError):
        psycopg.connect(found.database_url)


def test_servers_named_in_the_environment_replace_the_embedded(tmp_path):
    named = {"DATABASE_URL": "postgresql://a:b@db.invalid/c", "REDIS_URL": "redis://broker.invalid/0"}
    with homes.lock_home(tmp_path):
        children, found = services.start_servers(tmp_path, environ=named, durable=True)
        assert (children, found.database_url, found.redis_url) == ([], named["DATABASE_URL"], named["REDIS_URL"])
        assert services.running(tmp_path) == found
        services.stop_servers(tmp_path, children)


def test_strangers_are_not_let_in(embedded, home):
    _, found = embedded(home)
    wrong = found.database_url.replace("leafspan:", "leafspan:x", 1)
    with pytest.raises(psycopg.OperationalError, match="password authentication failed"):
        psycopg.connect(wrong)
    port = found.redis_url.rsplit(":", 1)[1]
    broker = redis.from_url(f"redis://127.0.0.1:{port}")
    with pytest.raises(redis.AuthenticationError):
        broker.ping()
    broker.close()


def test_secrets_are_ours_alone_and_stay(embedded, tmp_path):
    home = tmp_path / "home"
    with homes.lock_home(home):
        children, found = embedded(home)
        first = (home / "secrets.json").read_text()
        modes = {
            path.name: stat.S_IMODE(path.stat().st_mode)
            for path in (home, home / "secrets.json", home / "services.json", home / "postgres")
        }
        services.stop_servers(home, children)
        _, again = embedded(home)
    assert modes == {"home": 0o700, "secrets.json": 0o600, "services.json": 0o600, "postgres": 0o700}
    assert (home / "secrets.json").read_text() == first
    assert again.secret_key == found.secret_key


@pytest.mark.parametrize("victim", [0, 1], ids=["postgres", "broker"])
def test_killed_server_comes_back_with_its_data(embedded, home, victim):
    children, found = embedded(home)
    keep(found.database_url, 1)
    broker = redis.from_url(found.redis_url)
    broker.set("kept", "1")
    time.sleep(1.2)  # appendfsync everysec; a killed process loses nothing, but say what is promised
    os.kill(children[victim].popen.pid, signal.SIGKILL)
    children[victim].popen.wait(timeout=60)
    # As the supervisor does: start it again, and again while what the dead one left is still in the way.
    children[victim].start()

    def answers():
        if children[victim].exit_code is not None:
            children[victim].start()
        try:
            return (rows(found.database_url), broker.get("kept")) == ([1], b"1")
        except (psycopg.OperationalError, redis.RedisError):
            return False

    assert eventually(answers)
    broker.close()


def test_pid_file_of_a_number_now_used_by_another_program_is_no_obstacle(embedded, home):
    children, found = embedded(home)
    keep(found.database_url, 7)
    lines = (home / "postgres/postmaster.pid").read_text().splitlines()
    services.stop_servers(home, children)
    (home / "postgres/postmaster.pid").write_text("\n".join([str(os.getpid()), *lines[1:]]) + "\n")
    _, found = embedded(home)
    assert rows(found.database_url) == [7]


def test_postgres_that_outlived_its_launcher_is_stopped(embedded, home):
    children, found = embedded(home)
    keep(found.database_url, 3)
    left = children[0].popen.pid
    postgres.stop_orphaned_postgres(home / "postgres")
    assert children[0].popen.wait(timeout=300) == 0
    assert not alive(left)


def test_killed_launcher_takes_its_servers_along_and_the_data_stay(embedded, home):
    launcher = launch("-c", SERVERS_ONLY, str(home), home=home)
    pids = [int(pid) for pid in launcher.stdout.readline().split()]
    keep(services.running(home).database_url, 5)
    launcher.kill()
    launcher.communicate(timeout=60)
    assert services.running(home) is None
    assert eventually(lambda: not any(alive(pid) for pid in pids))
    _, found = embedded(home)
    assert rows(found.database_url) == [5]


def test_two_homes_run_at_once_and_apart(embedded, home, tmp_path):
    _, one = embedded(home)
    _, two = embedded(tmp_path / "two")
    keep(one.database_url, 1)
    keep(two.database_url, 2)
    assert (rows(one.database_url), rows(two.database_url)) == ([1], [2])


def test_second_launcher_on_one_home_is_refused(tmp_path):
    refusal = pytest.raises(homes.LaunchError, match=f"already runs on .*process {os.getpid()}")
    with homes.lock_home(tmp_path), refusal, homes.lock_home(tmp_path):
        pytest.fail("two launchers on one folder")
    with homes.lock_home(tmp_path):
        assert homes.is_locked(tmp_path)
    assert not homes.is_locked(tmp_path)


def test_running_does_not_believe_an_old_note(tmp_path):
    assert services.running(tmp_path) is None
    note = {
        "database_url": "postgresql://a@127.0.0.1:1/a",
        "redis_url": "redis://127.0.0.1:1",
        "web_database_url": "postgresql://web@127.0.0.1:1/x",
        "worker_database_url": "postgresql://worker@127.0.0.1:1/x",
        "secret_key": "k",
        "embedded_ports": [],
    }
    (tmp_path / "services.json").write_text(json.dumps(note))
    assert services.running(tmp_path) is None
    with homes.lock_home(tmp_path):
        assert services.running(tmp_path).secret_key == "k"
        (tmp_path / "services.json").write_text("{")
        assert services.running(tmp_path) is None


def test_command_beside_a_running_one_uses_its_servers_but_for_those_it_is_given(tmp_path):
    named = {"DATABASE_URL": "postgresql://a:b@db.invalid/c", "REDIS_URL": "redis://broker.invalid/0"}
    beside = {"LEAFSPAN_HOME": str(tmp_path), "REDIS_URL": "redis://another.invalid/0"}
    embedded_servers.use_running_servers(beside)
    assert beside.keys() == {"LEAFSPAN_HOME", "REDIS_URL"}  # none runs yet
    with homes.lock_home(tmp_path):
        _, found = services.start_servers(tmp_path, environ=named, durable=True)
        services.note_beside(tmp_path, {"LEAFSPAN_PHOTO_BUCKET": "s3://tea/photos"})
        embedded_servers.use_running_servers(beside)
    assert beside == {
        "LEAFSPAN_HOME": str(tmp_path),
        "REDIS_URL": "redis://another.invalid/0",
        "DATABASE_URL": named["DATABASE_URL"],
        "LEAFSPAN_SECRET_KEY": found.secret_key,
        "LEAFSPAN_PHOTO_BUCKET": "s3://tea/photos",
    }


@pytest.mark.skipif(os.geteuid() != 0, reason="only root has a choice of identities")
@pytest.mark.parametrize("kind", ["namespace", "capability"])
def test_root_can_run_it_below_a_folder_that_only_root_enters(embedded, tmp_path, monkeypatch, kind):
    """The data lie there, and PostgreSQL's own programs too, as in a clone below ``/root``."""
    tried = identity._works
    monkeypatch.setattr(
        identity, "_works", lambda place, program: place.identity.startswith(kind) and tried(place, program)
    )
    wheel = postgres.bin_folder({}).parents[1]
    for folder in wheel.parent.glob(f"{wheel.name}*"):  # and the libraries beside it
        shutil.copytree(folder, tmp_path / folder.name)
    monkeypatch.setenv("LEAFSPAN_POSTGRES_BIN", str(tmp_path / wheel.name / "pginstall/bin"))
    tmp_path.chmod(0o700)
    try:
        children, found = embedded(tmp_path / "home")
    except homes.LaunchError as error:
        if "neither as this user" in str(error):
            pytest.skip(f"this container allows no {kind}")
        raise
    keep(found.database_url, 1)
    assert (children[0].identity.split(":")[0], rows(found.database_url)) == (kind, [1])
    assert stat.S_IMODE(tmp_path.stat().st_mode) == 0o700


@pytest.mark.skipif(os.geteuid() != 0, reason="only root has a choice of identities")
def test_identity_may_change_between_runs(embedded, tmp_path, monkeypatch):
    tried = identity._works
    found = None
    for n, kind in enumerate(("namespace", "capability", "namespace")):
        monkeypatch.setattr(
            identity,
            "_works",
            lambda place, program, kind=kind: place.identity.startswith(kind) and tried(place, program),
        )
        try:
            children, found = embedded(tmp_path)
        except homes.LaunchError:
            pytest.skip(f"this container allows no {kind}")
        keep(found.database_url, n)
        assert rows(found.database_url) == list(range(n + 1))
        services.stop_servers(tmp_path, children)


def test_no_identity_is_a_clear_refusal(tmp_path, monkeypatch):
    monkeypatch.setattr(identity, "_works", lambda place, program: False)
    with pytest.raises(homes.LaunchError, match="give DATABASE_URL"):
        identity.find_identity(tmp_path, tmp_path / "postgres")
