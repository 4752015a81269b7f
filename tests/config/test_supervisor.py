"""Everything in the foreground, as ``make run`` starts it: the real servers, web, worker and timetable."""

import http.client
import os
import signal
import socket
import subprocess
import sys
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path

import psycopg
import pytest

from config.dev import services
from config.dev.home import ROOT
from config.dev.leftovers import command_line, find_leftovers
from config.dev.process import free_port
from tests.config.launching import clean_environment, eventually, everything_of, launch


def answer(port, path="/health/ready"):
    link = http.client.HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        link.request("GET", path)
        return link.getresponse().status
    except (OSError, http.client.HTTPException):
        return None
    finally:
        link.close()


@contextmanager
def starting(folder):
    """Give a way to start the whole on a data folder and wait until it is ready; whatever runs at the end is ended."""
    started = []

    def start(home):
        port = free_port()
        log = folder / f"{len(started)}.log"
        run = launch("-m", "config.dev", "run", home=home, log=log, PORT=str(port), DEMO="0")
        started.append((home, run))
        assert eventually(lambda: run.poll() is not None or answer(port) == 200)
        assert run.poll() is None, log.read_text()
        return Running(home=home, run=run, port=port, log=log)

    yield start
    for _, run in started:
        run.terminate()
        assert run.wait(timeout=300) in (0, -signal.SIGKILL)
    assert [line for home, _ in started for line in everything_of(home)] == []


@dataclass(frozen=True)
class Running:
    """The whole, started on a data folder."""

    home: Path
    run: subprocess.Popen[str]
    port: int
    log: Path


@pytest.fixture
def leafspan(tmp_path):
    with starting(tmp_path) as start:
        yield start


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """One start for several tests, since it takes seconds; SIGTERM ends it, and all of it."""
    folder = tmp_path_factory.mktemp("running")
    with starting(folder) as start:
        yield start(folder / "home")


def main_process(home, words):
    """Process id of the program whose command line holds the words, not of its own children, once it is there."""
    found = []
    assert eventually(
        lambda: found.extend(p for p in find_leftovers(home) if words in command_line(p) and leads_group(p)) or found
    )
    return min(found)


def leads_group(pid):
    try:
        return os.getpgid(pid) == pid
    except ProcessLookupError:
        return False


def test_programs_hold_no_rights_of_root_and_sign_in_with_their_own_logins(running):
    for words, login in (("gunicorn", "leafspan_web"), ("celery", "leafspan_worker")):
        pid = main_process(running.home, words)
        environment = Path(f"/proc/{pid}/environ").read_bytes().split(b"\0")
        assert any(entry.startswith(f"DATABASE_URL=postgresql://{login}:".encode()) for entry in environment)
        links_lead_here = f"LEAFSPAN_URL=http://127.0.0.1:{running.port}".encode() in environment
        assert links_lead_here == (words == "gunicorn")  # whatever host a request for a mailed link names
        status = dict(line.split(":\t", 1) for line in Path(f"/proc/{pid}/status").read_text().splitlines())
        assert {int(status[name], 16) for name in ("CapPrm", "CapEff", "CapAmb")} <= {0, 1 << 1}  # of files, if any
        beside_root = Path(f"/proc/{pid}/uid_map").read_text().split() != ["0", "0", "4294967295"]
        assert beside_root or int(status["Uid"].split()[0]) != 0


def test_second_supervisor_on_the_folder_is_refused(running):
    command = [sys.executable, "-m", "config.dev", "run"]
    restarts = running.log.read_text().count("starting it again")
    second = subprocess.run(
        command, cwd=ROOT, env=clean_environment(running.home), capture_output=True, text=True, check=False, timeout=300
    )
    assert second.returncode == 1
    assert f"already runs on {running.home} (process {running.run.pid})" in second.stdout
    assert eventually(lambda: answer(running.port) == 200)  # a worker without processor time may answer late
    assert running.run.poll() is None
    assert running.log.read_text().count("starting it again") == restarts  # no program of the first was ended


def test_killed_programs_come_back(running):
    home, log = running.home, running.log
    victims = {
        words: main_process(home, words)
        for words in ("-A config worker", "-A config.timetable beat", "gunicorn", "valkey-server")
    }

    for pid in victims.values():
        os.kill(pid, signal.SIGKILL)

    assert eventually(lambda: log.read_text().count("starting it again") >= len(victims))
    assert eventually(lambda: all(any(words in command_line(pid) for pid in find_leftovers(home)) for words in victims))
    assert eventually(lambda: answer(running.port) == 200)


def test_killed_supervisor_leaves_nothing_behind_and_loses_no_row(leafspan, tmp_path):
    home = tmp_path / "home"
    run = leafspan(home).run
    with psycopg.connect(services.running(home).database_url) as link:
        link.execute("CREATE TABLE kept (n int)")
        link.execute("INSERT INTO kept VALUES (1)")

    run.kill()
    run.wait(timeout=60)

    leafspan(home)  # finds what is still ending, and stops it
    with psycopg.connect(services.running(home).database_url) as link:
        assert link.execute("SELECT n FROM kept").fetchall() == [(1,)]


def test_taken_port_ends_the_start_before_anything_runs(tmp_path):
    home = tmp_path / "home"
    address = socket.create_server(("127.0.0.1", 0))
    with address:
        port = address.getsockname()[1]
        run = launch("-m", "config.dev", "run", home=home, PORT=str(port))
        output, _ = run.communicate(timeout=300)
    assert run.returncode == 1
    assert f"Port {port} of 127.0.0.1 cannot be used" in output
    assert everything_of(home) == []


@pytest.mark.parametrize("number", [signal.SIGTERM, signal.SIGINT], ids=["SIGTERM", "Ctrl-C"])
def test_stop_during_the_start_leaves_nothing(tmp_path, number):
    home = tmp_path / "home"
    run = launch("-m", "config.dev", "run", home=home, PORT=str(free_port()), DEMO="0")
    assert eventually((home / "logs/setup.log").exists)
    for _ in range(2):  # an impatient second time, too
        os.kill(run.pid, number)
    output, _ = run.communicate(timeout=300)
    assert (run.returncode, "Stopping" in output) == (0, True)
    assert everything_of(home) == []
