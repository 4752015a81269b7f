"""Signs a backup's manifest with the server's key, so that a changed backup is recognised."""

import os

from django.core.signing import BadSignature, Signer

from config.backup.programs import BackupError

_SALT = "leafspan.backup"
_SEPARATOR = ":"


def sign(manifest: bytes) -> str:
    """Return the HMAC-SHA-256 of a manifest with ``LEAFSPAN_SECRET_KEY``; raise BackupError if there is no key."""
    return _signer().signature(manifest.decode())


def check_signature(manifest: bytes, signature: str | None) -> None:
    """Check the signature of a manifest; None stands for a backup without one.

    Raise BackupError if it is missing or wrong, or if the environment has no key.
    """
    if signature is None:
        raise BackupError(
            "the backup is not signed. Versions before the signature wrote such backups; if you trust this file,"
            " restore it with --unsigned"
        )
    try:
        _signer().unsign(f"{manifest.decode()}{_SEPARATOR}{signature}")
    except (BadSignature, UnicodeDecodeError) as error:
        raise BackupError(
            "the signature of the backup does not fit: the file was changed, or it was made with another"
            " LEAFSPAN_SECRET_KEY. Give the key of that server; if it is lost and you trust this file, restore it with"
            " --unsigned"
        ) from error


def _signer() -> Signer:
    if not os.environ.get("LEAFSPAN_SECRET_KEY"):
        raise BackupError("a backup is signed with LEAFSPAN_SECRET_KEY: give the key that the server has")
    return Signer(salt=_SALT, sep=_SEPARATOR, algorithm="sha256")
