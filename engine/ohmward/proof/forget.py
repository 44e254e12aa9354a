"""What nothing ahead reads is forgotten: two positions that differ only there are one.

Backward data flow over (node, what is bound). A variable is alive where some row ahead, a consequence of
something alive, or a rule reads it before it is set. Exact for verdicts: a dead variable decides nothing.
"""

from abc import ABC, abstractmethod
from collections.abc import Callable, Iterator, Mapping
from functools import cache

from ohmward.chart.layout import all_of
from ohmward.chart.table import NODE_BITS, NODE_MASK, Position, Table
from ohmward.errors import BrokenError
from ohmward.proof.obligations import Obligations

Place = tuple[int, int]  # node, bit of what is bound
_Edge = tuple[int, int, int, tuple[tuple[int, int], ...], Place]  # reads, sets, -, (assigned, reads), target


def _spans(table: Table, cubes: tuple[int, ...]) -> int:
    read = all_of(cubes)
    return sum(span for span in table.layout.spans if read & span)


def _edges(table: Table, place: Place, placing: Callable[[int, int], Place]) -> list[_Edge]:
    """The rows that can leave a place, as what they read, set and where they lead."""
    node, bound = place
    bound_span = table.layout.span("bound")
    edges: list[_Edge] = []
    for rows in table.packed[node].values():
        for when, assigns, target, _ in rows:
            if not any(not cube & bound for cube in when):
                continue
            sets, bound_after = 0, bound
            partly: list[tuple[int, int]] = []
            for condition, keep, put in assigns:
                touched = ~keep
                if condition == (0,):
                    sets |= touched
                    bound_after = put & bound_span or bound_after
                else:
                    partly.append((touched, _spans(table, condition)))
            edges.append((_spans(table, when), sets, 0, tuple(partly), placing(target, bound_after)))
    return edges


def _closing(table: Table) -> Callable[[int], int]:
    """A function that adds what the consequences read to decide something alive."""
    steps = [(~keep, _spans(table, condition)) for condition, keep, _ in reversed(table.packed_consequences)]

    @cache
    def closed(alive: int) -> int:
        for assigned, read in steps:
            if alive & assigned:
                alive |= read
        return alive

    return closed


def _binding(table: Table) -> frozenset[int]:
    """The nodes from which something ahead reads what is bound, before it is set: elsewhere it is forgotten."""
    span = table.layout.span("bound")
    into: dict[int, set[int]] = {}
    alive: set[int] = set()
    if any(cube & span for when, _, _ in table.packed_consequences for cube in when):
        return frozenset(range(len(table.nodes)))
    for number, offered in enumerate(table.packed):
        for when, assigns, target, _ in (row for rows in offered.values() for row in rows):
            conditions = (when, *(a[0] for a in assigns))
            if any(cube & span for condition in conditions for cube in condition):
                alive.add(number)
            if not any(condition == (0,) and ~keep & span for condition, keep, _ in assigns):
                into.setdefault(target, set()).add(number)
    waiting = list(alive)
    while waiting:
        more = into.get(waiting.pop(), set()) - alive
        alive |= more
        waiting += more
    return frozenset(alive)


def _placing(table: Table) -> Callable[[int, int], Place]:
    """The place of a node and the position's bits: nothing counts as bound where nobody asks."""
    span = table.layout.span("bound")
    nothing = table.layout.pack({}) & span
    binding = _binding(table)

    def placing(node: int, bits: int) -> Place:
        return node, bits & span if node in binding else nothing

    return placing


def alive_at(table: Table, starts: list[Position], reads: Mapping[int, int]) -> dict[Place, int]:
    """For each reachable place the bits of the variables that something ahead reads. `reads`: rules, by node."""
    bound_span = table.layout.span("bound")
    placing = _placing(table)
    close = _closing(table)
    edges: dict[Place, list[_Edge]] = {}
    waiting = [placing(p & NODE_MASK, p >> NODE_BITS) for p in starts]
    back: dict[Place, set[Place]] = {}
    while waiting:
        place = waiting.pop()
        if place in edges:
            continue
        edges[place] = _edges(table, place, placing)
        for edge in edges[place]:
            back.setdefault(edge[4], set()).add(place)
            waiting.append(edge[4])
    alive = dict.fromkeys(edges, bound_span)
    changed = set(edges)
    while changed:
        place = changed.pop()
        new = bound_span | close(reads.get(place[0], 0))
        for read, sets, _, partly, target in edges[place]:
            after = close(alive[target])
            new |= read | (after & ~sets)
            for touched, extra in partly:
                new |= extra if touched & after else 0
        if new != alive[place]:
            alive[place] = new
            changed |= back.get(place, set())
    return alive


class Forget(ABC):
    """What is forgotten where: decided by the node and some bits, whatever else a position holds."""

    def __call__(self, position: Position) -> Position:
        """The position without what nothing ahead of it reads."""
        bits, node = position >> NODE_BITS, position & NODE_MASK
        keep, put = self.masks(node, bits)
        return Position((bits & keep | put) << NODE_BITS | node)

    @abstractmethod
    def reads(self, node: int) -> int:
        """The bits that decide what is forgotten at a node."""

    @abstractmethod
    def masks(self, node: int, bits: int) -> tuple[int, int]:
        """What is kept of a position's bits at a node, and what is put."""


class Everything(Forget):
    """Keeps everything."""

    def reads(self, node: int) -> int:  # noqa: ARG002  the same at every node
        """Nothing decides it."""
        return 0

    def masks(self, node: int, bits: int) -> tuple[int, int]:  # noqa: ARG002  the same for all bits
        """All is kept."""
        return -1, 0


class Forgetting(Forget):
    """Sets everything that nothing ahead reads to its value at rest."""

    def __init__(self, table: Table, alive: Mapping[Place, int]) -> None:
        self.table, self.binding = table, _binding(table)
        self.span = table.layout.span("bound")
        rest = table.layout.pack({})
        self.nothing = rest & self.span
        self.places = {place: (bits, rest & ~bits) for place, bits in alive.items()}

    def reads(self, node: int) -> int:
        """Only what is bound, where something ahead reads it."""
        return self.span if node in self.binding else 0

    def masks(self, node: int, bits: int) -> tuple[int, int]:
        """Kept is what something ahead reads; the rest is put to its value at rest."""
        if node in self.binding:
            return self.places[node, bits & self.span]
        keep, put = self.places[node, self.nothing]
        return keep & ~self.span, put | self.nothing

    def told(self) -> Iterator[tuple[int, str, tuple[str, ...]]]:
        """Node, what is bound (empty: whatever that is), and the variables that are set to rest there."""
        layout = self.table.layout
        bound = {layout.bit("bound", value): value for value in layout.values["bound"]}
        for (node, bit), (keep, _) in sorted(self.places.items()):
            names = [v.name for v in layout.variables if not keep & layout.span(v.name)]
            if node in self.binding:
                yield node, bound[bit], tuple(names)
            else:
                yield node, "", ("bound", *names)


def forgetter(table: Table, starts: list[Position], reads: Mapping[int, int]) -> Forgetting:
    """What may be forgotten on the way from these beginnings. `reads`: what rules read, by node."""
    return Forgetting(table, alive_at(table, starts, reads))


def reads_by_node(table: Table, asked: Obligations) -> dict[int, int]:
    """The bits that checks read, by node: what the proof must not forget."""
    reads: dict[int, int] = {}
    for check in asked.checks:
        if check.node not in table.index:
            raise BrokenError(f"a rule watches the node '{check.node}', which this table does not have")
        number = table.index[check.node]
        for cube in check.must:
            spans = sum(span for span in table.layout.spans if cube & span)
            reads[number] = reads.get(number, 0) | spans
    return reads
