"""What a search keeps beside a position: how far each required order has come, and which devices stand released."""

from ohmward.chart.layout import ALWAYS, holds
from ohmward.chart.table import CHECK, NODE_BITS, STAY, Position, Table
from ohmward.proof.obligations import Obligations

State = tuple[Position, int]


class Observers:
    """Packs the progress of every order (two bits per mark are plenty) and one bit per released device."""

    def __init__(self, table: Table, asked: Obligations) -> None:
        self.orders = asked.orders
        self.devices = tuple(dict.fromkeys(r.device for r in asked.released))
        self.width = max((len(o.marks).bit_length() for o in self.orders), default=0)
        self.mask = (1 << self.width) - 1
        self.moot = [
            (
                table.layout.being(f"order {o.device}", "interrupted", "corrected"),
                ~(self.mask << (n * self.width)),
            )
            for n, o in enumerate(self.orders)
            if f"order {o.device}" in table.layout.values
        ]
        self.cache: dict[tuple[int, tuple[str, ...]], int] = {}

    def after(self, seen: int, marks: tuple[str, ...], bits: int) -> int:
        """What is known after a move that left `marks` and led to a position with these bits."""
        return self._needed(self._after(seen, marks) if marks else seen, bits)

    def _after(self, seen: int, marks: tuple[str, ...]) -> int:
        found = self.cache.get((seen, marks))
        if found is None:
            found = seen
            for mark in marks:
                found = self._one(found, mark)
            self.cache[(seen, marks)] = found
        return found

    def _needed(self, seen: int, bits: int) -> int:
        """Progress that no closing can rest on is forgotten: where the table closes nothing before a new hold-off."""
        for when, keep in self.moot:
            if holds(when, bits):
                seen &= keep
        return seen

    def _one(self, seen: int, mark: str) -> int:
        for number, order in enumerate(self.orders):
            at = number * self.width
            done = (seen >> at) & self.mask
            if mark == order.reset:
                seen &= ~(self.mask << at)
            elif done < len(order.marks) and mark == order.marks[done]:
                seen += 1 << at
        for number, device in enumerate(self.devices):
            bit = 1 << (len(self.orders) * self.width + number)
            if mark in {f"release {device}", f"close {device}"}:
                seen |= bit
            elif mark in {f"hold off {device}", f"stands held off {device}"}:
                seen &= ~bit
        return seen

    def lacking(self, seen: int, before: str) -> tuple[str, str] | None:
        """The first order that is not complete before a mark: rule and the mark that is missing."""
        for number, order in enumerate(self.orders):
            done = (seen >> (number * self.width)) & self.mask
            if order.before == before and done < len(order.marks):
                return order.rule, order.marks[done]
        return None

    def released(self, seen: int, device: str) -> bool:
        """Whether a device stands released, and was not held off since."""
        number = self.devices.index(device)
        return bool(seen >> (len(self.orders) * self.width + number) & 1)


class Anywhere:
    """Moves that are the same wherever a run waits: corrections.

    Such a row belongs to a whole kind of node, leads to a fixed one, and overwrites some variables whatever
    they were. Two states that differ only in those go the same way, so the second need not try it. Exact:
    no condition of these rows reads what they overwrite (else nothing is overwritten here).
    """

    def __init__(self, table: Table) -> None:
        rows = [r for r in table.rows if r.at == "any ask" and r.to not in {STAY, CHECK}]
        stops = {"unsafe", "emergency"}
        rows = [r for r in rows if r.trigger not in stops and r.when == ALWAYS]
        self.triggers = frozenset(r.trigger for r in rows)
        written: set[str] | None = None
        read = 0
        for row in rows:
            sure = {name for a in row.assigns if a.when == ALWAYS for name, _ in a.values}
            written = sure if written is None else written & sure
            for cube in (c for a in row.assigns for c in a.when):
                read |= cube
        spans = [table.layout.span(name) for name in written or ()]
        self.mask = ~sum(span for span in spans if not span & read)
        self.done: set[tuple[int, int]] = set()

    def again(self, state: State) -> bool:
        """Whether these moves were tried from a state that does not differ for them."""
        key = ((state[0] >> NODE_BITS) & self.mask, state[1])
        known = key in self.done
        self.done.add(key)
        return known
