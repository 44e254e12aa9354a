"""What comes from outside: the clocks, chance, the device's name."""

import os
import socket
import time
from datetime import UTC, datetime


def utc_now() -> datetime:
    """The clock, read at the edge."""
    return datetime.now(UTC)


def device_name() -> str:
    """The computer's own claim of its name."""
    return "".join(c if c.isalnum() or c in "-." else "-" for c in socket.gethostname())[:40]


def ticks() -> float:
    """Seconds of a clock that never goes back."""
    return time.monotonic()


def random_bytes(count: int) -> bytes:
    """From the system's own source."""
    return os.urandom(count)
