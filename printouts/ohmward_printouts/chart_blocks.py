"""A procedure told block by block: its steps, its ends, then each gate once. For drawings of every kind."""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ohmward.chart.bands import ranges_of
from ohmward.chart.table import Table

Plain = Mapping[str, Any]
KIND = {
    "action": "do",
    "confirm": "confirm",
    "reading": "read",
    "choice": "answer",
    "fact": "say",
    "gear": "take",
    "person": "who",
    "sign": "sign",
    "photo": "picture",
}
HELD = "held for a qualified person"  # at every step: the head of the drawing says so
ROUTINE = {"fail": "not held", "repeat": "asked again"}  # where a gate's own answers lead


@dataclass(frozen=True, slots=True, kw_only=True)
class Block:
    """One box: heading, lines, what stands beside it, and its ANSI signal word."""

    name: str
    head: str
    lines: tuple[str, ...] = ()
    side: tuple[str, ...] = ()
    signal: str = ""
    exposed: bool = False
    goes_on: bool = False
    is_end: bool = False


def blocks_of(table: Table) -> tuple[Block, ...]:
    """Steps in their order, ends, gates by their names."""
    data: Any = table.data
    numbers = {name: str(n) for n, name in enumerate(data["order"], 1)}
    made = _scope(data) + [_step(data, name, numbers) for name in data["order"]]
    made += _not_held(data, numbers)
    made += [_end(name, end) for name, end in sorted(data["ends"].items())]
    seen: dict[str, Block] = {}
    for key, gate in sorted(data["gates"].items()):
        if gate["gate"] not in seen:
            seen[gate["gate"]] = _gate(data, key)
    return (*made, *seen.values())


def ways_of(data: Plain, name: str) -> tuple[tuple[str, str], ...]:
    """Answer and target of every outcome of a step that does not simply go on; held ones are left out."""
    return tuple(
        (o["name"], o["then"])
        for o in data["steps"][name]["outcomes"]
        if o["then"] and o["leads"] != HELD
    )


def goes_on(data: Plain, name: str) -> bool:
    """Whether any usual answer leads to the next step."""
    outcomes = data["steps"][name]["outcomes"]
    return any(not o["then"] and o["leads"] == "on" for o in outcomes)


def signal_of(data: Plain, step: Plain) -> str:
    """DANGER as written; WARNING where something that can kill or crush is near; CAUTION where it is limited."""
    if "danger" in step:
        return "DANGER"
    exposed = {*step["hands"], *step["probes"], *step["near"]}
    if any("limited" not in data["sources"][s] for s in exposed) or step["begun"] or "warning" in step:
        return "WARNING"
    return "CAUTION" if exposed or "caution" in step else ""


def _step(data: Plain, name: str, numbers: Mapping[str, str]) -> Block:
    step = data["steps"][name]
    lines = [step["prompt"], *_exposure(data, step)]
    if "when" in step:
        lines.append(f"Only when {step['when']}.")
    lines += [
        f"{word.capitalize()}: {step[word]}" for word in ("danger", "warning", "caution") if word in step
    ]
    lines += _answers(data, name, numbers)
    gates = tuple(f"\N{BULLET} {_called(data, key)}" for key in step["needs"])
    return Block(
        name=name,
        head=f"{numbers[name]}  {KIND[step['kind']]}: {name}",
        lines=tuple(lines),
        side=("held first:", *gates) if gates else (),
        signal=signal_of(data, step),
        exposed=bool(step["heavy"]),
        goes_on=goes_on(data, name),
    )


def _answers(data: Plain, name: str, numbers: Mapping[str, str], gate: str = "") -> Iterator[str]:
    """Every answer of a question, with what it means; answers that lead elsewhere; bands of a reading with what they take."""
    step = data["steps"][name]
    targets = dict(ways_of(data, name))
    taken = limits_of(step)
    means = {o["name"]: o["effects"] for o in step["outcomes"]}
    for answer in (o["name"] for o in step["outcomes"] if o["leads"] != HELD):
        undecided = gate and answer == "not decided"  # a gate is never held by it
        if undecided or (answer not in targets and answer not in taken and step["kind"] != "choice"):
            continue
        to = targets.get(answer, "")
        said = f"{answer}: {taken[answer]}" if answer in taken else answer
        said += f" ({', '.join(means[answer])})" if means[answer] else ""
        inside = data["steps"].get(f"{gate}.{to}")
        there = f"on with: {inside['prompt']}" if inside else ROUTINE.get(to, _target(to, numbers))
        yield f"{said} \N{RIGHTWARDS ARROW} {there}" if to else said


def limits_of(step: Plain) -> dict[str, str]:
    """What each band of a reading takes, in words; nothing for other steps."""
    return {name: taken.words("any value") for name, taken in ranges_of(step).items()}


def _scope(data: Plain) -> list[Block]:
    """For which jobs it is: one box, before the first step."""
    lines = tuple(f"{r['require']}. Otherwise: {r['otherwise']}" for r in data["scope"])
    return [Block(name="scope", head="only for jobs in which", lines=lines, goes_on=True)] if lines else []


def _not_held(data: Plain, numbers: Mapping[str, str]) -> list[Block]:
    """Where a gate that cannot be held leads: one box for all of them."""
    lines = [f"{gate.replace('-', ' ')} \N{RIGHTWARDS ARROW} {_target(to, numbers)}" for gate, to in data["when_not_held"].items()]
    return [Block(name="not held", head="when a gate cannot be held", lines=tuple(lines))] if lines else []


def _exposure(data: Plain, step: Plain) -> list[str]:
    said = []
    for how in ("hands", "probes", "near"):
        if step[how]:
            labels = ", ".join(data["sources"][s]["label"] for s in step[how])
            said.append(f"{'near' if how == 'near' else how + ' on'} {labels}")
    said += [f"begins with: {effect}" for effect in step["begun"]]
    said += [f"ends with: {effect}" for effect in step["confirmed"]]
    place = [f"At {data['places'][step['place']]['label']}"] if step["place"] else []
    return ["; ".join([*place, *said]) + "."] if place or said else []


def _target(to: str, numbers: Mapping[str, str]) -> str:
    return f"{numbers[to]} {to}" if to in numbers else to


def _event(text: str) -> str:
    """An event as people say it: what happens to what the gate is of comes after it."""
    word, _, thing = text.rpartition(" ")
    of = {"it": "it", "it.means": "its disconnecting means"}
    return f"{of[thing]} {word}" if thing in of else text


def _called(data: Plain, key: str) -> str:
    gate = data["gates"][key]
    return f"{gate['gate'].replace('-', ' ')}" + (f" ({', '.join(gate['of'])})" if gate["of"] else "")


def _end(name: str, end: Plain) -> Block:
    leaves = "; ".join(f"{circuit}: {how}" for circuit, how in sorted(end["leaves"].items()))
    following = ", ".join(end["next"])
    lines = [f"Leaves {leaves}."] if leaves else []
    lines += [f"Usually followed by {following}."] if following else []
    return Block(name=name, head=f"end: {name} - {end['title']}", lines=tuple(lines), is_end=True)


def _gate(data: Plain, key: str) -> Block:
    """One gate, drawn once for all that it is held for: lost by whatever loses any of them."""
    gate = data["gates"][key]
    alike = [g for g in data["gates"].values() if g["gate"] == gate["gate"]]
    events = dict.fromkeys(event for g in alike for event in g.get("lost_by", ()))

    def bare(words: list[str]) -> str:
        return ", ".join(dict.fromkeys(re.sub(r"\(.*\)", "", w).replace("-", " ") for w in words))

    lines = [gate["title"], f"Why: {gate['why']}"]
    lines += [f"Asks for: {bare(gate['asks'])}."] if gate["asks"] else []
    steps = [data["steps"][s] for s in gate["steps"]]
    for name, step in zip(gate["steps"], steps, strict=True):
        lines.append(f"{KIND[step['kind']]}: {step['prompt']}")
        lines += [f"\N{EN DASH} {answer}" for answer in _answers(data, name, {}, key)]
    lost = "; ".join(map(_event, events))
    lines.append(f"Holds for {gate['holds_for']}{'; lost by: ' + lost if lost else ''}.")
    return Block(
        name=gate["gate"],
        head=f"gate: {gate['gate'].replace('-', ' ')}",
        lines=tuple(lines),
        signal=max((signal_of(data, s) for s in steps), key=["", "CAUTION", "WARNING", "DANGER"].index),
        exposed=any(s["heavy"] for s in steps),
    )
