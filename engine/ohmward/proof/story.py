"""A counterexample as a numbered story in the steps' own words, with file and line, rule, basis, remedy."""

from dataclasses import dataclass
from typing import Any

from ohmward.chart.table import Move, Position, Table, advance
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.proof.explore import Breach

_GATE = "gates held: "


@dataclass(frozen=True, slots=True, kw_only=True)
class Story:
    """One way to harm, told."""

    rule: str
    says: str
    basis: tuple[str, ...]
    status: str
    lines: tuple[str, ...]
    lacking: str
    standing: tuple[str, ...]
    where: str
    remedy: str

    @staticmethod
    def plain(table: Table, code: str, problem: str, remedy: str) -> "Story":
        """A fault of the whole chart, without a path."""
        return Story(
            rule=code,
            says=problem,
            basis=(),
            status="ours",
            lines=(),
            lacking="",
            standing=(),
            where=table.procedure,
            remedy=remedy,
        )

    def render(self) -> str:
        """As text."""
        head = [f"{self.where}: {self.rule}: {self.says}"]
        head += [f"  {number:>2}. {line}" for number, line in enumerate(self.lines, 1)]
        if self.lacking:
            head.append(f"      what must be so here and is not: {self.lacking}")
        if self.standing:
            head.append(f"      how things stand then: {'; '.join(self.standing)}")
        if self.basis:
            head.append(f"      basis ({self.status}): {'; '.join(self.basis)}")
        head.append(f"      remedy: {self.remedy}")
        return "\n".join(head)


def tell(table: Table, rule: Source[Rule], breach: Breach) -> Story:
    """The shortest path to a breach as a story; quick answers of one routine are drawn together."""
    lines: list[str] = []
    position: Position = breach.start
    for trigger in breach.path:
        words = _words(table, trigger)
        if words and not (lines and lines[-1] == words):
            lines.append(words)
        move = advance(table, position, trigger)
        position = move.position if isinstance(move, Move) else position
    if breach.trigger:
        lines.append(_words(table, breach.trigger))
    step = _step(table, breach.at)
    where = f"{step['file']}:{step['line']}" if step else table.procedure
    return _story(rule.model, _together(lines), breach.words, where, _standing(table, position))


def tell_routine(table: Table, rule: Source[Rule], key: str, words: str) -> Story:
    """A rule over a routine or over a procedure's own step, broken by a gate or by `step NAME`; the way to it first, where there is one."""
    data: Any = table.data
    step = data["steps"].get(key.removeprefix("step "))
    where = data["gates"][key]["file"] if step is None else f"{step['file']}:{step['line']}"
    what, *way = words.split("\n")
    return _story(rule.model, (*way, what), "", str(where))


def _standing(table: Table, position: Position) -> tuple[str, ...]:
    """The conditions that matter to who reads it: handles, what is in place, trips, what was found live or charged."""
    values = table.values(position)
    data: Any = table.data
    labels = {n: x["label"] for group in ("devices", "sources", "temporary") for n, x in data[group].items()}
    rest = {"temporary": "not there", "trip": "none", "found": "as held", "moving": "still"}
    made = []
    for name, value in values.items():
        kind, _, thing = name.partition(" ")
        if kind in {"device", "stored"} or value != rest.get(kind, value):
            what = labels.get(thing, thing)
            made.append(f"{what} may turn" if value == "turning" else what if value == "in place" else f"{what} {value}")
    return tuple(made)


def _story(
    rule: Rule, lines: tuple[str, ...], lacking: str, where: str, standing: tuple[str, ...] = ()
) -> Story:
    return Story(
        rule=rule.rule,
        says=rule.says,
        basis=rule.basis,
        status=rule.status,
        lines=lines,
        lacking=lacking,
        standing=standing,
        where=where,
        remedy=rule.remedy,
    )


def _together(lines: list[str]) -> tuple[str, ...]:
    """Gates that are held one after another stand in one line, each once."""
    made: list[str] = []
    for line in lines:
        title = line.removeprefix(_GATE)
        if title == line or not made or not made[-1].startswith(_GATE):
            made.append(line)
        elif title not in made[-1].removeprefix(_GATE).split("; "):
            made[-1] += f"; {title}"
    return tuple(made)


def _step(table: Table, node: str) -> Any:  # noqa: ANN401  plain data of the table
    steps: Any = table.data["steps"]
    return steps.get(node.partition(" ")[2])


def _words(table: Table, trigger: str) -> str:
    """One move in words; routines are told by their gate's title alone."""
    word, _, rest = trigger.partition("@")
    name, _, outcome = rest.partition("=")
    steps: Any = table.data["steps"]
    step = steps.get(name)
    if step is None:
        return _without_step(table, word, name, outcome)
    if (
        step["owner"]
        and word in {"begin", "answered"}
        and outcome not in {"not decided", "cannot", "something else"}
        and not any(o["then"] == "fail" or o["effects"] for o in step["outcomes"] if o["name"] == outcome)
    ):
        gate: Any = table.data["gates"][step["owner"]]  # type: ignore[index]
        return f"{_GATE}{gate['title']}"
    place = f"{step['file']}:{step['line']}"
    asked = f"'{step['prompt']}'"
    match word:
        case "begin":
            return f"begins {asked} ({place})"
        case "answered" | "answered-late":
            late = " (late: a gate was lost meanwhile)" if word == "answered-late" else ""
            return f"answers '{outcome}' to {asked}{late} ({place})"
        case "correct":
            return f"corrects the answer to {asked} ({place})"
        case "go-on":
            return f"a qualified person lets it go on with {asked} ({place})"
        case "leave-out":
            return f"a qualified person leaves out {asked} ({place})"
        case _:
            return trigger


_ALONE = {
    "found": "something is found that the procedure does not know",
    "make-safe": "it is to be made safe",
    "pause": "a break",
    "interrupted": "the work is interrupted: nobody knows what was done",
    "unsafe": "somebody says that it is unsafe",
    "emergency": "an emergency",
}


def _without_step(table: Table, word: str, name: str, outcome: str) -> str:
    """What is no step's: looking afterwards how something stands, making safe, stops, events."""
    data: Any = table.data
    if word == "lapsed":
        gate = data["gates"].get(name)
        return f"time runs out for: {gate['title'] if gate else name}"
    if word not in {"begin", "answered", "answered-late"}:
        return _ALONE.get(word, word)
    kind, *_, thing = name.split(".")
    labels = {**data["devices"], **data["temporary"]}
    label = labels[thing]["label"] if thing in labels else thing
    if kind == "reconcile":
        trip = f"{label}, has it tripped" if ".trip." in name else label
        return f"looks how it stands - {trip}: {outcome}"
    return f"makes safe - {label}: {outcome or 'begins'}"
