"""A real worker sets a document that a browser waits for."""

from tests.factories import LotFactory, TeamFactory, person
from tests.sync.test_refresh import wait_for, worker

__all__ = ["worker"]  # a fixture


def test_a_worker_sets_what_is_asked_for(worker):
    who = person(TeamFactory(), "taster")
    lot = LotFactory(team=who.team, by=who.user, name="Mist Ridge")
    for address in (f"/lots/{lot.id}/report.pdf", f"/lots/{lot.id}/card.pdf?lang=de"):
        wait_for(lambda address=address: who.client.get(address).status_code == 200)
        assert who.client.get(address).content[:5] == b"%PDF-"
