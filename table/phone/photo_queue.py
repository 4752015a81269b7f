"""Photos that were taken and wait to be sent: announced with their digest, then sent piece by piece.

The files stay where they are until the server has every byte. A phone that is switched off half-way, or whose line
breaks, asks how much has arrived and goes on from there.
"""

import hashlib
from collections.abc import Mapping, Sequence
from datetime import datetime
from pathlib import Path

from table.phone.errors import PhoneError, RefusedError, StoreError
from table.phone.ids import new_id
from table.phone.payloads import Announcement, PhotoParents, ReceivedProblem
from table.phone.phone_state import QueuedPhoto
from table.phone.retry import RetryPolicy
from table.phone.stores import Store
from table.phone.sync_request import send_request
from table.phone.transport import Transport

PIECE_BYTES = 256 * 1024
"""Bytes of a piece: few enough for a weak line; the server takes up to 1 MiB."""
_ATTEMPTS_PER_PIECE = 5
_FINAL = (403, 404, 422)
"""Statuses of photos that will never be accepted: not allowed, deleted meanwhile, or invalid."""


class PhotoQueue:
    """The photos of one phone that the server does not have yet, sent after the records."""

    def __init__(self, transport: Transport, *, store: Store, retry: RetryPolicy) -> None:
        self._transport, self._store, self._retry = transport, store, retry

    def add(  # noqa: PLR0913 - its parents
        self,
        path: Path,
        *,
        subject: str,
        session: str | None = None,
        lot: str | None = None,
        infusion: str | None = None,
        taken_at: datetime,
    ) -> str:
        """Add a file, of a session or of a lot; return the photo's id. The file must stay until it is sent."""
        content = path.read_bytes()
        parents: PhotoParents = {}
        if session is not None:
            parents["session"] = session
        if lot is not None:
            parents["lot"] = lot
        if infusion is not None:
            parents["infusion"] = infusion
        photo: Announcement = {
            **parents,
            "id": new_id(taken_at),
            "of": subject,
            "sha256": hashlib.sha256(content).hexdigest(),
            "bytes": len(content),
            "taken_at": taken_at.isoformat(),
        }
        self._store.append({"event": "photographed", "photo": photo, "path": str(path)})
        return photo["id"]

    @property
    def waiting(self) -> list[QueuedPhoto]:
        """Return the photos still to be sent, in the order they were taken."""
        return [photo for photo in self._store.state.photos.values() if not photo.problems]

    @property
    def refused(self) -> list[QueuedPhoto]:
        """Return the photos that the server refused, with the reasons."""
        return [photo for photo in self._store.state.photos.values() if photo.problems]

    def dismiss(self, photo: QueuedPhoto) -> None:
        """Remove a photo from the list of refused ones."""
        self._store.append({"event": "photo_done", "id": photo.id, "problems": None})

    def send(self) -> int:
        """Send the waiting photos; return how many were sent in full.

        Records go first: a photo of a session that the server does not have yet stays in the queue. Raise the errors of
        `Phone.sync`, also if the server's disk is full (507) after several tries. What arrived stays there.
        """
        sent = 0
        for photo in self.waiting:
            try:
                self._send(photo)
            except RefusedError as refusal:
                problems = _problems(refusal)
                if refusal.status not in _FINAL or "type" not in refusal.problem:
                    raise
                if {problem.get("code") for problem in problems} != {"unknown_parent"}:
                    self._store.append({"event": "photo_done", "id": photo.id, "problems": problems})
                continue
            self._store.append({"event": "photo_done", "id": photo.id, "problems": None})
            sent += 1
        return sent

    def _send(self, photo: QueuedPhoto) -> None:
        upload = self._request("POST", "/api/v1/photos/", body=photo.announced)
        with Path(photo.path).open("rb") as file:
            failures = 0
            while upload["state"] == "receiving":
                received = _received_bytes(upload)
                file.seek(received)
                piece = file.read(PIECE_BYTES)
                if not piece:
                    raise StoreError(f"{photo.path} is shorter than it was when it was taken in")
                try:
                    upload = self._request("PUT", f"/api/v1/photos/{photo.id}/content", piece=(received, piece))
                    failures = 0
                except RefusedError as refusal:
                    failures += 1
                    if refusal.status != 409 or failures >= _ATTEMPTS_PER_PIECE:  # an answer was lost on the way
                        raise
                    upload = self._request("GET", f"/api/v1/photos/{photo.id}/")

    def _request(
        self,
        method: str,
        path: str,
        *,
        body: Mapping[str, object] | None = None,
        piece: tuple[int, bytes] | None = None,
    ) -> Mapping[str, object]:
        token = self._store.state.token
        return send_request(self._transport, (method, path), token=token, body=body, piece=piece, retry=self._retry)


def _received_bytes(upload: Mapping[str, object]) -> int:
    received = upload["received"]
    if not isinstance(received, int):
        raise PhoneError("the server's answer about a photo is not one")
    return received


def _problems(refusal: RefusedError) -> Sequence[ReceivedProblem]:
    problems = refusal.problem.get("problems")
    return problems if isinstance(problems, list) and problems else [{"field": "", "code": "", "detail": str(refusal)}]
