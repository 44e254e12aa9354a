"""What must lie on every way between two things of a procedure: somebody beside an open box, a lock after trouble, a look after a trip.

Steps are taken as they can follow each other, whatever is so when they do. Corrections are not walked: one leads back
only to where things can stand as they do then, and to making safe from everywhere else; and an answer that is
corrected was not given.
"""

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from ohmward.chart.table import Table
from ohmward.errors import BrokenError
from ohmward.language.effects import LOWERING, RAISING, REPORTED
from ohmward.language.models import OnTheWay, Rule
from ohmward.language.steps import taken_with
from ohmward.proof.after_answer import leads_of, not_answered, where_not_held, with_asked
from ohmward.proof.leaving import NOT_HELD
from ohmward.proof.machine import behind, driving, is_off, of_machine

BEGAN = "the run began"
END, HELD_END, LOOSE_END = "an end", "an end held off", "an end not held off"
ENDS = frozenset({END, HELD_END, LOOSE_END})
ALL_OFF = "everything is held off"
IN_PLACE = " is in place"
GATE, READING = "gate ", "reading "
VERBS = frozenset({**RAISING, **LOWERING, **REPORTED})
IT = re.compile(r"\bit\b")


class _From(NamedTuple):
    """Where a way begins: its words, what it is about (a temporary, with the cover of the box that it is in), the circuits
    that must be off, and what comes next."""

    words: str
    it: frozenset[str]
    circuits: frozenset[str]
    following: tuple[str, ...]


class _State(NamedTuple):
    """A step or an end, how much was passed, and the devices that were held off on the way where that is asked."""

    name: str
    passed: int = 0
    held: frozenset[str] = frozenset()


def unpassed(table: Table, rule: Rule) -> Iterator[tuple[str, str]]:
    """(step, what is wrong) for each beginning of a way that leaves out what must lie on it: in a line, then the shortest way."""
    data: Any = table.data
    for asked in rule.on_the_way:
        elsewhere = asked.only_in and table.procedure not in asked.only_in
        if elsewhere or (asked.asks_for is not None and asked.asks_for not in data["facts"]):
            continue
        walk = _Walk(table, asked)
        for name, begin in _Begins(data, asked).found():
            wrong = walk.without(begin)
            if wrong:
                yield name, f"{begin.words} {wrong}"


class _Begins:
    """The answers and the effects of a procedure, and of the gates that it needs, from which the ways of one demand begin."""

    def __init__(self, data: Any, asked: OnTheWay) -> None:  # noqa: ANN401  plain data of the table
        self.data, self.asked = data, asked
        self.machine = of_machine(data)
        self.needing: dict[str, list[str]] = {}
        for name in data["order"]:
            for key in with_asked(data, data["steps"][name]["needs"]):
                self.needing.setdefault(key, []).append(name)

    def found(self) -> Iterator[tuple[str, _From]]:
        """(step, beginning)."""
        first = self.data["order"][0]
        if BEGAN in self.asked.after:
            yield first, _From("the run's beginning", frozenset(), self.machine, (first,))
        if "temporary" in self.data["accepts"]:
            yield from ((first, begin) for begin in self._from_before(first))
        for name, step in self.data["steps"].items():
            yield from ((name, begin) for begin in self._of_step(name, step))

    def _from_before(self, first: str) -> Iterator[_From]:
        """What another run may have left in place."""
        for name, temporary in self.data["temporary"].items():
            verb = "uncover" if temporary["kind"] == "guard" else "fit"
            words = f"'{temporary['label']}' from an earlier run"
            yield from self._effect(f"{verb} {name}", words, (first,))

    def _of_step(self, name: str, step: Mapping[str, Any]) -> Iterator[_From]:
        prompt = step["prompt"]
        ways = [(outcome, self._after(name, step, outcome)) for outcome in step["outcomes"]]
        every = tuple(n for _, names in ways for n in names)
        stopped = () if step["owner"] else tuple(not_answered(self.data, name, over=False))
        for effect in (*step["begun"], *step["confirmed"]):
            yield from self._effect(effect, f"'{effect}' in '{prompt}'", (*every, *stopped))
        for outcome, names in ways:
            told = f"'{outcome['name']}' to '{prompt}'"
            if outcome["name"] in self.asked.after:
                yield _From(told, frozenset(), self.machine, names)
            for effect in outcome["effects"]:  # what an answer reports may be so although nobody answered
                yield from self._effect(effect, told, (*names, *stopped))

    def _after(self, name: str, step: Mapping[str, Any], outcome: Mapping[str, Any]) -> tuple[str, ...]:
        """Where an answer leads; one in a gate to where it leads when it is not held, and where it may be, to the steps that need it."""
        owner = step["owner"]
        if not owner:
            return tuple(leads_of(self.data, name, outcome))
        if outcome["then"] in NOT_HELD:
            return tuple(where_not_held(self.data, owner))
        return (*self.needing.get(owner, ()), *where_not_held(self.data, owner))

    def _effect(self, effect: str, words: str, following: tuple[str, ...]) -> Iterator[_From]:
        verb = next((a for a in self.asked.after if effect.startswith(f"{a} ")), "")
        if verb:
            it = effect.removeprefix(f"{verb} ")
            temporary = self.data["temporary"].get(it)
            cover = self.data["places"].get((temporary or {}).get("at", ""), {}).get("cover")
            about = frozenset({it} if cover is None else {it, cover})
            circuits = self.machine if temporary is None else behind(self.data, temporary) or driving(self.data, temporary)
            yield _From(words, about, circuits, following)


class _Walk:
    """Steps of the procedure as they can follow each other, with the marks that each answer leaves."""

    def __init__(self, table: Table, asked: OnTheWay) -> None:
        data: Any = table.data
        self.asked, self.data = asked, data
        self.marks, self.late = _left_by_answers(table)
        self.landings = {name: tuple(self._landings(name)) for name in data["order"]}

    def _landings(self, name: str) -> Iterator[tuple[str, str]]:
        """(where, title) for each gate that a step needs: where it sends whoever cannot hold it."""
        for key in with_asked(self.data, self.data["steps"][name]["needs"]):
            title = self.data["gates"][key]["title"]
            yield from ((to, title) for to in where_not_held(self.data, key) if to)

    def without(self, begin: _From) -> str:
        """Where the shortest way leads that leaves out what must lie on it, as words; '' for no such way."""
        came: dict[_State, tuple[str, ...]] = {_State(name): () for name in begin.following if name}
        line = list(came)
        for state in line:
            if state.name not in self.landings and state.name not in self.data["ends"]:
                raise BrokenError(f"'{state.name}' is neither a step nor an end of this table")
            if state.passed < len(self.asked.passes) and self._arrived(state.name, begin.circuits):
                told = f"leads to {self._named(state.name)} without '{self.asked.passes[state.passed]}'"
                return "\n".join((told, begin.words, *came[state]))
            for to, words in self._on(state, begin) if state.name in self.landings else ():
                if to.name and to not in came:
                    came[to] = (*came[state], self._told(state.name, words))
                    line.append(to)
        return ""

    def _told(self, name: str, words: str) -> str:
        """One step of a way, with the line of its file."""
        step = self.data["steps"][name]
        return f"{words} '{' '.join(step['prompt'].split())}' ({step['file']}:{step['line']})"

    def _named(self, name: str) -> str:
        end = self.data["ends"].get(name)
        return f"the end '{end['title']}'" if end is not None else f"'{self.data['steps'][name]['prompt']}'"

    def _arrived(self, name: str, circuits: frozenset[str]) -> bool:
        """Whether this is what the way leads to: a kind of end, an effect, a reading, or a step that needs a gate."""
        end = self.data["ends"].get(name)
        if end is not None:
            held = {c for c, how in end["leaves"].items() if how == "held off"}
            off = bool(circuits) and all(is_off(self.data, c, circuits=held) for c in circuits)
            return not {END, HELD_END if off else LOOSE_END}.isdisjoint(self.asked.to)
        keys = with_asked(self.data, self.data["steps"][name]["needs"])
        steps = [self.data["steps"][n] for n in (name, *(s for k in keys for s in self.data["gates"][k]["steps"]))]
        gates = {GATE + self.data["gates"][key]["gate"] for key in keys}
        reads = {READING + f for step in steps for f in taken_with(step.get("function"), step.get("functions", ()))}
        does = {word for word in self.asked.to for step in steps if any(e.startswith(f"{word} ") for e in step["begun"])}
        return not {*gates, *reads, *does}.isdisjoint(self.asked.to)

    def _on(self, state: _State, begin: _From) -> Iterator[tuple[_State, str]]:
        """What can follow, each with how; what is passed over because a thing is not in place cannot be while it is."""
        name, step = state.name, self.data["steps"][state.name]
        for outcome in step["outcomes"]:
            known = self._counted(state, outcome["name"], begin)
            late = " (late: a gate was lost meanwhile)" if f"{name}={outcome['name']}" in self.late else ""
            yield from ((known._replace(name=to), f"answers '{outcome['name']}'{late} to") for to in leads_of(self.data, name, outcome))
        over = _in_place(step) not in begin.it
        yield from ((state._replace(name=to), f"cannot hold '{gate}', which is needed for") for to, gate in self.landings[name])
        yield from ((state._replace(name=to), "is interrupted in, or passes over") for to in not_answered(self.data, name, over=over))

    def _counted(self, state: _State, outcome: str, begin: _From) -> _State:
        """How much was passed once this was answered; what is asked of another box says nothing of this one."""
        other = _about(self.data["steps"][state.name])
        passed, held = state.passed, state.held
        for mark in self.marks.get(f"{state.name}={outcome}", ()):
            held = held | {mark.removeprefix("hold off ")} if mark.startswith("hold off ") else held
            if other and begin.it and not other & begin.it:
                continue
            if passed < len(self.asked.passes) and self._is(mark, self.asked.passes[passed], held, begin):
                passed += 1
        return _State(state.name, passed, held if ALL_OFF in self.asked.passes else frozenset())

    def _is(self, mark: str, wanted: str, held: frozenset[str], begin: _From) -> bool:
        """Whether a mark is one of the words: an evidence tag, an effect on anything, one on `it`, or all off with it."""
        if wanted == ALL_OFF:
            return bool(begin.circuits) and all(is_off(self.data, c, devices=held) for c in begin.circuits)
        words = wanted.split(" or ")
        named = {IT.sub(one, w) for w in words for one in begin.it} | {w for w in words if not IT.search(w)}
        return mark in named or any(mark.startswith(f"{verb} ") for verb in named & VERBS)


def _left_by_answers(table: Table) -> tuple[dict[str, tuple[str, ...]], set[str]]:
    """The marks that an answer leaves at least, in time or late, wherever it leads on; and of which late leaves less."""
    left: dict[str, tuple[str, ...]] = {}
    late: set[str] = set()
    on = {(r.trigger.partition("@")[2], r.to) for r in table.rows if r.trigger.startswith("answered@")}
    for row in table.rows:
        word, _, answer = row.trigger.partition("@")
        if word in {"answered", "answered-late"} and (answer, row.to) in on:
            known = left.get(answer, row.marks)
            left[answer] = min(known, row.marks, key=len)
            if word == "answered-late" and len(row.marks) < len(known):
                late.add(answer)
    return left, late


def _in_place(step: Mapping[str, Any]) -> str:
    """The temporary that must be in place for a step to be asked; '' for none."""
    when = str(step.get("when", ""))
    return when.removesuffix(IN_PLACE) if when.endswith(IN_PLACE) else ""


def _about(step: Mapping[str, Any]) -> frozenset[str]:
    """The temporaries that a question speaks of: by when it is asked, and by what its answers put back."""
    put_back = (e.partition(" ") for o in step["outcomes"] for e in o["effects"])
    named = {thing for verb, _, thing in put_back if verb == "cover"}
    return frozenset(named | ({_in_place(step)} - {""}))
