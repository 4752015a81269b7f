"""Eight phones write as fast as they can while another pulls: it must get every record written, and no other."""

import random
import threading
import time

from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.installation import PASSWORD

WRITERS = 8


class Writer:
    """A phone that creates lots until it is stopped."""

    def __init__(self, phone: Phone, *, name: str, seed: int) -> None:
        self.written: set[str] = set()
        self.errors: list[str] = []
        self._phone, self._name, self._rng = phone, name, random.Random(seed)

    def run(self, stop: threading.Event) -> None:
        """Write until the event is set."""
        try:
            while not stop.is_set():
                for _ in range(self._rng.randint(1, 20)):
                    self.written.add(self._phone.create("lot", {"name": f"Sample of {self._name}", "kind": "green"}))
                verdicts = self._phone.sync(pull=False).verdicts
                if verdicts.keys() != {"applied"}:
                    self.errors.append(f"{self._name}: {dict(verdicts)}")
        except Exception as error:  # noqa: BLE001 - whatever it is, the run has to report it
            self.errors.append(f"{self._name}: {error!r}")


def write_and_pull(url: str, *, username: str, seconds: float, seed: int) -> tuple[int, int, list[str]]:
    """Return how many records were written, in how many pulls they were read, and what is wrong."""

    def signed_in_phone() -> Phone:
        phone = Phone(HttpTransport(url), store=MemoryStore())
        phone.sign_in(username=username, password=PASSWORD)
        return phone

    puller, stop = signed_in_phone(), threading.Event()
    writers = [Writer(signed_in_phone(), name=f"writer {i}", seed=seed + i) for i in range(WRITERS)]
    threads = [threading.Thread(target=writer.run, args=(stop,)) for writer in writers]
    for thread in threads:
        thread.start()
    ends_at, pulls = time.monotonic() + seconds, 0
    while time.monotonic() < ends_at:
        puller.sync()
        pulls += 1
    stop.set()
    for thread in threads:
        thread.join()
    puller.sync()
    pulled, written = {record.id for record in puller.records("lot")}, set().union(*(w.written for w in writers))
    errors = [error for writer in writers for error in writer.errors]
    if pulled != written:
        lost, made_up = len(written - pulled), len(pulled - written)
        errors.append(f"{lost} written records were not pulled, {made_up} were never written")
    return len(written), pulls + 1, errors
