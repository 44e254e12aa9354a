"""The table of moves, and `advance`: the one place that says where a trigger leads.

A position is one integer: the node in the low 12 bits, the variables' bits above. A row belongs to one
node or, as `any KIND`, to every node of a kind. `to` is a node, `=` (stay) or `@check` (the node's own
check of what it needs). Nodes that do not wait go on by themselves through rows whose trigger is empty.
"""

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import NewType

from ohmward.chart.layout import Condition, Layout, holds

Position = NewType("Position", int)
NODE_BITS = 12
NODE_MASK = (1 << NODE_BITS) - 1
MOST_HOPS = 64
STAY, CHECK = "=", "@check"


@dataclass(frozen=True, slots=True)
class Assign:
    """Sets variables where `when` holds."""

    when: Condition
    values: tuple[tuple[str, str], ...]


@dataclass(frozen=True, slots=True, kw_only=True)
class Row:
    """One move. `marks` are the evidence tags and effects it stands for, in order, for rules and stories."""

    at: str
    trigger: str
    when: Condition
    to: str
    assigns: tuple[Assign, ...] = ()
    marks: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True, kw_only=True)
class Node:
    """Where a run can stand. `waits` is false for nodes that go on by themselves."""

    name: str
    kind: str
    step: str = ""
    check: str = ""
    waits: bool = True


@dataclass(frozen=True, slots=True)
class Refused:
    """The trigger does not move this position, and why."""

    why: str


@dataclass(frozen=True, slots=True)
class Move:
    """A taken move: where it led, and the marks it left on the way."""

    position: Position
    marks: tuple[str, ...]


Packed = tuple[Condition, tuple[tuple[Condition, int, int], ...], int, tuple[str, ...]]


@dataclass(frozen=True)
class Table:
    """The whole chart. `steps`, `gates`, `declared` are plain data for the readers of the table."""

    procedure: str
    revision: int
    layout: Layout
    nodes: tuple[Node, ...]
    rows: tuple[Row, ...]
    consequences: tuple[Assign, ...]
    start: Mapping[str, str]
    free: tuple[str, ...]
    data: Mapping[str, object] = field(hash=False)

    @cached_property
    def index(self) -> dict[str, int]:
        return {node.name: number for number, node in enumerate(self.nodes)}

    @cached_property
    def packed(self) -> list[dict[str, tuple[Packed, ...]]]:
        """Per node: trigger to rows, packed for speed."""
        by_node: list[dict[str, list[Packed]]] = [{} for _ in self.nodes]
        kinds: dict[str, list[int]] = {}
        for number, node in enumerate(self.nodes):
            kinds.setdefault(node.kind, []).append(number)
        for row in self.rows:
            places = kinds.get(row.at[4:], []) if row.at.startswith("any ") else [self.index[row.at]]
            assigns = tuple(self._pack(a) for a in row.assigns)
            for number in places:
                target = self._target(row.to, number)
                by_node[number].setdefault(row.trigger, []).append((row.when, assigns, target, row.marks))
        return [{t: tuple(rows) for t, rows in triggers.items()} for triggers in by_node]

    def __post_init__(self) -> None:
        if len(self.nodes) > NODE_MASK + 1:
            raise ValueError(f"{len(self.nodes)} nodes; at most {NODE_MASK + 1} fit into a position")

    @cached_property
    def waiting(self) -> tuple[bool, ...]:
        return tuple(node.waits for node in self.nodes)

    @cached_property
    def packed_consequences(self) -> tuple[tuple[Condition, int, int], ...]:
        return tuple(self._pack(a) for a in self.consequences)

    def _target(self, to: str, number: int) -> int:
        if to == STAY:
            return number
        return self.index[self.nodes[number].check if to == CHECK else to]

    def _pack(self, assign: Assign) -> tuple[Condition, int, int]:
        clear = put = 0
        for name, value in assign.values:
            clear |= self.layout.span(name)
            put |= self.layout.bit(name, value)
        return assign.when, ~clear, put

    def node(self, position: Position) -> Node:
        return self.nodes[position & NODE_MASK]

    def values(self, position: Position) -> dict[str, str]:
        return self.layout.read(position >> NODE_BITS)

    def value(self, position: Position, name: str) -> str:
        return self.layout.value(position >> NODE_BITS, name)

    def place(self, node: str, values: Mapping[str, str]) -> Position:
        return Position(self.layout.pack(values) << NODE_BITS | self.index[node])

    def offered(self, position: Position) -> tuple[str, ...]:
        """The triggers that mean something here."""
        return tuple(self.packed[position & NODE_MASK])


def begin_at(table: Table, values: Mapping[str, str]) -> Position:
    """The first position of a run whose free variables have `values`."""
    wrong = [name for name in values if name not in table.free]
    if wrong:
        raise ValueError(f"a run of {table.procedure} cannot start with {', '.join(wrong)} set")
    position = table.place(table.nodes[0].name, {**table.start, **values})
    move = settle(table, _consequences(table, position >> NODE_BITS), position & NODE_MASK, ())
    if isinstance(move, Refused):
        raise ValueError(move.why)  # noqa: TRY004  a table that cannot start is a broken table
    return move.position


def _consequences(table: Table, bits: int) -> int:
    for when, keep, put in table.packed_consequences:
        for cube in when:
            if not bits & cube:
                bits = bits & keep | put
                break
    return bits


def advance(table: Table, position: Position, trigger: str) -> Move | Refused:
    """Where `trigger` leads from `position`. Pure; never raises for a position of this table."""
    rows = table.packed[position & NODE_MASK].get(trigger)
    if rows is None or not trigger:
        return Refused("not offered")
    row = _enabled(rows, position >> NODE_BITS)
    if row is None:
        return Refused("no row is enabled")
    _, assigns, target, marks = row
    return settle(table, _assigned(table, position >> NODE_BITS, assigns), target, marks)


def _enabled(rows: tuple[Packed, ...], bits: int) -> Packed | None:
    """The enabled row. That there is exactly one was checked when the table was compiled or read."""
    for row in rows:
        for cube in row[0]:
            if not bits & cube:
                return row
    return None


def _assigned(table: Table, bits: int, assigns: tuple[tuple[Condition, int, int], ...]) -> int:
    if not assigns:
        return bits
    for when, keep, put in assigns:
        if holds(when, bits):
            bits = bits & keep | put
    return _consequences(table, bits)


def settle(table: Table, bits: int, node: int, marks: tuple[str, ...]) -> Move | Refused:
    """Goes on through nodes that do not wait."""
    for _ in range(MOST_HOPS):
        if table.waiting[node]:
            return Move(Position(bits << NODE_BITS | node), marks)
        row = _enabled(table.packed[node].get("", ()), bits)
        if row is None:
            return Refused(f"{table.nodes[node].name} leads nowhere")
        _, assigns, node, new = row
        bits = _assigned(table, bits, assigns)
        marks += new
    return Refused(f"more than {MOST_HOPS} moves by themselves")
