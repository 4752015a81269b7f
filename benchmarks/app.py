"""How quick the app is on a slow phone with many notes: start without a network, a tap, frames while a timer runs.

Run from the repository root: ``python -m benchmarks.app``. Starts an installation of its own, pushes the notes, has
Chromium pull them, and stops the installation: the rest is without a network. The processor of the page is throttled by
Chromium itself, which leaves the service worker and the disk as they are. A start is from the navigation of a browser
that was just started to the drawn list of the day; a tap from the finger on a rating line to the new count of kept
changes, which the app shows once they are safe on the disk. Times depend on the machine: compare those of one run.
"""

import argparse
import gzip
import json
import sys
import tempfile
from datetime import UTC, datetime, timedelta
from pathlib import Path
from statistics import median, quantiles
from typing import Any

from playwright.sync_api import BrowserContext, Page, Playwright

from config.dev.home import ROOT
from table import shell
from table.phone import HttpTransport, MemoryStore, Phone
from tests.faults.installation import PASSWORD, Installation, installation
from tests.table.browser import OPEN_STORE, chromium, started_playwright

LOTS, INFUSIONS, WORDS = 60, 8, 12
LEXICON = ROOT / "tastings" / "data" / "lexicon.json"
WATCH = """
const look = () => {
  if (document.querySelector(".home") && document.querySelector("main h1")) globalThis.usable_ms = performance.now();
  else requestAnimationFrame(look);
};
requestAnimationFrame(look);
"""
USABLE_MS = """async () => {
  while (!globalThis.usable_ms) await new Promise((resume) => setTimeout(resume, 20));
  return usable_ms;
}"""
TAP_IS_KEPT = """async (n) => {
  while (taps_ms.length < n) await new Promise((resume) => setTimeout(resume, 20));
}"""
WATCH_TAPS = """() => {
  globalThis.taps_ms = [];
  const kept = () => document.querySelector(".kept > :first-child").textContent;
  let from = null;
  addEventListener("pointerdown", () => (from = { at: performance.now(), kept: kept() }), true);
  new MutationObserver(() => {
    if (!from || kept() === from.kept) return;
    taps_ms.push(performance.now() - from.at);
    from = null;
  }).observe(document.body, { subtree: true, childList: true, characterData: true });
}"""
FRAMES = """(seconds) => new Promise((resolve) => {
  const begin = performance.now();
  let last = begin, longest = 0;
  const frame = (now) => {
    longest = Math.max(longest, now - last);
    last = now;
    if (now - begin > seconds * 1000) resolve(longest);
    else requestAnimationFrame(frame);
  };
  requestAnimationFrame((now) => { last = now; requestAnimationFrame(frame); });
})"""


def fill(place: Installation, notes: int) -> None:
    """Push so many notes of one taster through the API, in sessions of eight infusions of twelve words."""
    place.manage("new_team", "--name", "Bench", "--shop", "Bench", "--username", "bench")
    phone = Phone(HttpTransport(place.url), store=MemoryStore())
    phone.sign_in(username="bench", password=PASSWORD)
    words = [word["key"] for word in json.loads(LEXICON.read_text("utf-8"))["descriptors"][:WORDS]]
    lots = [phone.create("lot", {"name": f"Bench {i:02}", "kind": "oolong"}) for i in range(LOTS)]
    yesterday = (datetime.now(UTC) - timedelta(days=1)).isoformat()  # within the app's scope
    written, sessions = 0, 0
    while written < notes:
        pot = {"lot": lots[sessions % LOTS], "started_at": yesterday, "leaf_g": 5, "vessel_ml": 110}
        session = phone.create("session", pot)
        sessions += 1
        for number in range(1, INFUSIONS + 1):
            pour = {"session": session, "number": number, "steep_s": 10 + 5 * number, "kettle_c": 97}
            infusion = phone.create("infusion", pour)
            for k, word in enumerate(words[: notes - written]):
                rating = {"moment": "mouth", "descriptor": word, "intensity": (number + k) % 10}
                phone.create("note", {"session": session, "infusion": infusion, **rating})
                written += 1
        if sessions % 10 == 0 or written == notes:
            phone.sync()
            print(f"  {written:,} of {notes:,} notes pushed", file=sys.stderr, flush=True)


def open_browser(playwright: Playwright, folder: Path) -> BrowserContext:
    """Start Chromium on a folder of its own, as a phone is tall."""
    context = playwright.chromium.launch_persistent_context(
        folder, executable_path=chromium(), args=["--no-sandbox"], viewport={"width": 390, "height": 844}, locale="en"
    )
    context.add_init_script(WATCH)
    return context


def pull(playwright: Playwright, folder: Path, url: str, notes: int) -> None:
    """Sign in and wait until the phone has everything and can do without a network."""
    context = open_browser(playwright, folder)
    page = context.new_page()
    page.set_default_timeout(300_000)
    page.goto(f"{url}/sign-in/")
    page.fill("#id_username", "bench")
    page.fill("#id_password", PASSWORD)
    page.press("#id_password", "Enter")
    page.wait_for_url(lambda address: "sign-in" not in address)
    page.goto(f"{url}/table/")
    page.evaluate(OPEN_STORE)
    page.evaluate(
        "(n) => until(() => store.allRows('note').length === n && store.link.value.lastSync !== null, 300000)", notes
    )
    page.evaluate("navigator.serviceWorker.ready.then(() => null)")
    context.close()


def throttled(context: BrowserContext, rate: float) -> Page:
    """Return a tab whose processor is so many times slower, without a network."""
    page = context.new_page()
    page.set_default_timeout(120_000)
    context.set_offline(True)
    context.new_cdp_session(page).send("Emulation.setCPUThrottlingRate", {"rate": rate})
    return page


def start_ms(playwright: Playwright, folder: Path, url: str, rate: float) -> float:
    """Return how long a start takes [ms]."""
    context = open_browser(playwright, folder)
    page = throttled(context, rate)
    page.goto(f"{url}/table/")
    took_ms = float(page.evaluate(USABLE_MS))
    context.close()
    return took_ms


def taps_and_frame_ms(page: Page, taps: int, seconds: float) -> tuple[list[float], float]:
    """Return how long each tap takes until kept, and the longest frame while a timer runs [ms]."""
    page.evaluate("() => { location.hash = '#/lots'; }")
    page.locator(".rows a", has_text="Bench").first.click()
    page.locator(".rows.big button", has_text="Covered bowl").first.click()
    page.locator(".steps a", has_text="Pour").first.click()
    page.wait_for_timeout(1000)
    page.locator(".control").first.click()
    page.wait_for_selector('.control[data-phase="steeping"]')
    page.wait_for_timeout(1000)
    longest = float(page.evaluate(FRAMES, seconds))
    page.locator(".control").first.click()
    page.wait_for_selector('.control[data-phase="pouring"]')
    page.wait_for_timeout(1000)
    page.locator(".control").first.click()
    page.wait_for_selector("#rate-strength")
    page.wait_for_timeout(1000)
    page.evaluate(WATCH_TAPS)
    line = page.locator(".rating-line", has=page.locator("#rate-strength"))
    box: Any = line.bounding_box()
    for i in range(taps):
        points = 1 + i % 9
        line.click(position={"x": 16 + (box["width"] - 32) * points / 10, "y": box["height"] / 2})
        page.evaluate(TAP_IS_KEPT, i + 1)
    return [float(ms) for ms in page.evaluate("taps_ms")], longest


def main() -> int:
    """Run it on an installation of its own."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--notes", type=int, default=30_000)
    parser.add_argument("--slower", type=float, default=4.0, help="how many times the processor is throttled")
    parser.add_argument("--starts", type=int, default=5)
    parser.add_argument("--taps", type=int, default=60)
    parser.add_argument("--seconds", type=float, default=10.0, help="for which a timer is watched")
    options = parser.parse_args()
    files = [shell.FILES.parent / name for name in shell.shell_files()] + [shell.PAGE, shell.WORKER]
    print(f"shell, compressed: {sum(len(gzip.compress(file.read_bytes())) for file in files):,} bytes")
    with tempfile.TemporaryDirectory(prefix="leafspan-app-") as name, started_playwright() as playwright:
        home, folder = Path(name) / "server", Path(name) / "browser"
        home.mkdir()
        with installation(home) as place:
            fill(place, options.notes)
            pull(playwright, folder, place.url, options.notes)
        starts = [start_ms(playwright, folder, place.url, options.slower) for _ in range(options.starts)]
        context = open_browser(playwright, folder)
        page = throttled(context, options.slower)
        page.goto(f"{place.url}/table/")
        page.evaluate(USABLE_MS)
        taps, frame = taps_and_frame_ms(page, options.taps, options.seconds)
        context.close()
    print(f"{options.notes:,} notes, processor {options.slower:g} times slower, no network:")
    print(
        f"start to the list of the day: median {median(starts):.0f} ms, longest {max(starts):.0f} ms, n = {len(starts)}"
    )
    p95 = quantiles(taps, n=20)[-1]
    print(f"tap to kept: median {median(taps):.0f} ms, p95 {p95:.0f} ms, longest {max(taps):.0f} ms, n = {len(taps)}")
    print(f"longest frame in {options.seconds:g} s of a running timer: {frame:.0f} ms")
    return 0


if __name__ == "__main__":
    sys.exit(main())
