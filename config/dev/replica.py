"""An embedded replica: a second PostgreSQL that copies the first by streaming replication and answers reads."""

import os
import shutil
from collections.abc import Mapping
from pathlib import Path
from urllib.parse import urlsplit

from config.dev.home import LaunchError, make_folder
from config.dev.identity import chown_tree, data_folder, find_identity
from config.dev.postgres import Cluster, bin_folder, run_script, start_on_folder, stop_orphaned_postgres
from config.dev.process import Child, Pause, on_free_port

LOGIN = "leafspan_replication"
_MAKE_LOGIN = r"""
    SELECT format('CREATE ROLE %I LOGIN REPLICATION PASSWORD %L', :'login', :'password')
        WHERE NOT EXISTS (SELECT FROM pg_roles WHERE rolname = :'login') \gexec
"""


def start_replica(
    home: Path, *, primary_url: str, secrets: Mapping[str, str], durable: bool, pause: Pause
) -> tuple[Child, str]:
    """Copy the embedded primary into a folder of the replica alone and start it; return the process and its address.

    The copy is made anew at each start, so it never is of another primary. The address is ``primary_url``, for the same
    login, with the replica's place; ``secrets`` are those of the primary's data folder; ``durable`` and ``pause`` are
    as `config.dev.postgres.start_postgres` takes them. Raise LaunchError if it cannot be copied or started.
    """
    programs, primary = bin_folder(os.environ), urlsplit(primary_url)
    password = secrets["replication_password"]
    run_script(
        programs, _MAKE_LOGIN, values={"login": LOGIN, "password": password}, port=int(primary.port or 0),
        secrets=secrets,
    )  # fmt: skip
    stop_orphaned_postgres(data_folder(make_folder(home)))
    placement = find_identity(home, programs / "postgres")
    shutil.rmtree(placement.folder, ignore_errors=True)
    placement.folder.mkdir(mode=0o700)
    chown_tree(placement.folder, placement.owner)
    copier = Child(
        name="pg_basebackup",
        command=[str(programs / "pg_basebackup"), "-D", str(placement.folder), "-h", "127.0.0.1",
                 "-p", str(primary.port), "-U", LOGIN, "--write-recovery-conf", "--checkpoint=fast",
                 *([] if durable else ["--no-sync"])],
        env={**os.environ, "PGPASSWORD": password},
        log=home / "logs/copy.log",
        identity=placement.identity,
    )  # fmt: skip
    if copier.finish(pause) != 0:
        raise LaunchError(f"The database could not be copied.\n{copier.tail()}")
    cluster = Cluster(home=home, placement=placement, programs=programs, durable=durable)
    child, port = on_free_port(lambda port: start_on_folder(cluster, port=port, pause=pause, program="replica"))
    return child, primary._replace(netloc=primary.netloc.replace(f":{primary.port}", f":{port}")).geturl()
