"""Rehearsals that take every move a person can cause: few and short, one after another from the beginning.

From where a drill stands it goes to the open move after which the fewest other open ones are out of reach, the
nearest of those; it ends where none can be reached any more. Drills whose moves all others take are left out. Not
shown to be the fewest there are: beside them stands a number below which no set can go (`cover`).
"""

from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property

from ohmward.chart.compile import starts
from ohmward.chart.table import NODE_MASK, Move, Position, Table, advance
from ohmward.errors import BrokenError
from ohmward.proof.cover import ahead_of, fewest

_WORDS = frozenset({"begin", "answered", "go-on", "leave-out", "make-safe", "found"})
_Way = list[tuple[str, str]]  # (node, trigger), in order


@dataclass(frozen=True, slots=True)
class Drill:
    """One rehearsal: the conditions by data that it starts with, and its moves up to an end."""

    start: tuple[tuple[str, str], ...]
    moves: tuple[tuple[str, str], ...]  # (node, trigger)


@dataclass(frozen=True, slots=True)
class Drills:
    """The drills of one table, and how few any set that takes all these moves must have."""

    drills: tuple[Drill, ...]
    moves: frozenset[tuple[str, str]]
    least: int


def caused_by_a_person(trigger: str) -> bool:
    """Whether somebody at the prompt causes it: neither a lapse, an event, a break, nor a correction."""
    return trigger.partition("@")[0] in _WORDS


def drills_of(table: Table) -> Drills:
    """A short set of drills that takes every such move that can be reached without lapses."""
    moves = _Moves(table)
    numbered = {p: [(moves.number[m], to) for m, to in ways] for p, ways in moves.onward.items()}
    ahead = ahead_of(numbered)
    drills = _needed(tuple(_Walks(moves, ahead).drills()))
    return Drills(drills, frozenset(moves.number), fewest(len(moves.number), numbered, ahead))


def _needed(drills: Sequence[Drill]) -> tuple[Drill, ...]:
    """Without those whose every move others take; the shortest are looked at first."""
    takes: dict[tuple[str, str], int] = {}
    for drill in drills:
        for move in set(drill.moves):
            takes[move] = takes.get(move, 0) + 1
    left = set(range(len(drills)))
    for number in sorted(left, key=lambda n: (len(drills[n].moves), n)):
        mine = set(drills[number].moves)
        if all(takes[move] > 1 for move in mine):
            left.discard(number)
            for move in mine:
                takes[move] -= 1
    return tuple(drills[n] for n in sorted(left))


class _Moves:
    """Every position that people's moves reach, and what they can cause there as ((node, trigger), target)."""

    def __init__(self, table: Table) -> None:
        self.table = table
        self.beginnings = starts(table)
        self.onward: dict[Position, tuple[tuple[tuple[str, str], Position], ...]] = {}
        waiting = list(self.beginnings)
        while waiting:
            position = waiting.pop()
            if position not in self.onward:
                self.onward[position] = tuple(self._ways(position))
                waiting += [to for _, to in self.onward[position]]
        self.number = {m: n for n, m in enumerate(sorted({m for w in self.onward.values() for m, _ in w}))}

    def _ways(self, position: Position) -> Iterator[tuple[tuple[str, str], Position]]:
        node = self.table.node(position).name
        for trigger in self.table.packed[position & NODE_MASK]:
            move = advance(self.table, position, trigger) if caused_by_a_person(trigger) else None
            if isinstance(move, Move):
                yield (node, trigger), move.position

    @cached_property
    def ends(self) -> frozenset[Position]:
        return frozenset(p for p in self.onward if self.table.node(p).kind == "end")


class _Walks:
    """Makes drills until no move is open."""

    def __init__(self, moves: _Moves, ahead: dict[Position, int]) -> None:
        self.moves, self.ahead = moves, ahead
        self.open = (1 << len(moves.number)) - 1

    def drills(self) -> Iterator[Drill]:
        table = self.moves.table
        for start in self.moves.beginnings:
            values = table.values(start)
            while self.open & self.ahead[start]:
                yield Drill(tuple((n, values[n]) for n in table.free), tuple(self._drill(start)))

    def _drill(self, position: Position) -> _Way:
        made: _Way = []
        while self.open & self.ahead[position]:
            way, position = self._next(position)
            for move in way:
                self.open &= ~(1 << self.moves.number[move])
            made += way
        return made + self._to_an_end(position)

    def _next(self, start: Position) -> tuple[_Way, Position]:
        """The way to the best open move, and where it leads. Breadth first: of equal ones the nearest."""
        came: dict[Position, tuple[Position, tuple[str, str]] | None] = {start: None}
        waiting = deque([start])
        most = (self.ahead[start] & self.open).bit_count() - 1  # all but the move itself stay in reach
        best, found = -1, None
        while waiting and best < most:
            position = waiting.popleft()
            for move, to in self.moves.onward[position]:
                mine = self.open & 1 << self.moves.number[move]
                left = (self.ahead[to] & self.open & ~mine).bit_count() if mine else -1
                if left > best:
                    best, found = left, (position, move, to)
                if to not in came and self.ahead[to] & self.open:
                    came[to] = (position, move)
                    waiting.append(to)
        if found is None:
            raise BrokenError("a move that is ahead cannot be reached")
        position, move, to = found
        return [*_path(came, position), move], to

    def _to_an_end(self, start: Position) -> _Way:
        """The shortest way; nothing where a drill stands at an end, or where no move leads to one."""
        came: dict[Position, tuple[Position, tuple[str, str]] | None] = {start: None}
        for position in (waiting := [start]):
            if position in self.moves.ends:
                return _path(came, position)
            for move, to in self.moves.onward[position]:
                if to not in came:
                    came[to] = (position, move)
                    waiting.append(to)
        return []


def _path(came: dict[Position, tuple[Position, tuple[str, str]] | None], position: Position) -> _Way:
    path: _Way = []
    while (link := came[position]) is not None:
        position, move = link
        path.append(move)
    return path[::-1]
