"""The moves inside a gate's routine: how rules over routines walk from its start to held."""

from collections.abc import Callable, Iterable, Iterator
from typing import Any

from ohmward.chart.table import Table

NOT_HELD = frozenset({"fail", "repeat"})  # where an answer leads so that its gate is not held by it


def leaving(table: Table, node: str) -> Iterator[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    """By itself, begin, and answers in time: (node, marks, answer). Kept answers count as given before."""
    for row in table.rows:
        if row.at != node:
            continue
        word, _, answer = row.trigger.partition("@")
        if word in {"", "begin", "answered"}:
            to = table.nodes[table.index[node]].name if row.to == "=" else row.to
            yield to, row.marks, ((answer,) if word == "answered" else ())


def told(key: str, path: Iterable[str]) -> str:
    """A path of answers within a gate's routine, in the names that its file has for the steps."""
    answers = (answer.removeprefix(f"{key}.").partition("=") for answer in path)
    return ", then ".join(f"{step} '{outcome}'" for step, _, outcome in answers)


def way_to_held(
    table: Table, key: str, counted: Callable[[int, str, str], int], wrong: Callable[[int], bool]
) -> tuple[str, ...] | None:
    """The shortest path of answers from a routine's start to held whose count is wrong there; None for none.

    `counted` takes the count so far, one mark of the path, in order, and the step whose answer it is ('' for none).
    """
    data: Any = table.data
    first = f"enter {data['gates'][key]['steps'][0]}"
    line: list[tuple[str, int, tuple[str, ...]]] = [(first, 0, ())]
    seen: set[tuple[str, int]] = set()
    for node, count, path in line:
        if (node, count) in seen:
            continue
        seen.add((node, count))
        if node == f"held {key}":
            if wrong(count):
                return path
            continue
        for to, marks, words in leaving(table, node):
            after = count
            step = words[0].partition("=")[0] if words else ""
            for mark in marks:
                after = counted(after, mark, step)
            line.append((to, after, (*path, *words)))
    return None


def answer_reaches_held(table: Table, key: str, step: str, answer: str, *, again: bool) -> bool:
    """Whether a gate can be held after an answer to a step of its routine, without the gate being asked for anew.

    `again`: the routine may be begun again from its first step, where everything is asked.
    """
    data: Any = table.data
    first = f"enter {data['gates'][key]['steps'][0]}"
    line = [r.to for r in table.rows if r.trigger == f"answered@{step}={answer}"]
    if first in line and not again:
        return True
    for node in line:
        if node == f"held {key}":
            return True
        if node != first and not node.startswith("fail "):
            line += [to for to, _, _ in leaving(table, node) if to not in line]
    return False


def way_past(table: Table, key: str, steps: list[str]) -> tuple[str, ...] | None:
    """The shortest path of answers from a routine's start to held on which none of these steps is asked; None for none."""
    asked = {f"ask {step}" for step in steps}
    data: Any = table.data
    line: list[tuple[str, tuple[str, ...]]] = [(f"enter {data['gates'][key]['steps'][0]}", ())]
    seen = {line[0][0]}
    for node, path in line:
        if node == f"held {key}":
            return path
        for to, _, words in leaving(table, node):
            if to not in seen and to not in asked and not to.startswith("fail "):
                seen.add(to)
                line.append((to, (*path, *words)))
    return None
