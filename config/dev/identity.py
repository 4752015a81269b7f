"""Chooses the user that PostgreSQL runs as: it refuses root, and its folders may lie where only root may enter."""

import hashlib
import os
import pwd
import subprocess
from dataclasses import dataclass
from pathlib import Path
from signal import SIGKILL

from config.dev.child import PROBE
from config.dev.home import LaunchError, make_folder, write_private
from config.dev.process import child_command


@dataclass(frozen=True, kw_only=True)
class DataPlacement:
    """A folder for PostgreSQL's data, and the identity that can use it."""

    folder: Path
    identity: str
    """As child.py takes it."""
    owner: tuple[int, int]
    """User and group id that own the files, seen from outside."""


def data_folder(home: Path) -> Path:
    """Return where PostgreSQL's data are: below the home folder, or in the folder that a note in it names."""
    noted = _note(home)
    return Path(noted.read_text().strip()) if noted.exists() else home / "postgres"


def find_identity(home: Path, program: Path) -> DataPlacement:
    """Find the first identity that can run PostgreSQL's program and write its data below the home folder.

    An ordinary user runs it as itself. Root tries a user namespace (its files stay its own), then the user nobody
    with the one capability that opens root's folders, then plain nobody; only the last may need a folder elsewhere,
    which is then noted in the home folder, so that the data are found again. Raise LaunchError if none works; no
    folder's permissions are changed then.
    """
    folder = data_folder(home)
    ours, theirs = (os.geteuid(), os.getegid()), nobody_ids()
    mapped = DataPlacement(folder=folder, identity=f"namespace:{theirs[0]}:{theirs[1]}", owner=ours)
    if os.geteuid() != 0:
        candidates = [DataPlacement(folder=folder, identity="self", owner=ours) if _has_name() else mapped]
    else:
        candidates = [mapped] + [DataPlacement(folder=folder, identity=f"{kind}:{theirs[0]}:{theirs[1]}", owner=theirs)
                             for kind in ("capability", "nobody")]  # fmt: skip
    for placement in candidates:
        if _works(placement, program):
            return placement
    if os.geteuid() == 0 and not folder.exists():
        elsewhere = Path("/var/lib") / f"leafspan-{hashlib.sha256(str(home).encode()).hexdigest()[:12]}" / "postgres"
        placement = DataPlacement(folder=elsewhere, identity=candidates[-1].identity, owner=theirs)
        if _works(placement, program):
            write_private(_note(home), str(elsewhere))
            return placement
    raise LaunchError(
        f"PostgreSQL can be run on {folder} neither as this user nor in a user namespace nor as the user nobody. "
        "Run as an ordinary user, or choose a LEAFSPAN_HOME that others may enter, or give DATABASE_URL."
    )


def chown_tree(path: Path, owner: tuple[int, int]) -> None:
    """Give a file or folder, with everything in it, to the user that will need it; only root has to."""
    if os.geteuid() != 0 or not path.exists() or (path.stat().st_uid, path.stat().st_gid) == owner:
        return
    for part in (*path.rglob("*"), path):  # the top last: a broken-off change is seen and done again
        os.chown(part, *owner, follow_symlinks=False)


def _note(home: Path) -> Path:
    return home / "postgres.location"


def _works(placement: DataPlacement, program: Path) -> bool:
    """Try the identity out in the folder itself, where that exists, or beside it."""
    if os.geteuid() == 0:
        try:
            make_folder(placement.folder.parent.parent)
            if not placement.folder.parent.exists():
                placement.folder.parent.mkdir(mode=0o700)
                os.chown(placement.folder.parent, *placement.owner)
        except (OSError, LaunchError):
            return False
    trial = placement.folder if placement.folder.exists() else placement.folder.with_name("postgres.new")
    is_new = not trial.exists()
    try:
        if is_new:
            trial.mkdir(mode=0o700)
        chown_tree(trial, placement.owner)
        return can_use(placement.identity, trial, program)
    except OSError:
        return False
    finally:
        if is_new and trial.exists():
            trial.rmdir()


def can_use(identity: str, folder: Path, program: Path | str) -> bool:
    """Whether a process of this identity can write in the folder and run the program."""
    command = [*child_command(identity, SIGKILL), PROBE, str(folder), str(program)]
    try:
        return subprocess.run(command, capture_output=True, check=False, timeout=20).returncode == 0
    except (OSError, subprocess.TimeoutExpired):
        return False


def _has_name() -> bool:
    """Whether our user has an entry in the list of users; initdb insists on one."""
    try:
        pwd.getpwuid(os.geteuid())
    except KeyError:
        return False
    return True


def nobody_ids() -> tuple[int, int]:
    """User and group id of nobody, or of the last listed user that is not root."""
    try:
        entry = pwd.getpwnam("nobody")
    except KeyError:
        entry = max(pwd.getpwall(), key=lambda user: user.pw_uid)
    return entry.pw_uid, entry.pw_gid
