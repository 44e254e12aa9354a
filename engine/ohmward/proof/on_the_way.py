"""What must lie on every way between two things of a procedure: somebody beside an open box, a lock after trouble, a look after a trip."""

import re
from collections.abc import Iterator, Mapping
from typing import Any, NamedTuple

from ohmward.chart.plan import Leads
from ohmward.chart.table import Table
from ohmward.errors import BrokenError
from ohmward.language.models import OnTheWay, Rule
from ohmward.language.steps import taken_with
from ohmward.proof.after_answer import leads_of, not_answered, where_not_held, with_asked

BEGAN = "the run began"
END, HELD_END, LOOSE_END = "an end", "an end held off", "an end not held off"
ENDS = frozenset({END, HELD_END, LOOSE_END})
IN_PLACE = " is in place"
GATE, READING = "gate ", "reading "
_IT = re.compile(r"\bit\b")


_State = tuple[str, int]  # a step or an end, and how much was passed


class _From(NamedTuple):
    """Where a way begins: its words, what it is about (a temporary, with the cover of the box that it is in), what comes next."""

    words: str
    it: frozenset[str]
    following: tuple[str, ...]


def unpassed(table: Table, rule: Rule) -> Iterator[tuple[str, str]]:
    """(step, what is wrong) for each beginning of a way that leaves out what must lie on it: in a line, then the shortest way."""
    data: Any = table.data
    for asked in rule.on_the_way:
        if asked.asks_for is not None and asked.asks_for not in data["facts"]:
            continue
        walk = _Walk(table, asked)
        for name in data["order"]:
            for begin in _begins(data, name, asked):
                wrong = walk.without(begin)
                if wrong:
                    yield name, f"{begin.words} {wrong}"


def _begins(data: Any, name: str, asked: OnTheWay) -> Iterator[_From]:  # noqa: ANN401  plain data of the table
    """The answers and the effects of one step from which a way begins."""
    step = data["steps"][name]
    if BEGAN in asked.after and name == data["order"][0]:
        yield _From("the run's beginning", frozenset(), (name,))
    following = [(o, tuple(leads_of(data, name, o))) for o in step["outcomes"] if o["leads"] == Leads.ON.value]
    after = tuple(n for _, names in following for n in names)
    for effect in step["begun"]:
        yield from _effect(data, name, effect, asked, (*after, *not_answered(data, name)))
    for effect in step["confirmed"]:
        yield from _effect(data, name, effect, asked, after)
    stopped = not_answered(data, name, over=False)  # what an answer reports may be so although nobody answered
    for outcome, names in following:
        told = f"'{outcome['name']}' to '{step['prompt']}'"
        if outcome["name"] in asked.after:
            yield _From(told, frozenset(), names)
        for effect in outcome["effects"]:
            yield from (one._replace(words=told) for one in _effect(data, name, effect, asked, (*names, *stopped)))


def _effect(data: Any, name: str, effect: str, asked: OnTheWay, following: tuple[str, ...]) -> Iterator[_From]:  # noqa: ANN401
    verb = next((a for a in asked.after if effect.startswith(f"{a} ")), "")
    if verb:
        it = effect.removeprefix(f"{verb} ")
        box = data["places"].get(data["temporary"].get(it, {}).get("at", ""), {})
        words = f"'{effect}' in '{data['steps'][name]['prompt']}'"
        yield _From(words, frozenset({it, *((box["cover"],) if "cover" in box else ())}), following)


class _Walk:
    """Steps of the procedure as they can follow each other, with the marks that each answer leaves."""

    def __init__(self, table: Table, asked: OnTheWay) -> None:
        data: Any = table.data
        self.asked, self.data = asked, data
        self.marks = _left_by_answers(table)
        self.landings = {name: self._landings(name) for name in self.data["order"]}

    def _landings(self, name: str) -> tuple[str, ...]:
        """Where gates that a step needs send whoever cannot hold them."""
        keys = with_asked(self.data, self.data["steps"][name]["needs"])
        return tuple(n for key in keys for n in where_not_held(self.data, key) if n)

    def without(self, begin: _From) -> str:
        """Where the shortest way leads that leaves out what must lie on it, as words; '' for no such way."""
        came: dict[_State, tuple[str, ...]] = {(name, 0): () for name in begin.following if name}
        line = list(came)
        for name, passed in line:
            if name not in self.landings and name not in self.data["ends"]:
                raise BrokenError(f"'{name}' is neither a step nor an end of this table")
            if self._arrived(name) and passed < len(self.asked.passes):
                told = f"leads to {self._named(name)} without '{self.asked.passes[passed]}'"
                return "\n".join((told, *came[name, passed]))
            for state, words in self._on(name, passed, begin.it) if name in self.landings else ():
                if state not in came:
                    came[state] = (*came[name, passed], self._told(name, words))
                    line.append(state)
        return ""

    def _told(self, name: str, words: str) -> str:
        """One step of a way, with the line of its file."""
        step = self.data["steps"][name]
        return f"{words} '{' '.join(step['prompt'].split())}' ({step['file']}:{step['line']})"

    def _named(self, name: str) -> str:
        end = self.data["ends"].get(name)
        return f"the end '{end['title']}'" if end is not None else f"'{self.data['steps'][name]['prompt']}'"

    def _arrived(self, name: str) -> bool:
        """Whether this is what the way leads to: a kind of end, an effect, a reading, or a step that needs a gate."""
        end: Mapping[str, Any] | None = self.data["ends"].get(name)
        if end is not None:
            off = "held off" in end["leaves"].values()
            return not ENDS.isdisjoint(self.asked.to) and (END in self.asked.to or (HELD_END if off else LOOSE_END) in self.asked.to)
        step = self.data["steps"][name]
        gates = {GATE + self.data["gates"][key]["gate"] for key in with_asked(self.data, step["needs"])}
        reads = {READING + f for f in taken_with(step.get("function"), step.get("functions", ()))}
        does = {word for word in self.asked.to if any(e.startswith(f"{word} ") for e in step["begun"])}
        return not {*gates, *reads, *does}.isdisjoint(self.asked.to)

    def _on(self, name: str, passed: int, it: frozenset[str]) -> Iterator[tuple[_State, str]]:
        """The steps that can follow, each with how; what is passed over because a thing is not in place cannot be while it is."""
        step = self.data["steps"][name]
        own = _in_place(step) in it
        for outcome in step["outcomes"]:
            if outcome["leads"] == Leads.ON.value:
                known = self._counted(name, outcome["name"], passed, it)
                yield from (((to, known), f"answers '{outcome['name']}' to") for to in leads_of(self.data, name, outcome) if to)
        yield from (((to, passed), "cannot hold what is needed for") for to in self.landings[name])
        yield from (((to, passed), "is interrupted in, or passes over") for to in not_answered(self.data, name, over=not own))

    def _counted(self, name: str, outcome: str, passed: int, it: frozenset[str]) -> int:
        """How much was passed once this was answered; what is asked of another box says nothing of this one."""
        other = _in_place(self.data["steps"][name])
        elsewhere = bool(other) and bool(it) and other not in it
        for mark in self.marks.get(f"{name}={outcome}", ()):
            if passed < len(self.asked.passes) and not elsewhere and _is(mark, self.asked.passes[passed], it):
                passed += 1
        return passed


def _left_by_answers(table: Table) -> dict[str, tuple[str, ...]]:
    """The marks that an answer leaves at least, in time or late, wherever it leads on."""
    left: dict[str, tuple[str, ...]] = {}
    on = {(r.trigger.partition("@")[2], r.to) for r in table.rows if r.trigger.startswith("answered@")}
    for row in table.rows:
        word, _, answer = row.trigger.partition("@")
        if word in {"answered", "answered-late"} and (answer, row.to) in on:
            left[answer] = min(left.get(answer, row.marks), row.marks, key=len)
    return left


def _in_place(step: Mapping[str, Any]) -> str:
    """The temporary that must be in place for a step to be asked; '' for none."""
    when = str(step.get("when", ""))
    return when.removesuffix(IN_PLACE) if when.endswith(IN_PLACE) else ""


def _is(mark: str, wanted: str, it: frozenset[str]) -> bool:
    """Whether a mark is one of the words: an evidence tag, an effect on anything, or on `it`."""
    words = wanted.split(" or ")
    named = {_IT.sub(one, w) for w in words for one in it} | {w for w in words if not _IT.search(w)}
    return any(mark == w or mark.startswith(f"{w} ") for w in named)
