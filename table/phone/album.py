"""Photos that were taken and wait to be sent: announced with their digest, then sent piece by piece.

The files stay where they are until the server has every byte. A phone that is switched off half-way, or whose line
breaks, asks how much has arrived and goes on from there.
"""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path
from typing import Any

from table.phone.asking import ask
from table.phone.errors import RefusedError, SignedOutError, StoreError
from table.phone.ids import new_id
from table.phone.link import Link
from table.phone.patience import Patience
from table.phone.state import Photo
from table.phone.stores import Store

PIECE_BYTES = 256 * 1024
"""Small enough to get through a weak line; the server takes up to 1 MiB."""
_TRIES_OF_A_PIECE = 5


class Album:
    """The photos of one phone that the server does not have yet.

    Parameters
    ----------
    link, store, patience
        Those of the phone.
    """

    def __init__(self, link: Link, *, store: Store, patience: Patience) -> None:
        self._link, self._store, self._patience = link, store, patience

    def add(  # noqa: PLR0913 - what a photo is of
        self,
        path: Path,
        *,
        of: str,
        session: str | None = None,
        lot: str | None = None,
        infusion: str | None = None,
        taken_at: datetime,
    ) -> str:
        """Take in a file, of a session or of a lot; return the photo's id. The file must stay until it is sent."""
        content = path.read_bytes()
        about = {"session": session, "lot": lot, "infusion": infusion}
        photo = {name: value for name, value in about.items() if value is not None} | {
            "id": new_id(taken_at),
            "of": of,
            "sha256": hashlib.sha256(content).hexdigest(),
            "bytes": len(content),
            "taken_at": taken_at.isoformat(),
        }
        self._store.keep({"event": "photographed", "photo": photo, "path": str(path)})
        return str(photo["id"])

    @property
    def waiting(self) -> list[Photo]:
        """Return what is not at the server yet, in the order it was taken."""
        return [photo for photo in self._store.state.photos.values() if not photo.problems]

    @property
    def refused(self) -> list[Photo]:
        """Return what the server will not have, with the reasons."""
        return [photo for photo in self._store.state.photos.values() if photo.problems]

    def put_away(self, photo: Photo) -> None:
        """Take a photo off the list of refused ones."""
        self._store.keep({"event": "photo_done", "id": photo.id, "problems": None})

    def send(self) -> int:
        """Send what waits; return how many photos the server has in full now.

        Records go first: a photo of a session that the server has not seen stays for the next time.

        Raises
        ------
        SignedOutError, UnreachableError, RefusedError
            As of `Phone.sync`; a full disk of the server (507) too, after some patience. What arrived stays there.
        """
        sent = 0
        for photo in self.waiting:
            try:
                self._send(photo)
            except SignedOutError:
                raise
            except RefusedError as refusal:
                problems = _problems(refusal)
                if refusal.status != 422:
                    raise
                if {problem.get("code") for problem in problems} != {"unknown_parent"}:
                    self._store.keep({"event": "photo_done", "id": photo.id, "problems": problems})
                continue
            self._store.keep({"event": "photo_done", "id": photo.id, "problems": None})
            sent += 1
        return sent

    def _send(self, photo: Photo) -> None:
        stands = self._ask("POST", "/api/v1/photos/", body=photo.announced)
        with Path(photo.path).open("rb") as file:
            tries = 0
            while stands["state"] == "receiving":
                file.seek(stands["received"])
                piece = file.read(PIECE_BYTES)
                if not piece:
                    raise StoreError(f"{photo.path} is shorter than it was when it was taken in")
                try:
                    stands = self._ask(
                        "PUT", f"/api/v1/photos/{photo.id}/content", piece=(int(stands["received"]), piece)
                    )
                    tries = 0
                except RefusedError as refusal:
                    tries += 1
                    if refusal.status != 409 or tries >= _TRIES_OF_A_PIECE:  # an answer was lost on the way
                        raise
                    stands = self._ask("GET", f"/api/v1/photos/{photo.id}/")

    def _ask(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, object] | None = None,
        piece: tuple[int, bytes] | None = None,
    ) -> Mapping[str, Any]:
        token = self._store.state.token
        return ask(self._link, (method, path), token=token, body=body, piece=piece, patience=self._patience)


def _problems(refusal: RefusedError) -> Sequence[Mapping[str, Any]]:
    found = refusal.problem.get("problems")
    return found if isinstance(found, list) and found else [{"field": "", "code": "", "detail": str(refusal)}]
