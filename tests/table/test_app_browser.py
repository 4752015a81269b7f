"""The app's store in Chromium: what it called kept is there, whatever happens to network, browser and sign-in."""

import json
import os
import random
from datetime import UTC, datetime, timedelta

import pytest
from django.utils import timezone

from tastings.models import Infusion, Note, Session
from teams.models import DeviceToken
from tests.api.phone import change, sync
from tests.factories import InfusionFactory, LotFactory, SessionFactory
from tests.table.browser import AFTERNOON, OPEN_STORE, PhoneToKill, ready

pytestmark = pytest.mark.django_db(transaction=True)
MORE_THAN_FIRST = 40
KILLS = int(os.environ.get("LEAFSPAN_KILLS", "3"))
FIRST_SYNC_IS_TOO_SLOW = """
() => {
  const send = globalThis.fetch;
  globalThis.fetch = (path, options) => {
    if (!String(path).endsWith("/sync")) return send(path, options);
    globalThis.fetch = send;
    return Promise.resolve(new Response("{}", { status: 408 }));
  };
}
"""
TAPS = """
(lot) => {
  (async () => {
    const session = store.newId();
    const fields = { lot, started_at: store.now().toISOString(), leaf_g: 5, vessel_ml: 110 };
    await store.write([{ type: "session", id: session, fields }]);
    await tapKept(session);
    for (;;) {
      const id = store.newId();
      const fields = { session, infusion: null, moment: "mouth", descriptor: "strength", intensity: 5 };
      await store.write([{ type: "note", id, fields }]);
      await tapKept(id);
    }
  })();
}
"""
TAPS_DURING = """
async ([lot, how]) => {
  globalThis.tapped ??= { kept: [], failed: [] };
  const session = store.newId();
  const pot = { lot, started_at: store.now().toISOString(), leaf_g: 5, vessel_ml: 110 };
  await store.write([{ type: "session", id: session, fields: pot }]);
  let isDone = false;
  const done = store[how]().finally(() => (isDone = true));
  const taps = [];
  while (!isDone) {
    for (let i = 0; i < 5; i++) {
      const id = store.newId();
      const fields = { session, infusion: null, moment: "mouth", descriptor: "strength", intensity: 5 };
      const written = store.write([{ type: "note", id, fields }]);
      taps.push(written.then(() => tapped.kept.push(id), () => tapped.failed.push(how)));
    }
    if (taps.length > 2000) throw new Error(`${how} does not end while one taps`);
    await new Promise((resume) => setTimeout(resume, 50));
  }
  await Promise.all([done, ...taps]);
}
"""
HOLD_SYNC = """
async () => {
  const send = globalThis.fetch;
  let release;
  const released = new Promise((resume) => (release = resume));
  const answered = new Promise((resume) => {
    globalThis.fetch = async (path, options) => {
      const answer = await send(path, options);
      if (!String(path).endsWith("/sync")) return answer;
      resume();
      await released;
      return answer;
    };
  });
  store.sync();
  await answered;
  globalThis.letGo = async () => {
    release();
    await until(() => !store.link.value.sending);
  };
}
"""
ON_DISK = """
async () => {
  const { openDB } = await import("/static/table/vendor/idb.js");
  const name = (await indexedDB.databases()).map((one) => one.name).find((one) => /^leafspan \\S+ /.test(one));
  const db = await openDB(name);
  const [records, outbox] = [await db.count("records"), await db.count("outbox")];
  const found = { records, outbox, cursor: await db.get("meta", "cursor") };
  db.close();
  return found;
}
"""
SHOWS_REMARKS = "([id, words]) => until(() => store.rows('session').value.get(id)?.fields.remarks === words)"


def stored(write):
    """Return what the server has of a record that was written."""
    model = {"session": Session, "infusion": Infusion, "note": Note}[write["type"]]
    row = model.objects.get(id=write["id"])
    return {**row.stamped().values}


def test_offline_day_arrives_as_it_was_written_and_the_app_opens_without_a_network(phone, network, lot, who):
    mine = {"team": who.team, "by": who.user, "lot_id": lot, "lot": None, "leaf_g": 3}
    past = [SessionFactory(**mine, started_at=timezone.now() - timedelta(days=1)) for _ in range(MORE_THAN_FIRST)]
    cups = [InfusionFactory(session=session) for session in past]
    page = ready(phone)
    network.cut()
    page.close()

    page = phone.page()
    assert page.evaluate("store.account.value.role") == "taster"
    assert page.evaluate("[...store.rows('lot').value.keys()]") == [lot]
    for cup in cups:  # the app reads those of the latest sessions first
        session = str(cup.session_id)
        page.evaluate("(id) => until(() => store.isRead(id))", session)
        assert page.evaluate("(id) => store.rowsOf('infusion', id).map((row) => row.id)", session) == [str(cup.id)]
    kept = page.evaluate(AFTERNOON, lot)
    assert page.evaluate("store.unsent.value") == len(kept) == 28
    saved = json.loads(page.evaluate("store.unsentFile().then((file) => file.text())"))
    network.loses_answers = True
    network.mend()
    page.evaluate(FIRST_SYNC_IS_TOO_SLOW)
    page.evaluate("store.sync()")
    page.evaluate("until(() => store.unsent.value === 0)")

    for write in kept:
        assert stored(write).items() >= {k: v for k, v in write["fields"].items() if k != "started_at"}.items()
    assert Note.objects.count() == 18
    answer = who.client.post("/api/v1/sync", saved, format="json")
    assert [one["verdict"] for one in answer.json()["verdicts"]] == ["unchanged"] * 28


def test_infusions_of_an_older_tasting_come_when_it_is_opened(phone, network, lot, who):
    older = SessionFactory(
        team=who.team, by=who.user, lot_id=lot, lot=None, started_at=timezone.now() - timedelta(days=200)
    )
    infusion = str(InfusionFactory(session=older).id)
    page = ready(phone)
    page.evaluate("until(() => store.link.value.lastSync)")
    assert page.evaluate("(id) => store.isHere(id)", str(older.id)) is False
    network.cut()
    page.goto(f"{phone.url}/table/#tasting/{older.id}")
    page.get_by_text("older than what the phone keeps").wait_for()

    network.mend()
    page.evaluate("store.sync()")
    page.get_by_text("times").or_(page.get_by_text("Leaf")).first.wait_for()
    assert page.evaluate("(id) => store.rowsOf('infusion', id).map((row) => row.id)", str(older.id)) == [infusion]
    assert page.evaluate("(id) => store.isRead(id)", str(older.id)) is True


BYPASSED_THE_WORKER = """(path) => performance.getEntriesByType("resource")
  .filter((one) => new URL(one.name).pathname.startsWith(path))
  .map((one) => (one.workerMatchedRouterSource ?? one.workerMatchedSourceType) === "network")"""
"""Of each request below a path: whether a static route took it past the service worker (W3C Service Workers; Chromium
has the second name)."""


def test_requests_for_data_do_not_occupy_the_service_worker(phone, lot):
    """In Chromium a busy worker keeps a new version waiting, and "Take it" did nothing (seen under load)."""
    ready(phone).close()
    page = phone.page()
    page.evaluate("store.sync()")
    page.evaluate("until(() => store.link.value.lastSync !== null)")
    of_data = page.evaluate(BYPASSED_THE_WORKER, "/api/v1/")
    assert of_data
    assert all(of_data)
    assert not any(page.evaluate(BYPASSED_THE_WORKER, "/static/table/"))


def test_browser_that_is_killed_has_everything_that_was_called_kept(browser, network, session_cookie, tmp_path, lot):
    phone = PhoneToKill(browser, url=network.url, folder=tmp_path / "browser")
    phone.sign_in(session_cookie)
    ready(phone)
    network.cut()
    chance, kept = random.Random(15), []
    for _ in range(KILLS):
        page = phone.context.new_page()
        page.expose_binding("tapKept", lambda _source, record: kept.append(record))
        phone.open_in(page)
        page.evaluate(TAPS, lot)
        page.wait_for_timeout(chance.uniform(100, 900))
        phone.kill()
        phone.start_again()
    network.mend()
    page = phone.page()
    page.evaluate("until(() => store.account.value && store.unsent.value === 0)")

    on_server = [str(row) for model in (Session, Note) for row in model.objects.values_list("id", flat=True)]
    assert len(kept) > KILLS
    assert set(kept) <= set(on_server)
    assert len(on_server) <= len(kept) + KILLS  # at most the one tap of each run that was under way
    phone.close()
    assert phone.errors == []


def test_phone_signed_out_elsewhere_keeps_what_was_not_sent(phone, lot, who):
    page = ready(phone)
    DeviceToken.objects.exclude(id=who.device.id).delete()
    page.evaluate(AFTERNOON, lot)
    page.evaluate("until(() => store.link.value.trouble === 'signed_out')")
    assert (page.evaluate("store.unsent.value"), page.evaluate("store.rows('lot').value.size")) == (28, 0)
    page.reload()  # after signing in on the page
    page.evaluate(OPEN_STORE)
    page.evaluate("until(() => store.unsent.value === 0)")
    assert Note.objects.count() == 18


def test_taps_while_the_phone_signs_in_and_out_are_stored_or_refused(phone, lot):
    page = ready(phone)
    for how in ("signIn", "signOut"):
        page.evaluate(TAPS_DURING, [lot, how])
    kept, failed = page.evaluate("[tapped.kept, tapped.failed]")
    assert set(failed) <= {"signOut"}
    page.evaluate("store.signIn()")
    page.evaluate("until(() => store.unsent.value === 0 && store.link.value.lastSync)")
    assert len(kept) >= 5
    assert set(map(str, Note.objects.values_list("id", flat=True))) == set(kept)


def test_two_tabs_show_the_same_lose_nothing_and_sign_out_and_in_together(phone, network, lot, who):
    one, other = ready(phone), phone.page()
    network.cut()
    for tab in (one, other):
        tab.evaluate(f"void (globalThis.done = ({AFTERNOON})('{lot}').then((kept) => kept.length))")
    assert [tab.evaluate("done") for tab in (one, other)] == [28, 28]
    for tab in (one, other):
        tab.evaluate("until(() => store.unsent.value === 56 && store.allRows('note').length === 36)")
    network.mend()
    one.evaluate("store.sync()")
    other.evaluate("until(() => store.unsent.value === 0)")
    assert Note.objects.count() == 36

    LotFactory(team=who.team)
    other.evaluate(HOLD_SYNC)
    one.evaluate("store.signOut()")
    other.evaluate("letGo()")
    assert one.evaluate(ON_DISK) == {"records": 0, "outbox": 0, "cursor": 0}
    other.evaluate("until(() => store.account.value === null && store.rows('lot').value.size === 0)")
    one.evaluate("store.signIn()")
    other.evaluate(
        "until(() => store.account.value && store.rows('lot').value.size === 2 && !store.link.value.sending)"
    )


@pytest.mark.parametrize("clock_is_ahead_by_min", [-10, 10])
def test_phone_whose_clock_is_wrong_learns_the_time_and_whoever_edits_last_wins(phone, lot, who):
    session = str(SessionFactory(team=who.team, by=who.user, lot_id=lot, lot=None).id)
    page = ready(phone)
    page.evaluate("until(() => Math.abs(store.now() - realNow()) < 5000)")
    for other, own in (("thin", "round"), ("flat", "long")):
        edit = change("session", session, at=datetime.now(UTC).isoformat(), remarks=other)
        assert sync(who.client, [edit])["verdicts"][0]["verdict"] == "applied"
        assert Session.objects.get(id=session).remarks == other
        page.evaluate("store.sync()")
        page.evaluate(SHOWS_REMARKS, [session, other])

        page.evaluate("store.setLocal('clock_offset_ms', 0)")  # as before the phone has learned the time
        page.evaluate("([id, remarks]) => store.write([{ type: 'session', id, fields: { remarks } }])", [session, own])
        page.evaluate("until(() => store.unsent.value === 0)")
        assert Session.objects.get(id=session).remarks == own
