"""Every position that a table can reach, breadth first, with the rules checked on the way.

A state is a position with its observers: how far each required order has come since the device was last
held off, and which devices stand released. Shortest counterexamples come by themselves.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from ohmward.chart.layout import ALWAYS, Condition, holds
from ohmward.chart.table import CHECK, NODE_BITS, NODE_MASK, STAY, Position, Refused, Table, advance
from ohmward.errors import BrokenError
from ohmward.proof.obligations import Obligations

State = tuple[Position, int]
MOST_STATES = 3_000_000


@dataclass(frozen=True, slots=True, kw_only=True)
class Breach:
    """A rule broken: where, and the triggers that lead there."""

    rule: str
    words: str
    path: tuple[str, ...]
    start: Position
    at: str
    trigger: str


@dataclass(slots=True)
class Explored:
    """What the search found. `came` maps a state to its predecessor and the trigger between them."""

    came: dict[State, tuple[State, str] | None] = field(default_factory=dict)
    breaches: dict[str, Breach] = field(default_factory=dict)
    moves: int = 0
    complete: bool = True

    @property
    def positions(self) -> set[Position]:
        return {position for position, _ in self.came}

    def path_to(self, state: State) -> tuple[Position, tuple[str, ...]]:
        """The start and the triggers of a shortest way to a state."""
        triggers: list[str] = []
        while (link := self.came[state]) is not None:
            state, trigger = link
            triggers.append(trigger)
        return state[0], tuple(reversed(triggers))


class _Observers:
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

    def after(self, seen: int, marks: tuple[str, ...]) -> int:
        found = self.cache.get((seen, marks))
        if found is None:
            found = seen
            for mark in marks:
                found = self._one(found, mark)
            self.cache[(seen, marks)] = found
        return found

    def needed(self, seen: int, bits: int) -> int:
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
        number = self.devices.index(device)
        return bool(seen >> (len(self.orders) * self.width + number) & 1)


class _Anywhere:
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


class Explorer:
    """One search over one table."""

    def __init__(self, table: Table, asked: Obligations, forget: Callable[[Position], Position]) -> None:
        self.table, self.asked, self.forget = table, asked, forget
        self.observers = _Observers(table, asked)
        self.anywhere = _Anywhere(table)
        self.found = Explored()
        self.at_node: dict[int, list[tuple[Condition, str, str]]] = {}
        self.at_move: dict[tuple[int, str], list[tuple[Condition, str, str]]] = {}
        for check in asked.checks:
            number = table.index[check.node]
            item = (check.must, check.rule, check.words)
            if check.trigger:
                self.at_move.setdefault((number, check.trigger), []).append(item)
            else:
                self.at_node.setdefault(number, []).append(item)
        self.begins = {f"begin@{n}": tuple(s["begun"]) for n, s in table.data["steps"].items()}  # type: ignore[attr-defined]

    def run(
        self,
        starts: list[Position],
        *,
        most: int = MOST_STATES,
        until: str = "",
    ) -> Explored:
        """Searches to the fixpoint, until `most` states are known, or until the rule `until` is broken."""
        waiting: deque[State] = deque()
        for position in starts:
            self._arrive(waiting, (self.forget(position), 0), None)
        while waiting:
            state = waiting.popleft()
            if len(self.found.came) > most or until in self.found.breaches:
                self.found.complete = False
                break
            asking = self.table.node(state[0]).kind == "ask"
            known = self.anywhere.triggers if asking and self.anywhere.again(state) else frozenset()
            for trigger in self.table.packed[state[0] & NODE_MASK]:
                if trigger not in known:
                    self._take(waiting, state, trigger)
        return self.found

    def _take(self, waiting: deque[State], state: State, trigger: str) -> None:
        position, seen = state
        self.found.moves += 1
        self._before(state, trigger)
        move = advance(self.table, position, trigger)
        if isinstance(move, Refused):
            raise BrokenError(f"{self.table.node(position).name}: {trigger}: {move.why}")
        after = self.observers.after(seen, move.marks) if move.marks else seen
        after = self.observers.needed(after, move.position >> NODE_BITS)
        self._arrive(waiting, (self.forget(move.position), after), (state, trigger))

    def _arrive(self, waiting: deque[State], state: State, link: tuple[State, str] | None) -> None:
        if state in self.found.came:
            return
        self.found.came[state] = link
        waiting.append(state)
        position, seen = state
        bits = position >> NODE_BITS
        for must, rule, words in self.at_node.get(position & NODE_MASK, ()):
            if not holds(must, bits):
                self._breach(rule, words, state, "")
        node = self.table.node(position)
        if node.kind == "end":
            for item in self.asked.released:
                if node.name in item.nodes and self.observers.released(seen, item.device):
                    self._breach(item.rule, f"{item.device} is held off again", state, "")

    def _before(self, state: State, trigger: str) -> None:
        for must, rule, words in self.at_move.get((state[0] & NODE_MASK, trigger), ()):
            if not holds(must, state[0] >> NODE_BITS):
                self._breach(rule, words, state, trigger)
        for effect in self.begins.get(trigger, ()):
            lacking = self.observers.lacking(state[1], effect)
            if lacking is not None:
                self._breach(lacking[0], f"'{lacking[1]}' before '{effect}'", state, trigger)

    def _breach(self, rule: str, words: str, state: State, trigger: str) -> None:
        if rule in self.found.breaches:
            return
        start, path = self.found.path_to(state)
        self.found.breaches[rule] = Breach(
            rule=rule, words=words, path=path, start=start, at=self.table.node(state[0]).name, trigger=trigger
        )
