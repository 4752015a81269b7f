"""``python -m tests.faults.app``: kill servers under the app in Chromium, then compare every change with the server's.

LEAFSPAN_FAULTS says how often, LEAFSPAN_SEED chooses the same pauses again. Linux only (/proc).
"""

import os
import random
import sys
import tempfile
import threading
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Page

from table.phone import Phone
from tests.config.launching import eventually
from tests.faults.__main__ import print_line
from tests.faults.consistency import new_phone
from tests.faults.installation import PASSWORD, Installation, installation
from tests.table.browser import AFTERNOON, OPEN_STORE, chromium, started_playwright

USER = "app-taster"
WRITE_ON = f"""
(lot) => {{
  globalThis.kept = [];
  globalThis.stops = false;
  globalThis.done = (async () => {{
    const afternoon = {AFTERNOON};
    while (!stops) {{
      kept.push(...(await afternoon(lot)));
      await new Promise((resume) => setTimeout(resume, 200));
    }}
  }})();
}}
"""
ALL_SENT = "until(() => store.unsent.value === 0 && store.link.value.lastSync, 180000)"


def _open(page: Page, url: str) -> None:
    page.goto(f"{url}/sign-in/")
    page.fill("#id_username", USER)
    page.fill("#id_password", PASSWORD)
    page.press("#id_password", "Enter")
    page.wait_for_url(lambda address: "sign-in" not in address)
    page.goto(f"{url}/table/")
    page.evaluate(OPEN_STORE)
    page.evaluate(ALL_SENT)


def _kill(place: Installation, *, faults: int, rng: random.Random) -> int:
    """Kill one process after the other, broker and database once each; return how many."""
    done = 0
    servers = {faults // 3: "broker", faults // 2: "database"}
    while done < faults:
        threading.Event().wait(rng.uniform(0.1, 2.0))
        running = place.processes(servers.get(done, "web worker"))
        done += bool(running) and place.kill(rng.choice(running))
    return done


def _wrong(phone: Phone, kept: list[dict[str, Any]]) -> list[str]:
    """Return what is not on the server as it was called kept, and what came twice."""
    errors = []
    for write in kept:
        record = phone.record(write["id"])
        stands = record.fields if record else {}
        fields = {name: value for name, value in write["fields"].items() if name != "started_at"}
        if {name: stands.get(name) for name in fields} != fields:
            errors.append(f"{write['type']} {write['id']}: {fields} was kept, {dict(stands)} is there")
    n = sum(len(phone.records(kind)) for kind in ("session", "infusion", "note"))
    return errors if n == len(kept) else [*errors, f"{len(kept)} records were kept and {n} are there"]


def main() -> int:
    """Run it; return 0 if everything that the app called kept is on the server, once."""
    seed = int(os.environ.get("LEAFSPAN_SEED") or random.SystemRandom().randrange(10**6))
    faults = int(os.environ.get("LEAFSPAN_FAULTS") or 50)
    try:
        program = chromium()
    except pytest.skip.Exception as skipped:
        print_line(str(skipped))
        return 0
    with tempfile.TemporaryDirectory(prefix="leafspan-app-") as name, installation(Path(name)) as place:
        place.manage("new_team", "--name", "Tasters", "--shop", "Ford", "--username", USER)
        phone = new_phone(place.url, username=USER)
        lot = phone.create("lot", {"name": "Mist Ridge", "kind": "oolong"})
        phone.sync()
        with started_playwright() as playwright:
            browser = playwright.chromium.launch(executable_path=program, args=["--no-sandbox"])
            page = browser.new_page()
            _open(page, place.url)
            page.evaluate(WRITE_ON, lot)
            done = _kill(place, faults=faults, rng=random.Random(seed))
            kept = page.evaluate("async () => { stops = true; await done; return kept; }")
            waiting = page.evaluate("store.unsent.value")
            eventually(place.ready, seconds=120)
            page.evaluate("store.sync()")
            page.evaluate(ALL_SENT)
            browser.close()
        errors = _wrong(new_phone(place.url, username=USER), kept)
    print_line(f"{done} processes killed (LEAFSPAN_SEED={seed}), {len(kept)} changes kept, {waiting} unsent at the end")
    print_line("\n".join(errors[:20]) or "each is on the server as it was tapped, none twice")
    return 1 if errors else 0


if __name__ == "__main__":
    sys.exit(main())
