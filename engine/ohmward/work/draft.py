"""Entries before they have their number, and refusals."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from ohmward.record.entry import Kind, Reading


@dataclass(frozen=True, slots=True, kw_only=True)
class Draft:
    """An entry before it has its number, link, time and actor."""

    kind: Kind
    trigger: str = ""
    step: str = ""
    said: str = ""
    outcome: str = ""
    instrument: str = ""
    values: tuple[Reading, ...] = ()
    taken: str = ""
    note: str = ""
    actor: str = ""  # '' is the worker
    data: Mapping[str, Any] = field(default_factory=dict)


@dataclass(frozen=True, slots=True, kw_only=True)
class Refusal:
    """It may not happen; `record` tells whether that is an entry of its own."""

    why: str
    record: bool = True


def stamp(now: datetime) -> str:
    """UTC, to the second, with `Z`."""
    return now.astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")
