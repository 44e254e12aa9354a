"""Every position that a table can reach, breadth first, with the rules checked on the way.

A state is a position with its observers: how far each required order has come since the device was last
held off, and which devices stand released. Shortest counterexamples come by themselves.
"""

from collections import deque
from collections.abc import Callable
from dataclasses import dataclass, field

from ohmward.chart.layout import Condition, holds
from ohmward.chart.safe import CORRECTED
from ohmward.chart.table import NODE_BITS, NODE_MASK, Position, Refused, Table, advance
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

    def __init__(self, asked: Obligations) -> None:
        self.orders = asked.orders
        self.devices = tuple(dict.fromkeys(r.device for r in asked.released))
        self.width = max((len(o.marks).bit_length() for o in self.orders), default=0)
        self.mask = (1 << self.width) - 1
        self.cache: dict[tuple[int, tuple[str, ...]], int] = {}

    def after(self, seen: int, marks: tuple[str, ...]) -> int:
        found = self.cache.get((seen, marks))
        if found is None:
            found = seen
            for mark in marks:
                found = self._one(found, mark)
            self.cache[(seen, marks)] = found
        return found

    def _one(self, seen: int, mark: str) -> int:
        for number, order in enumerate(self.orders):
            at = number * self.width
            done = (seen >> at) & self.mask
            if mark in {order.reset, CORRECTED}:
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


class Explorer:
    """One search over one table."""

    def __init__(self, table: Table, asked: Obligations, forget: Callable[[Position], Position]) -> None:
        self.table, self.asked, self.forget = table, asked, forget
        self.observers = _Observers(asked)
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
        skip: Callable[[str], bool] = lambda _: False,
    ) -> Explored:
        """Searches to the fixpoint, or until `most` states are known. `skip` leaves triggers out."""
        waiting: deque[State] = deque()
        for position in starts:
            self._arrive(waiting, (self.forget(position), 0), None)
        while waiting:
            state = waiting.popleft()
            if len(self.found.came) > most:
                self.found.complete = False
                break
            for trigger in self.table.packed[state[0] & NODE_MASK]:
                if not skip(trigger):
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
