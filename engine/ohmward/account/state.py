"""A record as far as it was read: where the run stands, what is held, who works with what."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

from ohmward.chart.table import Position, Table
from ohmward.record.entry import Entry, Kind


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One span in which a gate was held. `lost` is empty while it still is."""

    gate: str
    since: str
    lost: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """What a run leaves behind on its equipment."""

    kind: str  # lock, temporary, trip
    name: str
    label: str
    owner: str = ""

    @property
    def words(self) -> str:
        """One line: what it is, and whose."""
        return f"{self.kind}: {self.label}" + (f" (of {self.owner})" if self.owner else "")

    def plain(self) -> dict[str, str]:
        """As reports in JSON give it."""
        return {"kind": self.kind, "what": self.label, "owner": self.owner}


@dataclass(frozen=True, slots=True, kw_only=True)
class Attended:
    """A stretch in which somebody supervised: from the entry that named them, to the one after which they did not.

    The end of the run ends it as well. A break alone does not: whoever takes the run up again is asked who has left.
    """

    person: str
    first: int
    last: int = 0  # 0: still


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A record as far as it was read. Times as the entries claim them."""

    run: str
    number: int
    time: str
    opened: Mapping[str, Any]
    table: Table
    position: Position
    worker: str
    supervisor: str = ""
    attended: tuple[Attended, ...] = ()
    second: str = ""
    vouched: frozenset[str] = (
        frozenset()
    )  # who was named as supervising right after they had signed it, and is still here
    proved: frozenset[str] = frozenset()  # who has shown their own key since the last hand-over
    slots: Mapping[str, str] = field(default_factory=dict)
    locks: Mapping[str, tuple[str, ...]] = field(default_factory=dict)
    spans: tuple[Held, ...] = ()
    entries: tuple[Entry, ...] = ()
    answered: tuple[str, ...] = ()
    begun: str = ""
    shift: str = ""
    shift_length: int = 36000
    impossible: str = ""
    table_digest: str = ""

    @property
    def node(self) -> str:
        return self.table.node(self.position).name

    @property
    def ended(self) -> bool:
        return self.table.node(self.position).kind == "end"

    @property
    def rehearsal(self) -> bool:
        return bool(self.opened["rehearsal"])

    @property
    def by_key(self) -> bool:
        """Whether people sign this run with their keys: real runs do, since there are keys."""
        return self.opened.get("signed") is True

    @property
    def steps(self) -> Mapping[str, Any]:
        steps: Mapping[str, Any] = self.table.data["steps"]  # type: ignore[assignment]
        return steps

    @property
    def opened_at(self) -> str:
        return self.entries[0].time

    @property
    def bad(self) -> frozenset[str]:
        """What was found bad in this run stays out of use in it. Source: 29 CFR 1910.334(c)(2)."""
        return frozenset(
            e.said for e in self.entries if e.kind is Kind.LOST and e.note.endswith(" found bad")
        )

    def unsigned(self, person: str) -> tuple[Entry, ...]:
        """What happened since a person signed last."""
        last = max((e.number for e in self.entries if e.kind is Kind.SIGNED and e.actor == person), default=0)
        return self.entries[last:]

    @property
    def held(self) -> dict[str, Held]:
        """The gates held now."""
        return {span.gate: span for span in self.spans if not span.lost}

    def is_held(self, gate: str) -> bool:
        return self.table.value(self.position, f"gate {gate}") == "held"
