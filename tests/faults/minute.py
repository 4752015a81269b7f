"""Eight phones write as fast as they can while another pulls: it must see what was written, and nothing else."""

import random
import threading
import time

from table.phone import HttpLink, MemoryStore, Phone
from tests.faults.installation import PASSWORD

WRITERS = 8


def write_and_pull(url: str, *, username: str, seconds: float, seed: int) -> tuple[int, int, list[str]]:
    """Return how many records were written, in how many pulls they were read, and what is wrong."""
    written: list[set[str]] = [set() for _ in range(WRITERS)]
    wrong: list[str] = []
    stop = threading.Event()

    def phone() -> Phone:
        made = Phone(HttpLink(url), store=MemoryStore())
        made.sign_in(username=username, password=PASSWORD)
        return made

    def write(i: int, writer: Phone) -> None:
        draw = random.Random(seed + i)
        try:
            while not stop.is_set():
                for _ in range(draw.randint(1, 20)):
                    written[i].add(writer.new("lot", {"name": f"Sample of writer {i}", "kind": "green"}))
                words = writer.sync(pull=False).words
                if words.keys() != {"applied"}:
                    wrong.append(f"writer {i}: {dict(words)}")
        except Exception as error:  # noqa: BLE001 - whatever it is, the run has to hear of it
            wrong.append(f"writer {i}: {error!r}")

    puller = phone()
    threads = [threading.Thread(target=write, args=(i, phone())) for i in range(WRITERS)]
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
    pulled, sent = {record.id for record in puller.records("lot")}, set().union(*written)
    if pulled != sent:
        wrong.append(f"{len(sent - pulled)} written records were not pulled, {len(pulled - sent)} were never written")
    return len(sent), pulls + 1, wrong
