"""An object store for trying out and tests: moto's server of the S3 protocol, which keeps objects in memory."""

import os
import sys
from http.client import HTTPConnection, HTTPException
from pathlib import Path

from config.dev.process import Child, Pause, on_free_port, start_and_wait

BUCKET = "tea"
_SERVE = "from moto.server import main; main()"


def start_object_store(home: Path, *, pause: Pause, identity: str = "self") -> tuple[Child, dict[str, str]]:
    """Start the store with an empty bucket; return process and environment for photos, or raise LaunchError."""

    def start(port: int) -> Child:
        child = Child(
            name="object store",
            command=[sys.executable, "-c", _SERVE, "-H", "127.0.0.1", "-p", str(port)],
            env={**os.environ, "HOME": str(home), "PYTHONWARNINGS": "ignore"},
            log=home / "logs/object-store.log",
            identity=identity,
        )
        start_and_wait(child, ready=lambda: _makes_bucket(port), pause=pause)
        return child

    child, port = on_free_port(start)
    return child, {
        "LEAFSPAN_PHOTO_BUCKET": f"s3://{BUCKET}/photos",
        "AWS_ENDPOINT_URL": f"http://127.0.0.1:{port}",
        "AWS_REGION": "us-east-1",
        "AWS_ACCESS_KEY_ID": "leaf",
        "AWS_SECRET_ACCESS_KEY": "leaf",
        "AWS_ALLOW_HTTP": "true",
    }


def _makes_bucket(port: int) -> bool:
    connection = HTTPConnection("127.0.0.1", port, timeout=5)
    try:
        connection.request("PUT", f"/{BUCKET}")
        return connection.getresponse().status == 200
    except (OSError, HTTPException):
        return False
    finally:
        connection.close()
