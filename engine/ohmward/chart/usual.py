"""The usual way through a table: nothing lapses, everybody answers what is expected. For paper and for counting."""

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from ohmward.chart.table import Move, Position, Table, advance, begin_at

MOST_ASKED = 600


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """One question on the usual way; `carried` when what is in use, named or known answers it by itself."""

    step: str
    carried: bool


def usual_way(table: Table, start: dict[str, str] | None = None) -> tuple[Asked, ...]:
    """The questions in the order in which they come, up to an end. `start` sets conditions by data."""
    steps: Any = table.data["steps"]
    known: set[tuple[str, str]] = set()
    made: list[Asked] = []
    for position in _walk(table, start or {}):
        if table.node(position).kind != "ask":
            break
        name = table.node(position).step
        step = steps[name]
        mark = _mark(step)
        made.append(Asked(step=name, carried=mark in known or bool(step.get("uses"))))
        if mark is not None:
            known.add(mark)
    return tuple(made)


def usual_end(table: Table, start: dict[str, str] | None = None) -> str:
    """The node at which the usual way ends."""
    *_, last = _walk(table, start or {})
    return table.node(last).name


def _walk(table: Table, start: dict[str, str]) -> Iterator[Position]:
    """Each position of the usual way, to the one at which nothing more is asked."""
    position = begin_at(table, start)
    yield position
    for _ in range(MOST_ASKED):
        if table.node(position).kind != "ask":
            return
        position = _answered(table, position, table.data["steps"])
        yield position


def _answered(table: Table, position: Position, steps: Any) -> Position:  # noqa: ANN401  plain data of the table
    """After the usual answer of the question that stands."""
    name = table.node(position).step
    if steps[name]["heavy"]:
        position = _after(table, position, f"begin@{name}")
    usual = next(o["name"] for o in steps[name]["outcomes"] if o["usual"])
    return _after(table, position, f"answered@{name}={usual}")


def _mark(step: dict[str, Any]) -> tuple[str, str] | None:
    """What an answer puts into use: gear in a slot, a person in a role, a fact."""
    match step["kind"]:
        case "gear":
            return "gear", step["slot"]
        case "person":
            return "person", step.get("role", "")
        case "fact":
            return "fact", step["fact"]
        case _:
            return None


def _after(table: Table, position: Position, trigger: str) -> Position:
    move = advance(table, position, trigger)
    if not isinstance(move, Move):
        raise ValueError(f"{table.node(position).name}: {trigger}: {move.why}")  # noqa: TRY004  a broken table
    return move.position
