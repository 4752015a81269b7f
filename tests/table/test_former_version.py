"""What an earlier version of the app has stored on the phone is read by this one, and what was not sent is sent."""

from uuid import uuid4

import pytest

from tastings.models import Infusion, Session
from tests.factories import FlightFactory
from tests.table.browser import OPEN_STORE

pytestmark = pytest.mark.django_db(transaction=True)
SINCE = "2026-11-01T10:00:00.000000Z"
STORE_AS_VERSION_1 = """
async ({ account, stores }) => {
  const open = (name, make) => new Promise((resolve, reject) => {
    const request = indexedDB.open(name, 1);
    request.onupgradeneeded = () => make(request.result);
    request.onerror = () => reject(request.error);
    request.onsuccess = () => resolve(request.result);
  });
  const put = (db, name, rows) => new Promise((resolve, reject) => {
    const tx = db.transaction(name, "readwrite");
    for (const [key, value] of rows) tx.objectStore(name).put(value, key);
    tx.onabort = () => reject(tx.error);
    tx.oncomplete = resolve;
  });
  const registry = await open("leafspan", (db) => db.createObjectStore("accounts"));
  await put(registry, "accounts", [["current", account]]);
  registry.close();
  const db = await open(`leafspan ${account.team} ${account.user}`, (db) => {
    for (const name of Object.keys(stores)) db.createObjectStore(name);
  });
  for (const [name, rows] of Object.entries(stores)) await put(db, name, rows);
  db.close();
}
"""
"""The first version kept records without an index, the current account alone, and flights as a list of the API."""


def test_store_of_the_first_version_with_unsent_changes_is_taken_over(phone, who, lot):
    flight = FlightFactory(team=who.team)
    device, session, infusion = (str(uuid4()) for _ in range(3))
    pot = {"lot": lot, "started_at": SINCE, "leaf_g": 5, "vessel_ml": 110}
    pour = {"session": session, "number": 1, "steep_s": 12, "kettle_c": 95}
    changes = [("session", session, pot), ("infusion", infusion, pour), ("infusion", infusion, {"steep_s": 14})]
    unsent = [
        {"number": n, "begins": n < 3, "problems": [],
         "change": {"type": type_name, "id": record, "at": f"{SINCE[:-2]}{n}Z", "seq": n, "fields": fields}}
        for n, (type_name, record, fields) in enumerate(changes, start=1)
    ]  # fmt: skip
    meta = {"device": device, "token": who.token, "cursor": 0, "last_at": unsent[-1]["change"]["at"], "number": 3}
    flights = [{"id": str(flight.id), "name": flight.name, "state": flight.state}]
    seen = {"type": "lot", "id": lot, "fields": {"name": "Mist Ridge"}, "revision": 1, "by": None, "seen_in": 0}
    stores = {
        "meta": list((meta | {"full_pass": 0, "in_full_pass": False, "version": 9}).items()),
        "records": [[lot, seen]],
        "outbox": [[one["number"], one] for one in unsent],
        "refused": [], "confirmed": [], "photos": [], "bytes": [], "local": [["table", [session]]],
        "answers": [["flights", flights]],
    }  # fmt: skip
    names = {"name": "Ina", "teamName": who.team.name, "shop": None, "role": "taster", "language": "en"}
    account = {"user": str(who.user.id), "team": str(who.team.id)} | names

    page = phone.context.new_page()
    page.goto(f"{phone.url}/table/manifest.webmanifest")
    page.evaluate(STORE_AS_VERSION_1, {"account": account, "stores": stores})
    page.route("**/api/v1/**", lambda route: route.abort())
    phone.open_in(page)
    assert page.evaluate("[store.unsent.value, store.local('table').value]") == [3, [session]]
    assert page.evaluate("(id) => store.rowsOf('infusion', id).map((row) => row.fields.steep_s)", session) == [14]
    assert page.evaluate("[...store.rows('lot').value.keys(), ...store.flights.value.keys()]") == [lot, str(flight.id)]

    page.unroute("**/api/v1/**")
    page.reload()
    page.evaluate(OPEN_STORE)
    page.evaluate("until(() => store.unsent.value === 0 && store.link.value.lastSync)")
    assert (str(Session.objects.get().id), Infusion.objects.get().steep_s) == (session, 14)
    assert page.evaluate("store.rows('lot').value.size") == 1
