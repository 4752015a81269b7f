"""A phone, as the public HTTP API lets it be: for whoever writes the app, and for tests that need real phones.

It knows nothing of the server but its addresses and needs the standard library only. What an app has to do, and
where it is done here:

1. **Everything is written down locally first** (`Phone.new`, `Phone.edit`, `Phone.delete`): one *change* says which
   record, when (``at``), and the fields that were set, or that it is deleted. A change counts as kept once it is on
   the disk (`JournalStore`). Ids are UUIDs that the phone makes, so nothing waits for the network.
2. **``at`` rises strictly on a device**, even when its clock is set back. Fields merge one by one and the later ``at``
   wins. A clock that runs ahead does no harm: the server draws such a moment back to its own.
3. **One request does both directions** (`Phone.sync`): ``POST /api/v1/sync`` takes up to 1,000 changes and 2 MiB
   (unpacked; gzip is welcome), and answers one verdict per change and one page of what is new after the ``cursor``.
   It is repeated until nothing is left to send and ``more`` is false.
4. **All of it may be sent again.** An answer that never came leaves the changes in the outbox; sent twice they change
   nothing. So every failure has one cure: the same again, later, with growing and uneven pauses (`Patience`).
5. **Verdicts.** ``applied``, ``merged`` (some of it lost to something newer; the history keeps it) and ``unchanged``
   are done. ``refused`` goes to a list for the person to look at (`Phone.refused`, `Phone.amend`), with two
   exceptions that cure themselves: ``unknown_parent`` and ``unknown_record``, where the record it needs has not
   arrived yet. These stay to be sent again, and so do edits of a record whose own beginning still waits.
6. **The cursor is kept together with the page**, in one step: whoever is killed in between asks for the page again.
   A record that arrives as deleted, or that the member may no longer see, is forgotten.
7. **Photos** (`Phone.album`) go apart from the records and after them: announced with their digest, sent in pieces,
   resumed where the server says it stands. 507: its disk is full; the photo stays for later.
8. **401** ends the sign-in: nothing more is sent until `Phone.sign_in`; what is unsent stays.
   **410** with type ``/problems/start-again``: the phone was away for so long that deletions it never heard of are
   no longer known. It pulls everything from cursor 0 in pages and forgets what did not come; a phone killed half-way
   goes on where it was. Unsent changes are kept and sent. **413**: smaller chunks. **409**: the app is too old.
"""

from table.phone.album import Album
from table.phone.errors import PhoneError, RefusedError, SignedOutError, StoreError, UnreachableError
from table.phone.link import Answer, HttpLink, Link
from table.phone.patience import Patience
from table.phone.phone import Habits, Outcome, Phone, SyncReport
from table.phone.state import Photo, Record, State, Unsent
from table.phone.stores import JournalStore, MemoryStore, Store

__all__ = [
    "Album",
    "Answer",
    "Habits",
    "HttpLink",
    "JournalStore",
    "Link",
    "MemoryStore",
    "Outcome",
    "Patience",
    "Phone",
    "PhoneError",
    "Photo",
    "Record",
    "RefusedError",
    "SignedOutError",
    "State",
    "Store",
    "StoreError",
    "SyncReport",
    "UnreachableError",
    "Unsent",
]
