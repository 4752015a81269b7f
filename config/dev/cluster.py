"""Leafspan as on several machines: two web servers and two workers that share no folder, a replica, an object store.

For trying out and for tests, all on this machine. Database, broker and timetable are there once, as under ``make run``.
"""

import tempfile
from collections.abc import Mapping
from pathlib import Path

from config.dev.home import load_secrets
from config.dev.object_store import start_object_store
from config.dev.program_identity import find_program_identity
from config.dev.replica import start_replica
from config.dev.services import Running, note_beside
from config.dev.supervisor import Options, Supervisor, print_line
from config.dev.web import Address, take_address

MACHINES = ("machine-1", "machine-2")
"""Folders below the data folder, one for the web server and the worker of each machine."""

_GIVEN = ("DATABASE_URL", "REDIS_URL")
"""Settings that a cluster ignores, since it has servers of its own."""


def run_cluster(environ: Mapping[str, str]) -> int:
    """Run all of it until a stop signal, on ``LEAFSPAN_HOME`` or else a folder that is deleted in the end.

    Return 0 after a stop signal, 1 when the start failed.
    """
    options = Options.of({name: value for name, value in environ.items() if name not in _GIVEN})
    if home := environ.get("LEAFSPAN_HOME"):
        return ClusterSupervisor(Path(home).expanduser().absolute(), options).run()
    with tempfile.TemporaryDirectory(prefix="leafspan-cluster-") as folder:
        return ClusterSupervisor(Path(folder), options).run()


class ClusterSupervisor(Supervisor):
    """Starts two of web server and worker, and what they share."""

    _at_the_end = "Ctrl-C stops everything; the photos, which are in memory, end with it."

    def __init__(self, home: Path, options: Options) -> None:
        super().__init__(home, options)
        port = options.port
        self._second = take_address(None if port is None else port + 1)

    def _start_programs(self, address: Address, servers: Running) -> None:
        shared = self._start_beside(servers)
        addresses = (address, self._second)
        machines = [
            self._long_running(place, servers, home=self._home / name, more_env=shared)
            for place, name in zip(addresses, MACHINES, strict=True)
        ]
        self._start_supervised(*(child for web, worker, _ in machines for child in (web, worker)))
        for place in addresses:
            self._wait_until_ready(place)
        self._start_supervised(machines[0][2])  # there is one timetable

    def _start_beside(self, servers: Running) -> dict[str, str]:
        """Start object store and replica; return the environment that leads to them."""
        folder = self._home / "object-store"
        identity = find_program_identity(self._home, [folder])
        store, environment = start_object_store(folder, pause=self._pause, identity=identity)
        self._supervise_server(store)
        note_beside(self._home, environment)  # where commands find the photos
        replica, url = start_replica(
            self._home / "replica", primary_url=servers.web_database_url, secrets=load_secrets(self._home),
            durable=True, pause=self._pause,
        )  # fmt: skip
        self._supervise_server(replica)
        return environment | {"DATABASE_REPLICA_URL": url}

    def _print_url(self, address: Address) -> None:
        print_line(f"The second web server runs on {self._second.url}")
        super()._print_url(address)
