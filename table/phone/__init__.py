"""A reference client for the public HTTP API: for whoever writes the app, and for tests that need real phones.

It knows nothing of the server but its URLs and needs the standard library only. What an app has to do, and where it is
done here:

1. **Every edit is stored locally first** (`Phone.create`, `Phone.edit`, `Phone.delete`). One *change* says which
   record, when (``at``), and the fields that were set, or that the record is deleted. A change is safe once it is in
   the event log on the disk (`JournalStore`). Ids are UUIDs that the phone makes, so nothing waits for the network.
2. **``at`` rises strictly on a device**, even when its clock is set back. Fields merge one by one and the later ``at``
   wins. A clock that runs ahead does no harm: the server takes such a time for its own.
3. **One request sends and pulls** (`Phone.sync`): ``POST /api/v1/sync`` takes up to 1,000 changes and 2 MiB (unpacked;
   gzip is accepted). It answers one verdict per change and one page of what is new after the ``cursor``. It is repeated
   until the outbox is empty and ``more`` is false.
4. **Every request may be sent again.** If the answer never came, the changes stay in the outbox; sent twice they change
   nothing. So every failure is handled alike: the same request later, with exponential backoff and jitter
   (`RetryPolicy`).
5. **Verdicts.** ``applied``, ``merged`` (some fields lost to newer ones; the history keeps them) and ``unchanged`` are
   done. ``refused`` changes are listed for the person to look at (`Phone.refused`, `Phone.amend`), with two exceptions:
   after ``unknown_parent`` and ``unknown_record``, when the record that a change needs has not arrived yet, the change
   stays in the outbox. So do edits of a record whose creation is still in the outbox.
6. **Cursor and page are stored in one event**: after a crash in between, the page is pulled again. A record that
   arrives as deleted, or that the member may no longer see, is removed.
7. **Photos** (`Phone.photos`) are sent apart from the records and after them: announced with their digest, sent in
   pieces, resumed where the server says. After 507, its disk is full, the photo stays in the queue.
8. **401** ends the sign-in: nothing is sent until `Phone.sign_in`; unsent changes stay.
   **410** with type ``/problems/start-again``: the phone was away for so long that the server no longer knows the
   deletions it missed, or its cursor is another team's or ahead of a restored backup. It pulls everything from cursor
   0 in pages and then removes the records that did not come; after a crash it goes on with the next page. Unsent
   changes are kept and sent. **413**: smaller requests. **409**: the app is too old.
"""

from table.phone.errors import PhoneError, RefusedError, SignedOutError, StoreError, UnreachableError
from table.phone.phone import ChangeOutcome, Phone, PhoneOptions, SyncReport
from table.phone.phone_state import PhoneRecord, PhoneState, QueuedPhoto, UnsentChange
from table.phone.photo_queue import PhotoQueue
from table.phone.retry import RetryPolicy
from table.phone.stores import JournalStore, MemoryStore, Store
from table.phone.transport import HttpTransport, Response, Transport

__all__ = [
    "ChangeOutcome",
    "HttpTransport",
    "JournalStore",
    "MemoryStore",
    "Phone",
    "PhoneError",
    "PhoneOptions",
    "PhoneRecord",
    "PhoneState",
    "PhotoQueue",
    "QueuedPhoto",
    "RefusedError",
    "Response",
    "RetryPolicy",
    "SignedOutError",
    "Store",
    "StoreError",
    "SyncReport",
    "Transport",
    "UnreachableError",
    "UnsentChange",
]
