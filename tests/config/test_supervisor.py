"""Everything in the foreground, as ``make run`` starts it: the real servers, web, worker and timetable."""

import http.client
import os
import signal
import socket
import subprocess
import sys
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


class Running:
    """The whole on one data folder, started as often as a test needs; waits each time until it is ready."""

    def __init__(self, folder):
        self.home, self._folder, self._started = folder / "home", folder, []
        self.start()

    def start(self):
        """Start it on a free port."""
        self.port = free_port()
        self.log = self._folder / f"{len(self._started)}.log"
        self.run = launch("-m", "config.dev", "run", home=self.home, log=self.log, PORT=str(self.port), DEMO="0")
        self._started.append(self.run)
        assert eventually(lambda: self.run.poll() is not None or answer(self.port) == 200)
        assert self.run.poll() is None, self.log.read_text()

    def end(self):
        """End whatever runs."""
        for run in self._started:
            run.terminate()
            assert run.wait(timeout=300) in (0, -signal.SIGKILL)
        assert everything_of(self.home) == []


@pytest.fixture(scope="module")
def running(tmp_path_factory):
    """One installation for several tests, since its start takes seconds; SIGTERM ends it, and all of it."""
    made = Running(tmp_path_factory.mktemp("running"))
    yield made
    made.end()


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


def test_killed_supervisor_leaves_nothing_behind_and_loses_no_row(running):
    with psycopg.connect(services.running(running.home).database_url) as link:
        link.execute("CREATE TABLE kept (n int)")
        link.execute("INSERT INTO kept VALUES (1)")
    before = find_leftovers(running.home)

    running.run.kill()
    running.run.wait(timeout=60)

    running.start()  # finds what is still ending, and stops it
    assert before
    assert set(before) & set(find_leftovers(running.home)) == set()
    with psycopg.connect(services.running(running.home).database_url) as link:
        assert link.execute("SELECT n FROM kept").fetchall() == [(1,)]
        link.execute("DROP TABLE kept")


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
