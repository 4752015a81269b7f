"""A small disk of its own for the photos, which can be filled to the last byte and freed again.

It is a file system in memory that only the launcher and its children see; making one needs a mount namespace, which
root has, and others where the kernel lets them.
"""

import errno
import os
import subprocess
from pathlib import Path

SIZE_MIB = 320
"""The server keeps 256 MiB of a disk free; photos have the rest."""
_MOUNT = f'mount -t tmpfs -o size={SIZE_MIB}m,mode=0777 leafspan-photos "$0" && exec "$@"'
_ENTER = ["unshare", "--mount"] if os.geteuid() == 0 else ["unshare", "--mount", "--map-root-user"]


def on_a_small_disk(folder: Path) -> list[str]:
    """Return the prefix of a command that mounts such a disk at the folder for it; empty where that is impossible."""
    folder.mkdir(parents=True, exist_ok=True)
    command = [*_ENTER, "sh", "-c", _MOUNT, str(folder)]
    try:
        tried = subprocess.run([*command, "true"], capture_output=True, check=False)
    except FileNotFoundError:
        return []
    return command if tried.returncode == 0 else []


class SmallDisk:
    """The disk as seen from outside: through the root folder of a process that has it."""

    def __init__(self, folder: Path, *, pid: int) -> None:
        self._filler = Path(f"/proc/{pid}/root{folder}/filler")

    def fill(self) -> None:
        """Leave no byte free."""
        with self._filler.open("wb", buffering=0) as file:
            for block in (1024 * 1024, 4096, 1):
                while _fits(file.fileno(), bytes(block)):
                    pass

    def free(self) -> None:
        """Give the room back."""
        self._filler.unlink(missing_ok=True)


def _fits(file: int, block: bytes) -> bool:
    try:
        return os.write(file, block) == len(block)
    except OSError as error:
        if error.errno == errno.ENOSPC:
            return False
        raise
