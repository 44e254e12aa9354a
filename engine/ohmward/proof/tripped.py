"""Trips that nobody answered for at an end in service, where a procedure closes nothing itself.

Every position is looked at where something is closed. Elsewhere a trip is somebody else's, told by the record and asked
again at the next visit; an answer of the procedure's own must not lead from it to an end in service all the same.
"""

from collections import deque
from collections.abc import Iterator, Mapping

from ohmward.chart.compile import starts, uninterrupted
from ohmward.chart.table import NODE_MASK, Move, Position, Table, advance
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.proof.demands import NOTHING_WRONG
from ohmward.proof.explore import Breach

_Link = tuple[Position, str] | None


def left_tripped(table: Table, rules: Mapping[str, Source[Rule]]) -> Iterator[Breach]:
    """The shortest such way for each rule that speaks of it, over answers in which nothing goes wrong."""
    speaking = [name for name, source in rules.items() if NOTHING_WRONG in source.model.must]
    found = _first(table) if speaking else None
    if found is not None:
        position, path, start = found
        for rule in speaking:
            yield Breach(rule=rule, words=NOTHING_WRONG, path=path, start=start, at=table.node(position).name, trigger="")


def _first(table: Table) -> tuple[Position, tuple[str, ...], Position] | None:
    came: dict[Position, _Link] = dict.fromkeys(starts(table))
    waiting = deque(came)
    while waiting:
        position = waiting.popleft()
        if _is_left(table, position):
            return _path(came, position)
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger) if uninterrupted(trigger) else None
            if isinstance(move, Move) and move.position not in came:
                came[move.position] = (position, trigger)
                waiting.append(move.position)
    return None


def _is_left(table: Table, position: Position) -> bool:
    node = table.node(position)
    ends: Mapping[str, Mapping[str, Mapping[str, str]]] = table.data["ends"]  # type: ignore[assignment]
    leaves = ends.get(node.name.removeprefix("end "), {}).get("leaves", {}) if node.kind == "end" else {}
    values = table.values(position) if "live" in leaves.values() else {}
    return any(name.startswith("trip ") and value == "unanswered" for name, value in values.items())


def _path(came: Mapping[Position, _Link], position: Position) -> tuple[Position, tuple[str, ...], Position]:
    path: list[str] = []
    at = position
    while (link := came[at]) is not None:
        at, trigger = link
        path.append(trigger)
    return position, tuple(reversed(path)), at
