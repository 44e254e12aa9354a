"""The verdict on one table: proved or not, what was looked at, what it claims and what it does not."""

from collections.abc import Mapping
from dataclasses import dataclass

from ohmward.chart.budget import spent_by
from ohmward.chart.compile import starts, uninterrupted
from ohmward.chart.table import NODE_MASK, Move, Position, Table, advance
from ohmward.language.library import Library
from ohmward.proof.explore import MOST_STATES, Breach, Explored
from ohmward.proof.lasting import too_short
from ohmward.proof.routines import routine_faults
from ohmward.proof.search import Search, prepare
from ohmward.proof.standing import digest_of_rules
from ohmward.proof.story import Story, tell, tell_routine

CLAIM = (
    "No declared step can break a rule: for every order of answers, lapses, interruptions, corrections, changes of "
    "people and instruments and stops that the table allows, no step is begun while a rule forbids it - given the "
    "declared devices, sources, places and effects, and true answers. Not covered: what is not declared, other "
    "people's acts, a wrong place measured, time beyond what a step says it takes, hazards without a source kind."
)


@dataclass(frozen=True, slots=True, kw_only=True)
class Verdict:
    """What the proof says of one table under one set of rules."""

    procedure: str
    revision: int
    proved: bool
    stories: tuple[Story, ...]
    positions: int
    moves: int
    rules: tuple[str, ...]
    rules_digest: str


def prove(
    table: Table, library: Library, *, most: int = MOST_STATES, until: str = "", search: Search | None = None
) -> Verdict:
    """Explores the whole table. Deterministic. Raises FaultyFileError for a rule that cannot be read.

    `search`: one that was prepared for this table and these rules already.
    """
    rules = library.rules
    search = prepare(table, library) if search is None else search
    told = (tell_routine(table, rules[rule], key, words) for rule, key, words in routine_faults(table, rules))
    within = list(dict.fromkeys(told))  # one file, one fault, however often the gate is asked for
    limit = 0 if until in {s.rule for s in within} else most
    found = search.run(limit, (until,) if until else ())
    if found.breaches and not until:
        search.shorten(found, most)
    for rule, breach in search.usual().items():
        found.breaches.setdefault(rule, breach)
    stories = [tell(table, rules[b.rule], b) for b in sorted(found.breaches.values(), key=_length)]
    stories += within
    stories += _structure(table, found) if until not in found.breaches else []
    return Verdict(
        procedure=table.procedure,
        revision=table.revision,
        proved=not stories,
        stories=tuple(stories),
        positions=len(found.positions),
        moves=found.moves,
        rules=tuple(sorted(rules)),
        rules_digest=digest_of_rules({n: "\n".join(r.faults.lines).encode() for n, r in rules.items()}),
    )


def _length(breach: Breach) -> tuple[int, str]:
    return len(breach.path), breach.rule


def _structure(table: Table, found: Explored) -> list[Story]:
    """What no rule file says and every chart owes: decided, every end reached, every gate can be held, no cycle."""
    if not found.complete:
        return [
            Story.plain(
                table,
                "not-decided",
                f"not decided within {len(found.came)} states",
                "make the procedure smaller, or split it",
            )
        ]
    nodes = {table.nodes[p & NODE_MASK].name for p in found.positions}
    lost = [n.name for n in table.nodes if n.kind == "end" and n.name not in nodes]
    made = [
        Story.plain(table, "end-not-reached", f"'{n}' can never be reached", "lead to it, or remove it")
        for n in lost
    ]
    made += [
        Story.plain(table, "gate-never-held", f"'{key}' can never be held", "give its routine a way to held")
        for key in _never_held(table, found)
    ]
    made += [
        Story.plain(
            table,
            "too-many-questions",
            f"{s.asked} questions before {s.what}; at most {s.most}, or people tick through",
            "join small confirmations into one read-back, or split the procedure",
        )
        for s in spent_by(table)
        if s.over
    ]
    made += [
        Story.plain(
            table,
            "holds-too-short",
            f"'{key}' holds for {holds} and what follows until '{step}' is done takes {takes} s: it is lost each time",
            "let the gate hold longer, take it nearer to the step, or make the step shorter",
        )
        for key, step, holds, takes in too_short(table)
    ]
    cycle = _engine_cycle(table)
    if cycle:
        made.append(
            Story.plain(
                table,
                "gates-lose-each-other",
                f"routines follow each other for ever: {', '.join(cycle)}",
                "let one gate's routine not lose the other",
            )
        )
    return made


def _never_held(table: Table, found: Explored) -> list[str]:
    brought = {table.node(p).step for p in found.positions if table.node(p).kind == "ask"}
    gates: dict[str, dict[str, list[str]]] = table.data["gates"]  # type: ignore[assignment]
    held = {f"gate {k}": False for k in gates}
    for position in found.positions:
        values = position >> 12
        for name, known in held.items():
            if not known and table.layout.bit(name, "held") & values:
                held[name] = True
    return [k for k, g in gates.items() if not held[f"gate {k}"] and set(g["steps"]) & brought]


def _engine_cycle(table: Table) -> list[str]:
    """A way round in which only routines' steps are answered, well and in time, and nothing lapses."""
    steps: Mapping[str, Mapping[str, object]] = table.data["steps"]  # type: ignore[assignment]
    routines = {name for name, step in steps.items() if step["owner"]}  # the questions of making safe are no steps
    links: dict[Position, list[Position]] = {}
    waiting = list(starts(table))
    while waiting:
        position = waiting.pop()
        if position in links:
            continue
        links[position] = []
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger) if uninterrupted(trigger) else None
            if isinstance(move, Move):
                waiting.append(move.position)
                if trigger.partition("@")[2].partition("=")[0] in routines:
                    links[position].append(move.position)
    return _cycle(table, links)


def _cycle(table: Table, links: Mapping[Position, list[Position]]) -> list[str]:
    """Peels off positions without a way on; what stays is on or before a cycle."""
    count = {p: len(set(to)) for p, to in links.items()}
    back: dict[Position, set[Position]] = {}
    for position, targets in links.items():
        for target in targets:
            back.setdefault(target, set()).add(position)
    ready = [p for p, n in count.items() if n == 0]
    while ready:
        for before in back.get(ready.pop(), ()):
            count[before] -= 1
            if count[before] == 0:
                ready.append(before)
    return sorted({table.node(p).step for p, n in count.items() if n > 0})[:6]
