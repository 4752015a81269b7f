"""Everything in the foreground: servers, web, worker, timetable; started in order, restarted when they die, stopped."""

import secrets
import signal
import sys
import time
from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from config.dev.home import ROOT, LaunchError, announce_stopping, lock_home, photos_folder
from config.dev.process import Child, stop_all
from config.dev.program_identity import find_program_identity
from config.dev.services import Running, start_servers, stop_servers
from config.dev.setup_stamp import is_set_up, write_stamp
from config.dev.signals import StopFlag, Stopped
from config.dev.web import USUAL_PORT, Address, is_found, take_address

_READY_LIMIT_S = 120
_EARLY_DEATHS = 4
"""After so many deaths of one process before everything was ready, the start has failed."""

_PREPARE = """
import os
import django
from django.core.management import call_command
os.environ["DJANGO_SETTINGS_MODULE"] = "config.settings"
django.setup()
from teams.row_security import work_as_owner
work_as_owner()
call_command("migrate", interactive=False, verbosity=0)
call_command("load_lexicon")
"""  # as manage.py does one after the other, but in one process: that saves a second


def print_line(line: str) -> None:
    """Print a line; ignore a closed terminal."""
    try:
        print(line, flush=True)
    except OSError:
        return


@dataclass(frozen=True, kw_only=True)
class Options:
    """What the environment asks for."""

    port: int | None
    demo: bool
    environ: Mapping[str, str]

    @classmethod
    def of(cls, environ: Mapping[str, str]) -> "Options":
        """Read ``PORT`` and ``DEMO``; raise LaunchError if ``PORT`` is not a port number."""
        text = environ.get("PORT", "")
        if text and not (text.isascii() and text.isdigit() and 0 < int(text) < 65536):
            raise LaunchError(f"PORT must be a number from 1 to 65535, not {text!r}.")
        return cls(port=int(text) if text else None, demo=environ.get("DEMO") != "0", environ=environ)


@dataclass
class _Supervised:
    """A child process that is restarted whenever it ends."""

    child: Child
    deaths: int = 0
    started_at: float = field(default_factory=time.monotonic)
    restart_at: float | None = None


class Supervisor:
    """Starts all of Leafspan on a data folder, and keeps it running until a stop signal."""

    _at_the_end = "Ctrl-C stops everything; the data stay."

    def __init__(self, home: Path, options: Options) -> None:
        self._home = home
        self._options = options
        self._flag = StopFlag()
        self._servers: list[Child] = []
        self._programs: list[Child] = []
        self._supervised: list[_Supervised] = []
        self._was_ready = False
        self._start_code = secrets.token_urlsafe(16)
        """Opens the page that makes the first team."""
        self._address: Address | None = None  # the socket must outlive every web server

    def run(self) -> int:
        """Start, watch, stop. Return 0 after Ctrl-C or SIGTERM, 1 when the start failed; nothing is left running."""
        code = 0
        try:
            with lock_home(self._home):
                try:
                    self._address = take_address(self._options.port)
                    self._start(self._address)
                    while True:
                        self._pause(0.25)
                except LaunchError as error:
                    print_line(str(error))
                    code = 1
                except Stopped:
                    print_line("Stopping …")
                finally:
                    self._stop()
        except LaunchError as error:
            print_line(str(error))
            return 1
        return code

    def _start(self, address: Address) -> None:
        if self._options.port is None and address.port != USUAL_PORT:
            print_line(f"Port {USUAL_PORT} is taken, so this is {address.url}")
        servers, addresses = start_servers(self._home, environ=self._options.environ, durable=True, pause=self._pause)
        for server in servers:
            self._supervise_server(server)
        env = addresses.environment() | {"PORT": str(address.port)}
        self._prepare(env, database_url=addresses.database_url)
        self._start_programs(address, addresses)
        if self._options.demo:
            print_line(f"Ready on {address.url}; putting the demo data in (DEMO=0 leaves them out) …")
            demo = Child(
                name="demo", command=[sys.executable, str(ROOT / "manage.py"), "demo", "--url", address.url], env=env
            )
            if (code := demo.finish(self._pause)) != 0:
                print_line(f"The demo ended with status {code}; everything else runs.")
        self._print_url(address)

    def _start_programs(self, address: Address, servers: Running) -> None:
        web, worker, beat = self._long_running(address, servers, home=self._home, more_env={})
        self._start_supervised(web, worker)
        self._wait_until_ready(address)
        self._start_supervised(beat)  # nobody waits for the timetable

    def _supervise_server(self, server: Child) -> None:
        """Restart a server that runs whenever it ends, and stop it after all programs."""
        self._servers.append(server)
        self._supervised.append(_Supervised(server))

    def _start_supervised(self, *children: Child) -> None:
        """Start children and restart them whenever they end."""
        for child in children:
            self._programs.append(child)
            child.start()
            self._supervised.append(_Supervised(child))

    def _long_running(
        self, address: Address, servers: Running, *, home: Path, more_env: Mapping[str, str]
    ) -> tuple[Child, Child, Child]:
        """Return web server, worker and timetable on a data folder; ``more_env`` is added to their environment."""
        python, logs = sys.executable, home / "logs"
        # Two processes on few cores: a threaded linear algebra in each would only make them wait for each other.
        common = {"OMP_NUM_THREADS": "1", "OPENBLAS_NUM_THREADS": "1", **more_env}
        common["LEAFSPAN_HOME"] = str(home)
        below = [home / name for name in ("metrics", "beat")]
        folders = [photos_folder(home, self._options.environ), *below]
        identity = find_program_identity(home, folders)
        if identity.startswith("nobody"):
            common["HOME"] = str(home)  # libpq and others look into root's otherwise
        web_env = {**servers.web_environment(), **common, "PORT": str(address.port)}
        web_env["LEAFSPAN_START_CODE"] = self._start_code
        web_env.setdefault("LEAFSPAN_URL", address.url)  # or links in mail would go where the Host header says
        worker_env = {**servers.worker_environment(), **common, "PORT": str(address.port)}
        descriptor = address.bound.fileno()
        gunicorn = [python, "-m", "gunicorn", "--config", "python:config.gunicorn_options"]
        celery = [python, "-m", "celery", "-A"]
        schedule = home / "beat" / "schedule"
        web = Child(
            name="web",
            command=[*gunicorn, "--bind", f"fd://{descriptor}", "--graceful-timeout", "3", "config.asgi"],
            env=web_env,
            log=logs / "web.log",
            pass_fds=(descriptor,),
            identity=identity,
        )
        worker = Child(
            name="worker",
            command=[*celery, "config", "worker", "--concurrency", "2", "--without-gossip", "--without-mingle"],
            env=worker_env,
            log=logs / "worker.log",
            identity=identity,
        )
        beat = Child(
            name="beat",
            # No pid file: one that was left behind would keep it from starting, and the data folder is locked anyway.
            command=[*celery, "config.timetable", "beat", "--schedule", str(schedule), "--pidfile="],
            env=worker_env,
            log=logs / "beat.log",
            identity=identity,
            stop_with=((signal.SIGTERM, 2.0),),
        )
        return web, worker, beat

    def _prepare(self, env: Mapping[str, str], *, database_url: str) -> None:
        is_embedded = "DATABASE_URL" not in self._options.environ
        if is_embedded and is_set_up(self._home, database_url):
            return
        command = [sys.executable, "-c", _PREPARE]
        step = Child(name="setup", command=command, env=env, log=self._home / "logs/setup.log")
        if (code := step.finish(self._pause)) != 0:
            raise LaunchError(f"The database could not be brought up to date (status {code}).\n{step.tail()}")
        if is_embedded:
            write_stamp(self._home, database_url)

    def _wait_until_ready(self, address: Address) -> None:
        deadline = time.monotonic() + _READY_LIMIT_S
        while not is_found(address, "/health/ready"):
            if time.monotonic() > deadline:
                tails = "\n".join(f"{child.name}:\n{child.tail()}" for child in self._programs)
                raise LaunchError(f"{address.url}/health/ready did not answer 200 within {_READY_LIMIT_S} s.\n{tails}")
            self._pause(0.1)
        self._was_ready = True

    def _pause(self, seconds: float) -> None:
        """Wait, and restart children that ended meanwhile."""
        self._flag.pause(seconds)
        for supervised in self._supervised:
            self._restart_if_dead(supervised)

    def _restart_if_dead(self, supervised: _Supervised) -> None:
        """Restart a child that ended: at once at first, then after growing delays, up to half a minute."""
        now = time.monotonic()
        child = supervised.child
        if supervised.restart_at is None and (code := child.exit_code) is not None:
            supervised.deaths = supervised.deaths + 1 if now - supervised.started_at < 60 else 1
            print_line(f"{child.name} ended with status {code}; starting it again (see {child.log})")
            child.signal_group(signal.SIGKILL)  # what it left behind
            if not self._was_ready and supervised.deaths >= _EARLY_DEATHS:
                raise LaunchError(f"{child.name} keeps ending.\n{child.tail()}")
            supervised.restart_at = now + min(30.0, 0.5 * (2 ** min(supervised.deaths - 1, 10) - 1))
        if supervised.restart_at is not None and now >= supervised.restart_at:
            child.start()
            supervised.started_at, supervised.restart_at = now, None
        child.trim_log()

    def _stop(self) -> None:
        self._supervised = []
        announce_stopping(self._home)
        stop_all(list(reversed(self._programs)), self._flag.wants_fast_stop)
        stop_servers(self._home, self._servers, self._flag.wants_fast_stop)

    def _print_url(self, address: Address) -> None:
        lines = [
            f"Leafspan runs on {address.url}",
            f"  API           {address.url}/api/v1/",
            f"  how to use it {address.url}/api/v1/docs (schema: /api/v1/schema)",
            f"  tasting table {address.url}/table/",
            f"  lots, reports {address.url}/lots/ and /lots/<id>/report/",
            f"  data and logs {self._home}",
        ]
        start = f"/start/{self._start_code}/"
        if is_found(address, start):
            lines.append(f"  a first team  {address.url}{start} (works until there is one)")
            home = f"LEAFSPAN_HOME={self._home} " if self._home != ROOT / ".leafspan" else ""
            new_team = ".venv/bin/python manage.py new_team --name N --shop S --username U"
            lines.append(f"  or by script  {home}LEAFSPAN_PASSWORD=… {new_team}")
        print_line("\n".join([*lines, self._at_the_end]))
