"""Make .venv from the locked requirements if it is missing or out of date, then run a module in it.

Run by the system's Python, ``python3 config/dev/venv.py MODULE ARGUMENT…``; nothing but the standard library is there
yet. It turns into the module's process at the end, so that a signal to the child of make reaches the right one.
"""

import fcntl
import hashlib
import os
import signal
import subprocess
import sys
from pathlib import Path

ROOT = Path(__file__).resolve().parents[2]
VENV = ROOT / ".venv"
LOCK = ROOT / "config" / "requirements.txt"
STAMP = VENV / "made-from.txt"
PYTHON = VENV / "bin" / "python"


def wanted() -> str:
    """Return what the stamp must say: the lock's digest, the interpreter, and the place (scripts hold the path)."""
    digest = hashlib.sha256(LOCK.read_bytes()).hexdigest()
    return f"{digest} {sys.version_info[0]}.{sys.version_info[1]} {VENV}\n"


def is_made() -> bool:
    """Whether .venv was completely made from this lock; the stamp is written last."""
    return PYTHON.exists() and STAMP.exists() and STAMP.read_text() == wanted()


def make() -> None:
    """Make .venv afresh and install the locked packages."""
    try:
        import ensurepip  # noqa: F401, PLC0415 - some distributions take it out of the standard library
    except ImportError:
        sys.exit(
            "This Python cannot make virtual environments. On Debian or Ubuntu: apt install python3-venv; then again."
        )
    print("Making .venv and installing the locked packages: about half a minute, once per lock file …", flush=True)
    STAMP.unlink(missing_ok=True)
    base = Path(sys.base_prefix) / "bin" / f"python{sys.version_info[0]}.{sys.version_info[1]}"
    python = str(base) if Path(sys.prefix) == VENV and base.exists() else sys.executable
    _run([python, "-m", "venv", "--clear", str(VENV)])
    quiet = ["--quiet", "--quiet", "--no-input", "--disable-pip-version-check", "--progress-bar", "off"]
    # pip compiles every module of every package; Python compiles the few that are imported, when they are.
    _run([str(PYTHON), "-m", "pip", "install", "--require-hashes", "--no-compile", *quiet, "-r", str(LOCK)])
    STAMP.write_text(wanted())


def _run(command: list[str]) -> None:
    """Run a step; on a signal take it along."""
    step = subprocess.Popen(command, stdin=subprocess.DEVNULL)
    try:
        code = step.wait()
    except BaseException:
        step.terminate()
        step.wait()
        raise
    if code != 0:
        sys.exit(f"That did not work (status {code}); .venv is incomplete and will be made again next time.")


def _leave(number: int, frame: object) -> None:  # noqa: ARG001 - the shape of a signal handler
    raise SystemExit(128 + number)


def main() -> None:
    """Make .venv if need be, then become the module."""
    if sys.version_info < (3, 11):  # noqa: UP036 - whoever has an older one is to be told so
        sys.exit("Leafspan needs Python 3.11 or later.")
    signal.signal(signal.SIGTERM, _leave)
    with LOCK.open() as lock:  # two makes at once: one builds, the other waits
        fcntl.flock(lock, fcntl.LOCK_EX)
        if not is_made():
            try:
                make()
            except KeyboardInterrupt:
                sys.exit(130)
    os.chdir(ROOT)
    os.execv(str(PYTHON), [str(PYTHON), "-m", *sys.argv[1:]])  # noqa: S606 - running a program without a shell


if __name__ == "__main__":
    main()
