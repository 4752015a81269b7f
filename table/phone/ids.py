"""Ids that a phone makes: UUIDs of version 7, which sort by the moment they were made."""

import secrets
from datetime import datetime
from uuid import UUID


def new_id(moment: datetime) -> str:
    """Return a UUID of version 7 (RFC 9562, section 5.7): 48 bits of milliseconds, the rest random."""
    milliseconds = int(moment.timestamp() * 1000) & (2**48 - 1)
    random_bits = secrets.randbits(74)
    value = milliseconds << 80 | 0x7 << 76 | (random_bits >> 62) << 64 | 0b10 << 62 | random_bits & (2**62 - 1)
    return str(UUID(int=value))
