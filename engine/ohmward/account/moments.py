"""Claimed times as moments."""

from datetime import UTC, datetime


def moment(text: str) -> datetime:
    """A claimed time as UTC. Raises ValueError for text that is none."""
    read = datetime.fromisoformat(text)
    if read.tzinfo is None:
        raise ValueError(f"'{text}' lacks its time zone")
    return read.astimezone(UTC)
