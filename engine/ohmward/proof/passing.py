"""Which of the procedure's steps everybody passes before an end, or before a deed that raises the hazard.

Over every order of answers in which nothing lapses, is interrupted or corrected. A step that all pass is a
promise: `bump` is never begun before `area clear` was answered. Losing one shows in no single step.
"""

from collections import deque
from typing import Any

from ohmward.chart.compile import starts, uninterrupted
from ohmward.chart.table import NODE_MASK, Move, Position, Table, advance


def passed_by_all(table: Table) -> dict[str, frozenset[str]]:
    """`end NAME` and `beginning NAME` to the steps that lie on every way there."""
    steps: Any = table.data["steps"]
    bit = {name: 1 << number for number, name in enumerate(steps)}
    passed: dict[Position, int] = dict.fromkeys(starts(table), 0)
    waiting = deque(passed)
    found: dict[str, int] = {}
    while waiting:
        position = waiting.popleft()
        for place in _places(table, position, steps):
            found[place] = found.get(place, -1) & passed[position]
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger) if uninterrupted(trigger) else None
            if not isinstance(move, Move):
                continue
            word, _, rest = trigger.partition("@")
            mark = bit.get(rest.partition("=")[0], 0) if word == "answered" else 0
            after = passed.get(move.position, -1) & (passed[position] | mark)
            if after != passed.get(move.position):
                passed[move.position] = after
                waiting.append(move.position)
    return {place: frozenset(n for n, b in bit.items() if seen & b) for place, seen in found.items()}


def _places(table: Table, position: Position, steps: Any) -> tuple[str, ...]:  # noqa: ANN401  plain data
    node = table.node(position)
    if node.kind == "end":
        return (node.name,)
    raises = node.kind == "ask" and steps[node.step]["begun"]
    return (f"beginning {node.step}",) if raises else ()
