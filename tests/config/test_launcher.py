"""The parts of the launcher: ends, leftovers, addresses, options, the virtual environment's stamp."""

import os
import re
import socket
import sys
from signal import SIGTERM

import pytest

from config.dev import process, venv, web
from config.dev.home import LaunchError, home_from
from config.dev.leftovers import find_leftovers, stop_leftovers
from config.dev.supervisor import Options
from config.dev.venv import LOCKS
from tests.config.launching import alive, eventually

STUBBORN = """
import os, signal, sys, time
signal.signal(signal.SIGTERM, signal.SIG_IGN)
if (child := os.fork()) == 0:
    time.sleep(600)
open(sys.argv[1], "w").write(str(child))
time.sleep(600)
"""


def stubborn(tmp_path, **more):
    """A process that ignores SIGTERM and has a child that does, too; returns it and the child's id."""
    pid_file = tmp_path / "pid"
    child = process.Child(
        name="stubborn",
        command=[sys.executable, "-c", STUBBORN, str(pid_file)],
        env={**os.environ, **more},
        stop_with=((SIGTERM, 0.2),),
    )
    child.start()
    assert eventually(lambda: pid_file.exists() and pid_file.read_text() != "")
    return child, int(pid_file.read_text())


def test_end_leaves_no_process_of_the_group(tmp_path):
    child, grandchild = stubborn(tmp_path)
    main = child.popen.pid
    process.stop_all([child])
    assert eventually(lambda: not alive(main) and not alive(grandchild))


def test_finish_broken_off_ends_the_program(tmp_path):
    def broken_off(seconds):
        raise KeyboardInterrupt

    child = process.Child(
        name="sleeper", command=[sys.executable, "-c", "import time; time.sleep(600)"], env=os.environ
    )
    with pytest.raises(KeyboardInterrupt):
        child.finish(broken_off)
    assert child.popen is None


def test_leftovers_are_found_by_their_mark_and_ended(tmp_path):
    child, grandchild = stubborn(tmp_path, **{process.ENV_MARK: str(tmp_path)})
    assert sorted(find_leftovers(tmp_path)) == sorted([child.popen.pid, grandchild])
    assert find_leftovers(tmp_path.with_name("another")) == []
    os.killpg(child.popen.pid, SIGTERM)  # ignored
    stop_leftovers(tmp_path)
    child.popen.wait(timeout=300)
    assert not alive(grandchild)


def test_program_that_ends_at_its_start_is_told_with_its_last_words(tmp_path):
    child = process.Child(
        name="early",
        command=[sys.executable, "-c", "print('no such luck'); raise SystemExit(3)"],
        env=os.environ,
        log=tmp_path / "early.log",
    )
    with pytest.raises(process.StartError, match=r"early ended with status 3 at its start\.\n    no such luck"):
        process.start_and_wait(child, ready=lambda: False, pause=lambda seconds: None)


def test_log_past_its_limit_is_begun_afresh(tmp_path):
    log = tmp_path / "web.log"
    log.write_bytes(b"x" * 5_000_001)
    process.Child(name="web", command=[], env={}, log=log).trim_log()
    assert (log.stat().st_size, (tmp_path / "web.log.1").stat().st_size) == (0, 5_000_001)


def test_address_asked_for_and_taken_is_refused():
    with socket.create_server(("127.0.0.1", 0)) as other:
        port = other.getsockname()[1]
        with pytest.raises(LaunchError, match=f"Port {port} of 127.0.0.1 cannot be used"):
            web.take_address(port)


def test_usual_address_taken_gives_way(monkeypatch):
    with socket.create_server(("127.0.0.1", 0)) as other:
        monkeypatch.setattr(web, "USUAL_PORT", other.getsockname()[1])
        address = web.take_address(None)
        assert address.port != other.getsockname()[1]
        address.bound.close()


@pytest.mark.parametrize("port", ["0", "65536", "http", "-1", "8 0"])
def test_port_that_is_none_is_refused(port):
    with pytest.raises(LaunchError, match="PORT must be a number"):
        Options.of({"PORT": port})


def test_options_of_the_environment(tmp_path):
    assert (Options.of({}).port, Options.of({}).demo) == (None, True)
    assert (Options.of({"PORT": "9000", "DEMO": "0"}).port, Options.of({"DEMO": "0"}).demo) == (9000, False)
    assert home_from({"LEAFSPAN_HOME": str(tmp_path)}) == tmp_path
    assert home_from({}).name == ".leafspan"


@pytest.fixture
def unmade(tmp_path, monkeypatch):
    """Locks of which nothing is installed; gives the commands that are run to install them, and which of them fail."""
    locks = {"run": tmp_path / "requirements.txt", "dev": tmp_path / "requirements-dev.txt"}
    for name, lock in locks.items():
        lock.write_text(f"{name}==1\n")
    commands, failing = [], []

    def ends_well(command, *, silent=False):
        commands.append(command)
        if "venv" in command:
            (tmp_path / "python").touch()
        return not any(word in command for word in failing)

    for name, value in {
        "VENV": tmp_path,
        "LOCKS": locks,
        "STAMP": tmp_path / "made-from.txt",
        "PYTHON": tmp_path / "python",
        "_ends_well": ends_well,
    }.items():
        monkeypatch.setattr(venv, name, value)
    return commands, failing


def test_half_made_virtual_environment_is_not_taken_for_done(tmp_path, unmade):
    (tmp_path / "python").touch()
    assert not venv.is_current("run")
    (tmp_path / "made-from.txt").write_text(venv.expected_stamp("run"))
    assert venv.is_current("run")
    venv.LOCKS["run"].write_text("run==2\n")
    assert not venv.is_current("run")


def test_what_is_made_for_developing_runs_too_and_grows_from_what_runs(unmade):
    commands, _ = unmade
    venv.create("run")
    assert (venv.is_current("run"), venv.is_current("dev")) == (True, False)
    made_anew = len(commands)
    venv.create("dev")
    assert (venv.is_current("run"), venv.is_current("dev")) == (True, True)
    assert not any("--clear" in command for command in commands[made_anew:])
    venv.LOCKS["run"].write_text("run==2\n")
    venv.LOCKS["dev"].write_text("run==2\ndev==1\n")
    venv.create("dev")
    assert sum("--clear" in command for command in commands) == 2


def test_pip_installs_where_uv_can_not(tmp_path, monkeypatch, unmade):
    commands, failing = unmade
    monkeypatch.setattr(venv.shutil, "which", lambda program: None)
    failing.append("--target")  # fetching uv
    venv.create("run")
    assert venv.is_current("run")
    assert commands[-1][:5] == [str(tmp_path / "python"), "-m", "pip", "install", "--require-hashes"]
    assert commands[-1][-2:] == ["-r", str(venv.LOCKS["run"])]


def test_failed_installation_is_not_taken_for_done(unmade):
    unmade[1].append("install")
    with pytest.raises(SystemExit, match="made again next time"):
        venv.create("run")
    assert not venv.is_current("run")


def test_lock_for_developing_pins_all_that_runs_the_same():
    pins = {
        name: set(re.findall(r"^[\w.-]+==.*(?=\\)", lock.read_text(), re.MULTILINE)) for name, lock in LOCKS.items()
    }
    assert len(pins["run"]) > 40
    assert pins["run"] < pins["dev"]
