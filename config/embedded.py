"""The servers of a ``make run`` that runs beside a command typed into another shell."""

from collections.abc import MutableMapping

from config.dev.home import home_from
from config.dev.services import running


def use_running_servers(environ: MutableMapping[str, str]) -> None:
    """Put the addresses and the key of a running ``make run`` into the environment, where it does not name its own.

    ``LEAFSPAN_HOME`` says which one. Nothing changes when both servers are named, or when none runs.
    """
    if environ.get("DATABASE_URL") and environ.get("REDIS_URL"):
        return
    if servers := running(home_from(environ)):
        environ.update({name: value for name, value in servers.addresses().items() if not environ.get(name)})
