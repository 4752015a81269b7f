"""A new version of the app comes while somebody tastes: it is taken only when no pot is on the table."""

import pytest

from table import shell
from tastings.models import Note
from tests.factories import LotFactory
from tests.table.taster import table_of
from tests.table.test_afternoon import pour, start

pytestmark = pytest.mark.django_db(transaction=True)
LOOK_FOR_UPDATE = """
(async () => {
  const { openStore } = await import("/static/table/data/store.js");
  globalThis.store = await openStore();
  const registration = await navigator.serviceWorker.getRegistration();
  await registration.update();
  while (!store.updateWaits.value) await new Promise((resume) => setTimeout(resume, 20));
})()
"""


def version_of(table):
    """Return the version of the page that is open."""
    return table.page.get_attribute('meta[name="leafspan-version"]', "content")


@pytest.fixture
def release(tmp_path, monkeypatch):
    """Return a function that puts a new version of the app on the server."""

    def put():
        changed = tmp_path / "service_worker.js"
        changed.write_text(shell.WORKER.read_text() + "\n")
        monkeypatch.setattr(shell, "WORKER", changed)
        monkeypatch.setattr("table.views.WORKER", changed)

    return put


def test_new_version_waits_until_no_pot_is_on_the_table(browser, network, taster, lexicon, release):
    LotFactory(team=taster.member.team, by=taster.user, name="Mist Ridge")
    with table_of(browser, network, taster) as table:
        table.page.reload()  # the service worker answers from here on
        former = version_of(table)
        start(table, "Mist Ridge")
        pour(table, steep_s=10, pour_s=8)
        table.page.fill("#free", "like rain on warm stone")
        release()
        table.page.evaluate(LOOK_FOR_UPDATE)

        assert table.page.input_value("#free") == "like rain on warm stone"
        table.page.press("#free", "Tab")
        table.page.wait_for_selector(".undo p:has-text('Text saved')")
        table.tap(".steps a", text="Pour")
        table.later(1)
        table.tap(".control")
        table.page.wait_for_selector('.control[data-phase="steeping"]')
        table.go()
        table.page.wait_for_selector(".hint:has-text('close the pots on the table first')")
        assert table.page.locator(".hint button", has_text="Take it").count() == 0
        table.page.reload()
        assert version_of(table) == former

        table.tap(".pots a", text="Mist Ridge")
        table.page.wait_for_selector('.control[data-phase="steeping"]')
        table.tap(".steps a", text="So far")
        table.tap("a.button", text="Close this pot")
        table.tap(".big button", text="Spent")
        table.tap(".hint button", text="Take it")
        assert shell.shell_version() != former
        # closing the pot may still be changing the address: wait for the page of the new version itself
        new = f'meta[name="leafspan-version"][content="{shell.shell_version()}"]'
        table.page.wait_for_selector(new, state="attached")
        table.page.wait_for_selector("h1")
        table.wait_sent()
    assert Note.objects.get().text == "like rain on warm stone"
