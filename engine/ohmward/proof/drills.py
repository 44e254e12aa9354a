"""Rehearsals that take every move a person can cause: few and short, one after another from the beginning.

Greedy: from where a drill stands it goes the shortest way to a move that none has taken yet, and ends where
none can be reached any more. So the set is short, and not shown to be the shortest there is.
"""

from collections import deque
from collections.abc import Callable, Iterator
from dataclasses import dataclass

from ohmward.chart.compile import starts
from ohmward.chart.table import NODE_MASK, Move, Position, Table, advance

_WORDS = frozenset({"begin", "answered", "go-on", "leave-out", "make-safe", "found"})


@dataclass(frozen=True, slots=True)
class Drill:
    """One rehearsal: the conditions by data that it starts with, and its moves up to an end."""

    start: tuple[tuple[str, str], ...]
    moves: tuple[tuple[str, str], ...]  # (node, trigger)


def caused_by_a_person(trigger: str) -> bool:
    """Whether somebody at the prompt causes it: neither a lapse, an event, a break, nor a correction."""
    return trigger.partition("@")[0] in _WORDS


def drills_of(table: Table) -> tuple[Drill, ...]:
    """A short set of drills that takes every such move that can be reached without lapses."""
    return tuple(_Drills(table).run())


def moves_of(table: Table) -> frozenset[tuple[str, str]]:
    """Every move that somebody at the prompt can cause without a lapse: (node, trigger)."""
    return frozenset(_Drills(table).every)


class _Drills:
    def __init__(self, table: Table) -> None:
        self.table = table
        self.onward: dict[Position, tuple[tuple[str, Position], ...]] = {}
        self.beginnings = starts(table)
        self.every = {(table.node(p).name, trigger) for p in self._reached() for trigger, _ in self._ways(p)}
        self.open = set(self.every)

    def run(self) -> Iterator[Drill]:
        for start in self.beginnings:
            while (way := self._nearest(start)) is not None:
                yield self._drill(start, way)

    def _drill(self, start: Position, way: list[tuple[str, str]] | None) -> Drill:
        position, made = start, list[tuple[str, str]]()
        while way is not None:
            for node, trigger in way:
                self.open.discard((node, trigger))
                position = dict(self._ways(position))[trigger]
            made += way
            way = self._nearest(position)
        made += self._to_an_end(position)
        values = self.table.values(start)
        return Drill(tuple((n, values[n]) for n in self.table.free), tuple(made))

    def _ways(self, position: Position) -> tuple[tuple[str, Position], ...]:
        known = self.onward.get(position)
        if known is None:
            found = []
            for trigger in self.table.packed[position & NODE_MASK]:
                move = advance(self.table, position, trigger) if caused_by_a_person(trigger) else None
                if isinstance(move, Move):
                    found.append((trigger, move.position))
            known = self.onward[position] = tuple(found)
        return known

    def _reached(self) -> set[Position]:
        seen = set(self.beginnings)
        waiting = list(seen)
        while waiting:
            for _, to in self._ways(waiting.pop()):
                if to not in seen:
                    seen.add(to)
                    waiting.append(to)
        return seen

    def _nearest(self, start: Position) -> list[tuple[str, str]] | None:
        """The shortest way that ends with an open move; None when none can be reached."""
        return self._search(start, lambda node, trigger: (node, trigger) in self.open)

    def _to_an_end(self, start: Position) -> list[tuple[str, str]]:
        if self.table.node(start).kind == "end":
            return []
        return self._search(start, None) or []

    def _search(
        self, start: Position, wanted: Callable[[str, str], bool] | None
    ) -> list[tuple[str, str]] | None:
        """Breadth first to a wanted move, or to an end."""
        came: dict[Position, tuple[Position, str] | None] = {start: None}
        waiting = deque([start])
        while waiting:
            position = waiting.popleft()
            node = self.table.node(position).name
            for trigger, to in self._ways(position):
                there = wanted(node, trigger) if wanted else self.table.node(to).kind == "end"
                if there:
                    return [*self._path(came, position), (node, trigger)]
                if to not in came:
                    came[to] = (position, trigger)
                    waiting.append(to)
        return None

    def _path(
        self, came: dict[Position, tuple[Position, str] | None], position: Position
    ) -> list[tuple[str, str]]:
        path = []
        while (link := came[position]) is not None:
            position, trigger = link
            path.append((self.table.node(position).name, trigger))
        return path[::-1]
