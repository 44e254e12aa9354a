"""`check --drills`: rehearsals that take every move, written as answers files to fill in."""

import json
from collections.abc import Iterator
from typing import Any

from ohmward.chart.table import Table
from ohmward.proof.drills import Drill, drills_of
from ohmward.work.looking import asked_at

FILL_IN = "?"
_RELEASES = {"go-on": "go_on", "leave-out": "leave_out", "make-safe": "make_safe"}


def show_drills(tables: list[Table], *, as_json: bool) -> None:
    """Every table's drills, in the form that `work --rehearse --answers` reads once each ? is filled in."""
    plain = []
    for table in tables:
        found = drills_of(table)
        drills, moves = found.drills, len(found.moves)
        plain.append(
            {
                "procedure": table.procedure,
                "moves": moves,
                "at_least": found.least,
                "drills": [{"start": dict(d.start), "moves": list(d.moves)} for d in drills],
            }
        )
        if not as_json:
            fewer = "no fewer can" if len(drills) == found.least else f"at least {found.least} are needed"
            print(f"# {table.procedure}: {len(drills)} drills take each of {moves} moves at least once; {fewer}")
            for number, drill in enumerate(drills, 1):
                print("\n".join([f"# {table.procedure}, drill {number}", *lines_of(table, drill)]))
    if as_json:
        print(json.dumps(plain, indent=1))


def lines_of(table: Table, drill: Drill) -> Iterator[str]:
    """One drill as lines of an answers file. What is begun is begun by the answer's own line."""
    given = [f"{name.removeprefix('data ')}: {value}" for name, value in drill.start]
    if given:
        yield f"# it starts with {'; '.join(given)}"
    for node, trigger in drill.moves:
        word, _, rest = trigger.partition("@")
        if word == "found":
            yield f"- found: {json.dumps(FILL_IN)}"
        elif word in _RELEASES:
            yield f"- {_RELEASES[word]}: {json.dumps(FILL_IN)}"
        elif word == "answered":
            yield from _answer(table, node, rest)


def _answer(table: Table, node: str, rest: str) -> Iterator[str]:
    """The line of one answer: the words themselves, or how what is read, picked or named must come out."""
    steps: Any = table.data["steps"]
    name, _, outcome = rest.rpartition("=")
    step = steps.get(name)
    asked = asked_at(node) if step is None else name
    sayable = step is None or step["kind"] in {"action", "choice"} or outcome in {"cannot", "something else"}
    said = json.dumps(outcome if sayable else FILL_IN)
    more = "" if sayable else f"  # so that it comes out as: {outcome}"
    yield f"- step: {json.dumps(asked)}"
    yield f"  say: {said}{more}"
