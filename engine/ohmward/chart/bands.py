"""What the bands of a reading take, as they are written: for those who compare them and those who draw them."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any


@dataclass(frozen=True, slots=True)
class Edge:
    """A limit as written, and whether the band below it takes the limit itself."""

    text: str
    below_takes_it: bool


@dataclass(frozen=True, slots=True)
class Range:
    """What a band takes; None for no limit."""

    low: Edge | None
    high: Edge | None
    over_range: bool

    def words(self, unlimited: str) -> str:
        """In words; `unlimited` for a band without limits."""
        low = f"{'above' if self.low.below_takes_it else 'from'} {self.low.text}" if self.low else ""
        high = f"{'up to' if self.high.below_takes_it else 'below'} {self.high.text}" if self.high else ""
        said = " and ".join(part for part in (low, high) if part) or unlimited
        return f"{said}, or OL" if self.over_range else said


def ranges_of(step: Mapping[str, Any]) -> dict[str, Range]:
    """Each band of a table's step by name with what it takes; nothing for steps that are no reading."""
    made: dict[str, Range] = {}
    low: Edge | None = None
    for band in step.get("bands", ()):
        text = band.get("below") or band.get("up_to")
        high = Edge(text, "up_to" in band) if text else None
        made[band["name"]] = Range(low, high, "over_range" in band)
        low = high
    return made
