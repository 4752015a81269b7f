"""Make .venv from a lock if it is missing or out of date, then run a module in it.

Run by the system's Python, ``python3 config/dev/venv.py run|dev MODULE ARGUMENT…``; nothing but the standard library is
there yet. ``run`` installs what Leafspan needs to run, ``dev`` what its tests and checks need as well. The script turns
into the module's process at the end, so that a signal to the child of make reaches the right one.
"""

import fcntl
import hashlib
import importlib.util
import os
import shutil
import signal
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VENV = ROOT / ".venv"
LOCKS = {"run": ROOT / "config/requirements.txt", "dev": ROOT / "config/requirements-dev.txt"}
"""The second holds all of the first, in the same versions."""
UV_LOCK = ROOT / "config/requirements-uv.txt"
UV = VENV / "installer"
STAMP = VENV / "made-from.txt"
PYTHON = VENV / "bin/python"
PIP_INSTALL = [
    "-m",
    "pip",
    "install",
    "--require-hashes",
    "--quiet",
    "--quiet",
    "--no-input",
    "--disable-pip-version-check",
    "--progress-bar",
    "off",
]


def expected_stamp(lock: str) -> str:
    """Return the content of the stamp after an installation: digest of the lock, interpreter, and folder."""
    digest = hashlib.sha256(LOCKS[lock].read_bytes()).hexdigest()
    return f"{digest} {sys.version_info[0]}.{sys.version_info[1]} {VENV}\n"  # scripts in bin/ hold the path


def is_current(lock: str) -> bool:
    """Whether .venv was completely made from this lock, or from the larger one; the stamp is written last."""
    stamps = {expected_stamp(lock), expected_stamp("dev")}
    return PYTHON.exists() and STAMP.exists() and STAMP.read_text() in stamps


def create(lock: str) -> None:
    """Install a lock: into .venv as it is if only the tools of development are missing, else into a new one."""
    grows = lock == "dev" and is_current("run")
    print("Installing the locked packages in .venv, once per lock file …", flush=True)
    STAMP.unlink(missing_ok=True)
    if not grows:
        _make_empty(pip=not (shutil.which("uv") or _has_pip()))
    if not _install_with_uv(LOCKS[lock]):
        _install_with_pip(LOCKS[lock])
    STAMP.write_text(expected_stamp(lock))


def _make_empty(*, pip: bool) -> None:
    """Make .venv afresh; pip takes seconds to come along."""
    if importlib.util.find_spec("ensurepip") is None:  # some distributions take it out of the standard library
        sys.exit(
            "This Python cannot make virtual environments. On Debian or Ubuntu: apt install python3-venv; then again."
        )
    base = Path(sys.base_prefix) / "bin" / f"python{sys.version_info[0]}.{sys.version_info[1]}"
    python = str(base) if Path(sys.prefix) == VENV and base.exists() else sys.executable
    if not _ends_well([python, "-m", "venv", "--clear", *([] if pip else ["--without-pip"]), str(VENV)]):
        sys.exit(".venv could not be made.")


def _install_with_uv(lock: Path) -> bool:
    """Install with uv, which takes a tenth of pip's time: the one on the PATH, or the locked one, fetched by pip."""
    uv = shutil.which("uv")
    if not uv:
        pip = [sys.executable if _has_pip() else str(PYTHON), *PIP_INSTALL, "--target", str(UV), "-r", str(UV_LOCK)]
        if not _ends_well(pip, silent=True):
            return False
        uv = str(UV / "bin/uv")
    if mirror := os.environ.get("PIP_INDEX_URL"):  # uv does not read pip's settings
        os.environ.setdefault("UV_DEFAULT_INDEX", mirror)
    command = [uv, "pip", "install", "--quiet", "--require-hashes", "--python", str(PYTHON), "-r", str(lock)]
    return _ends_well(command, silent=True)


def _install_with_pip(lock: Path) -> None:
    """Install with pip alone, where uv cannot be had or cannot be run."""
    _make_empty(pip=True)
    # pip compiles every module of every package; Python compiles the few that are imported, when they are.
    if not _ends_well([str(PYTHON), *PIP_INSTALL, "--no-compile", "-r", str(lock)]):
        sys.exit("The packages could not be installed; .venv is incomplete and will be made again next time.")


def _has_pip() -> bool:
    return importlib.util.find_spec("pip") is not None


def _ends_well(command: list[str], *, silent: bool = False) -> bool:
    """Run a step and return whether it succeeded; on a signal take it along."""
    output = subprocess.DEVNULL if silent else None
    try:
        step = subprocess.Popen(command, stdin=subprocess.DEVNULL, stdout=output, stderr=output)
    except OSError:  # a program for another machine
        return False
    try:
        return step.wait() == 0
    except BaseException:
        step.terminate()
        step.wait()
        raise


def _on_signal(number: int, frame: object) -> None:  # noqa: ARG001 - the shape of a signal handler
    raise SystemExit(128 + number)


def main() -> None:
    """Make .venv if need be, then become the module."""
    if sys.version_info < (3, 11):  # noqa: UP036 - a clear message for an older one
        sys.exit("Leafspan needs Python 3.11 or later.")
    signal.signal(signal.SIGTERM, _on_signal)
    lock, *module = sys.argv[1:]
    with LOCKS["run"].open() as lock_file:  # two makes at once: one installs, the other waits
        fcntl.flock(lock_file, fcntl.LOCK_EX)
        if not is_current(lock):
            try:
                create(lock)
            except KeyboardInterrupt:
                sys.exit(130)
    os.chdir(ROOT)
    os.environ.pop("PYTHONDONTWRITEBYTECODE", None)  # else each of a dozen processes compiles every module it imports
    os.execv(str(PYTHON), [str(PYTHON), "-m", *module])  # noqa: S606 - running a program without a shell


if __name__ == "__main__":
    main()
