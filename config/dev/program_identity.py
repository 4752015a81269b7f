"""Chooses the user that web, worker and timetable run as when root starts them; they serve anyone and decode photos."""

import os
import sys
from collections.abc import Sequence
from pathlib import Path

from config.dev.home import ROOT, LaunchError, make_folder
from config.dev.identity import can_use, nobody_ids


def find_program_identity(home: Path, folders: Sequence[Path]) -> str:
    """Return the identity, as child.py takes it, that can run our programs and write these folders.

    An ordinary user runs them as itself. Root tries the user nobody, who can read neither the secrets nor anything else
    of root's; then a user namespace, which takes every privilege but leaves root's own files open; then nobody with the
    one capability that opens root's folders. Of the folders, those below the home folder are given to that user. Raise
    LaunchError if none works: nothing is run as root instead.
    """
    for folder in folders:
        make_folder(folder)
    if os.geteuid() != 0:
        return "self"
    uid, gid = nobody_ids()
    candidates = [f"namespace:{uid}:{gid}", f"capability:{uid}:{gid}"]
    if _others_can_read(home):
        home.chmod(home.stat().st_mode | 0o011)  # to pass through; its list of names stays root's
        candidates.insert(0, f"nobody:{uid}:{gid}")
    for identity in candidates:
        owner = (0, 0) if identity.startswith("namespace") else (uid, gid)
        for folder in folders:
            if folder.is_relative_to(home):
                _give(folder, owner)
        if all(can_use(identity, folder, sys.executable) for folder in folders):
            return identity
    raise LaunchError(
        "Web and worker cannot be run without root's rights: neither as the user nobody nor in a user namespace. "
        "Run as an ordinary user, or put Leafspan and LEAFSPAN_HOME where others may enter."
    )


def _others_can_read(home: Path) -> bool:
    """Whether other users can enter the folders of our code, of Python and of the data folder."""
    python = Path(sys.executable)
    folders = {parent for path in (ROOT / "config", python, python.resolve(), home) for parent in path.parents}
    return all(folder.stat().st_mode & 0o001 for folder in folders) and bool(
        (ROOT / "manage.py").stat().st_mode & 0o004
    )


def _give(folder: Path, owner: tuple[int, int]) -> None:
    """Give a folder and everything in it to a user; what an operator's command wrote meanwhile may be root's."""
    for path in (*folder.rglob("*"), folder):
        os.chown(path, *owner, follow_symlinks=False)
