"""Photos in a bucket of an object store, for web and workers on machines that share no folder.

Any store that speaks the S3 protocol. An object is there whole or not at all, and a write has been stored when it
returns. Objects cannot grow, so each piece of an upload is an object of its own, named by its offset.
"""

from collections.abc import Iterator
from contextlib import contextmanager
from datetime import UTC, datetime, timedelta
from functools import cached_property
from io import BytesIO
from pathlib import Path
from typing import BinaryIO

import obstore
from obstore.exceptions import BaseError
from obstore.store import S3Store

from tastings.errors import PhotoStoreAway

UPLOADS = "uploads"
_GIVE_UP = timedelta(seconds=20)


class BucketStore:
    """Objects below one address, ``s3://bucket/prefix``.

    Endpoint, region and keys come from the environment: ``AWS_ENDPOINT_URL``, ``AWS_REGION``, ``AWS_ACCESS_KEY_ID``,
    ``AWS_SECRET_ACCESS_KEY``, and ``AWS_ALLOW_HTTP=true`` for an endpoint without TLS. Every method raises
    `PhotoStoreAway` while the store gives no usable answer.
    """

    def __init__(self, url: str) -> None:
        self._url = url

    @cached_property
    def _store(self) -> S3Store:
        return S3Store.from_url(self._url, retry_config={"max_retries": 2, "retry_timeout": _GIVE_UP})

    def open(self, key: str) -> BinaryIO:
        """Return an object's bytes, of an upload all its pieces; raise FileNotFoundError when there are none."""
        with _translate():
            if not _is_upload(key):
                return BytesIO(obstore.get(self._store, key).bytes())
            names = [name for name, _ in self._pieces(key)]
            if not names:
                raise FileNotFoundError(key)
            return BytesIO(b"".join(bytes(obstore.get(self._store, name).bytes()) for name in names))

    def size(self, key: str) -> int:
        """Return how many bytes of an upload are stored without a gap."""
        with _translate():
            return sum(n_bytes for _, n_bytes in self._pieces(key))

    def write(self, key: str, content: bytes) -> None:
        """Store a whole object."""
        with _translate():
            obstore.put(self._store, key, content)

    def append(self, key: str, *, offset: int, piece: bytes) -> None:
        """Store a piece of an upload; one at the same offset that was never acknowledged is replaced."""
        with _translate():
            obstore.put(self._store, f"{key}/{offset:012d}", piece)

    def delete(self, key: str) -> None:
        """Delete an object, of an upload all its pieces."""
        with _translate():
            names = [name for name, _, _ in self._listed(key)] if _is_upload(key) else [key]
            if names:
                obstore.delete(self._store, names)

    def keys(self, part: str, *, older_than_s: float = 0.0) -> Iterator[str]:
        """Yield the objects below a part that are so old, an upload once all its pieces are."""
        limit = datetime.now(UTC) - timedelta(seconds=older_than_s)
        newest: dict[str, datetime] = {}
        with _translate():
            for name, _, at in self._listed(part):
                key = name.rpartition("/")[0] if _is_upload(name) else name
                newest[key] = max(at, newest.get(key, at))
        yield from (key for key, at in newest.items() if at <= limit)

    def move_in(self, folder: Path) -> None:
        """Store the files of a folder, an upload as one piece."""
        for path in sorted(path for path in folder.rglob("*") if path.is_file()):
            key = path.relative_to(folder).as_posix()
            if _is_upload(key):
                self.append(key, offset=0, piece=path.read_bytes())
            else:
                self.write(key, path.read_bytes())

    def _listed(self, prefix: str) -> Iterator[tuple[str, int, datetime]]:
        for page in obstore.list(self._store, prefix):
            yield from ((item["path"], item["size"], item["last_modified"]) for item in page)

    def _pieces(self, key: str) -> Iterator[tuple[str, int]]:
        """Yield name and size of an upload's pieces in order, up to the first gap."""
        end = 0
        for name, n_bytes, _ in sorted(self._listed(key)):
            if int(name.rpartition("/")[2]) != end:
                return
            yield name, n_bytes
            end += n_bytes


def _is_upload(key: str) -> bool:
    return key.startswith(f"{UPLOADS}/")


@contextmanager
def _translate() -> Iterator[None]:
    """Raise PhotoStoreAway for every failure but a missing object."""
    try:
        yield
    except BaseError as error:
        raise PhotoStoreAway from error
