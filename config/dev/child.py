"""Become one of Leafspan's processes: give up root, ask the kernel to end it with its parent, then run the program.

The launcher starts every process through this file, as ``python -I -S child.py IDENTITY SIGNAL PARENT PROGRAM …``.
A step of its own, because a function run between fork and exec is unsafe in a parent that has threads.
Standard library only, and nothing of the project: ``-I -S`` makes it start in about 15 ms.
"""

import ctypes
import os
import signal
import sys
from pathlib import Path

_PR_SET_PDEATHSIG, _PR_SET_SECUREBITS, _PR_CAP_AMBIENT, _PR_CAP_AMBIENT_RAISE = 1, 28, 47, 2  # linux/prctl.h
_SECBIT_NO_SETUID_FIXUP = 1 << 2  # linux/securebits.h
_CLONE_NEWUSER = 0x10000000  # linux/sched.h
_CAP_DAC_OVERRIDE = 1  # linux/capability.h
_CAPABILITY_VERSION_3 = 0x20080522

PROBE = "--probe"


def _libc() -> ctypes.CDLL:
    return ctypes.CDLL(None, use_errno=True)


def _checked(result: int) -> None:
    if result != 0:
        raise OSError(ctypes.get_errno(), os.strerror(ctypes.get_errno()))


def _limit_capabilities(capabilities: int) -> None:
    """Set permitted, effective and inheritable capabilities of this process to the given bits (below 32)."""
    header = (ctypes.c_uint32 * 2)(_CAPABILITY_VERSION_3, 0)
    sets = (ctypes.c_uint32 * 6)(capabilities, capabilities, capabilities, 0, 0, 0)
    _checked(_libc().capset(header, sets))


def enter_namespace(*, uid: int, gid: int) -> None:
    """Become user ``uid`` in a user namespace, without privileges; files stay our own. Raise OSError if not allowed."""
    outer_uid, outer_gid = os.geteuid(), os.getegid()
    _checked(_libc().unshare(_CLONE_NEWUSER))
    Path("/proc/self/setgroups").write_text("deny")  # user_namespaces(7): needed before gid_map
    Path("/proc/self/uid_map").write_text(f"{uid} {outer_uid} 1")
    Path("/proc/self/gid_map").write_text(f"{gid} {outer_gid} 1")
    _limit_capabilities(0)


def drop(*, uid: int, gid: int, reach_files: bool) -> None:
    """Become user ``uid`` for good; raise OSError if we are not root.

    With ``reach_files`` keep the one capability that opens root's folders; raise OSError if the container took it away.
    """
    libc = _libc()
    if reach_files:
        # Keeps the capability through the change of user, and in access(2), which initdb asks about its programs.
        _checked(libc.prctl(_PR_SET_SECUREBITS, _SECBIT_NO_SETUID_FIXUP, 0, 0, 0))
    os.setgroups([])
    os.setresgid(gid, gid, gid)
    os.setresuid(uid, uid, uid)
    if reach_files:
        _limit_capabilities(1 << _CAP_DAC_OVERRIDE)
        _checked(libc.prctl(_PR_CAP_AMBIENT, _PR_CAP_AMBIENT_RAISE, _CAP_DAC_OVERRIDE, 0, 0))


def become(identity: str) -> None:
    """Take on ``self``, or ``namespace``, ``capability``, ``nobody`` followed by ``:uid:gid``."""
    kind, *numbers = identity.split(":")
    if kind == "self":
        return
    uid, gid = (int(number) for number in numbers)
    if kind == "namespace":
        enter_namespace(uid=uid, gid=gid)
    else:
        drop(uid=uid, gid=gid, reach_files=kind == "capability")


def _end_with_parent(*, signal_number: int, parent: int) -> None:
    """Ask for a signal when the parent dies (Linux); a change of user clears this, so it comes after `become`."""
    if sys.platform == "linux":
        _checked(_libc().prctl(_PR_SET_PDEATHSIG, signal_number, 0, 0, 0))
        if os.getppid() != parent:  # it died before we could ask
            sys.exit(1)


def _probe(folder: Path, program: Path) -> None:
    """Exit with 0 if this identity can write in the folder and run the program, as initdb asks: by access(2)."""
    trial = folder / f"probe-{os.getpid()}"
    trial.write_bytes(b"")
    trial.unlink()
    if os.geteuid() == 0 or not os.access(program, os.X_OK):
        sys.exit(1)


def _main() -> None:
    identity, signal_number, parent, *command = sys.argv[1:]
    become(identity)
    if command[0] == PROBE:
        _probe(Path(command[1]), Path(command[2]))
        return
    _end_with_parent(signal_number=int(signal_number), parent=int(parent))
    # Python ignores SIGPIPE, and a shell's background jobs ignore SIGINT; both would be inherited through exec.
    for number in (signal.SIGPIPE, signal.SIGXFSZ, signal.SIGINT, signal.SIGQUIT, signal.SIGHUP):
        signal.signal(number, signal.SIG_DFL)
    signal.pthread_sigmask(signal.SIG_SETMASK, [])
    os.execv(command[0], command)  # noqa: S606 - running a program without a shell is what this file is for


if __name__ == "__main__":
    _main()
