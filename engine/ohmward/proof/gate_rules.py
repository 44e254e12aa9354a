"""Rules over a gate as it is written: what loses it, what it refuses, where it reads, which gear it takes."""

from collections.abc import Callable, Iterator
from typing import Any

from ohmward.chart.plan import Leads
from ohmward.chart.table import Table
from ohmward.language.fields import seconds
from ohmward.language.lists import SLOTS
from ohmward.language.models import Rule
from ohmward.proof.bounds import Weight, all_demanded, demands, weigh_limits
from ohmward.proof.leaving import answer_reaches_held, told, way_past, way_to_held
from ohmward.proof.reading_rules import WHERE, functions_of, reading_faults

GEAR = {"its gear found bad": "found bad", "its gear changed": "changed"}
OWN = {"its own gear found bad": "found bad", "its own gear changed": "changed"}  # of what the gate is of, alone
ALL = GEAR | OWN
DAY = 24 * 3600  # seconds


def lacking_in(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """What one gate lacks of one rule, as words."""
    yield from _losses(table, key, rule)
    yield from _life(table, key, rule)
    yield from _after(table, key, rule)
    yield from _refusals(table, key, rule)
    yield from _readers(table, key, rule)
    yield from _gear(table, key, rule)
    yield from _unasked(table, key, rule)
    yield from _unread(table, key, rule)
    data: Any = table.data
    for name in data["gates"][key]["steps"]:
        yield from reading_faults(table, name, rule)
        yield from _named(data["steps"][name], rule)
        yield from _held_by(table, key, name, rule)
        yield from only_by(table, name, rule)
        yield from only_where(table, name, rule)


def _losses(table: Table, key: str, rule: Rule) -> Iterator[str]:
    for event in rule.lost_by:
        for word in _events(table, key, event):
            if not _lost(table, key, word):
                yield f"'{word}' does not lose it"
            data: Any = table.data
            for step, ends in data["gates"][key]["keeps"].items():
                if word not in ends:
                    yield f"the answer to '{step}' is kept over '{word}'"


def _life(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`holds_at_most`: no limit is longer than anything, a shift longer than a time that is given, a day than a shift."""
    data: Any = table.data
    said, most = data["gates"][key]["holds_for"], rule.holds_at_most
    if most is None or most in {"unlimited", said}:
        return
    least = DAY if most == "shift" else seconds(most)
    if said in {"unlimited", "shift"} or seconds(said) > least:
        yield f"it holds for {said}; at most {most}"


def _events(table: Table, key: str, event: str) -> Iterator[str]:
    """Every slot that the gate is of, and unless it is its own, that its routine picks for or reads with, changed or bad."""
    data: Any = table.data
    if event not in GEAR and event not in OWN:
        yield event
        return
    slots = set(data["gates"][key]["env"].values())
    if event in GEAR:
        slots |= {data["steps"][name].get("slot") for name in data["gates"][key]["steps"]}
    yield from (f"{slot} {ALL[event]}" for slot in SLOTS if slot in slots)


def _lost(table: Table, key: str, word: str) -> bool:
    """Whether an event loses a gate, or one on which it rests."""
    data: Any = table.data
    gate = data["gates"][key]
    return word in gate["lost_by"] or any(_lost(table, base, word) for base in gate["rests_on"])


def _after(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`never`: a path on which this was done and that leads to held all the same."""
    for phrase in rule.never:
        path = way_to_held(table, key, _having(f"{phrase} "), bool)
        if path is not None:
            yield f"held after '{phrase}': {told(key, path)}"


def _having(start: str) -> Callable[[int, str, str], int]:
    """Counts 1 once a mark that starts so was left."""
    return lambda done, mark, _: done or mark.startswith(start)


def _refusals(table: Table, key: str, rule: Rule) -> Iterator[str]:
    data: Any = table.data
    steps: list[str] = data["gates"][key]["steps"]
    if rule.must_contain:  # where evidence is wanted, whoever gives it is asked
        steps = [s for s in steps if data["steps"][s]["evidence"] in rule.must_contain]
    for answer in rule.refuses:
        offering = [s for s in steps if any(o["name"] == answer for o in data["steps"][s]["outcomes"])]
        if not offering:
            yield f"nobody can answer '{answer}'"
            continue
        if any(answer_reaches_held(table, key, s, answer, again=True) for s in offering):
            yield f"'{answer}' does not keep it from being held"
        if any(answer in data["steps"][s].get("only_if", {}) for s in offering):
            yield f"'{answer}' may be chosen only where something else is so"
        if not rule.must_contain and way_past(table, key, offering) is not None:
            yield f"it can be held without being asked '{data['steps'][offering[0]]['prompt']}'"


def _readers(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`read_by_two`: two people read, and their values lie no further apart than the rule lets them."""
    data: Any = table.data
    for name in data["gates"][key]["steps"]:
        step = data["steps"][name]
        most = rule.read_by_two.get(step["evidence"])
        if most is None or step["kind"] != "reading":
            continue
        within = step.get("second_within")
        if within is None:
            yield f"'{step['prompt']}' is not read by two"
        elif weigh_limits(most, within) is Weight.LOOSER:
            yield f"'{step['prompt']}' takes two readings that lie {within} apart; at most {most}"


def _named(step: Any, rule: Rule) -> Iterator[str]:  # noqa: ANN401  plain data of the table
    """`names`: in which role the routine names people; another role would count for something else later."""
    if rule.names is not None and step["kind"] == "person" and step["role"] != rule.names:
        yield f"'{step['prompt']}' names somebody as {step['role']}, not as {rule.names}"


def _held_by(table: Table, key: str, name: str, rule: Rule) -> Iterator[str]:
    """`held_by`: an answer beside those of the rule after which the gate may be held; a step of another kind has none of them."""
    data: Any = table.data
    step = data["steps"][name]
    answers = rule.held_by.get(step["evidence"])
    if answers is None:
        return
    for outcome in step["outcomes"]:
        on = outcome["leads"] == Leads.ON.value and outcome["name"] not in answers
        if on and answer_reaches_held(table, key, name, outcome["name"], again=True):
            yield f"'{outcome['name']}' to '{step['prompt']}' is no answer with which it may be held"


def _unasked(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`held_by`: a way to held on which no question with its evidence is asked."""
    data: Any = table.data
    for tag in rule.held_by:
        asked = [name for name in data["gates"][key]["steps"] if data["steps"][name]["evidence"] == tag]
        path = way_past(table, key, asked)
        if path is not None:
            yield f"nobody is asked for '{tag}': {told(key, path)}"


def _unread(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`reads_also`: a way to held on which no reading of its kind is taken with a function, always or where something holds."""
    data: Any = table.data
    for tag, functions in rule.reads_also.items():
        for function in functions:
            steps = {n: data["steps"][n] for n in data["gates"][key]["steps"] if data["steps"][n]["evidence"] == tag}
            taken = [n for n, s in steps.items() if function in {f.partition(WHERE)[0] for f in functions_of(s)}]
            path = way_past(table, key, taken)
            if path is not None:
                yield f"nothing with '{tag}' is read with {function}: {told(key, path)}"


def only_by(table: Table, name: str, rule: Rule) -> Iterator[str]:
    """`only_by` at one step: an effect that an answer has which the rule does not name, or that every answer has."""
    data: Any = table.data
    step = data["steps"][name]
    for effect, answers in rule.only_by.items():
        having = [o["name"] for o in step["outcomes"] if has_effect(o["effects"], effect)]
        told = [o["name"] for o in step["outcomes"] if o["leads"] != Leads.HELD.value]
        if has_effect(step["confirmed"], effect) or (having and set(having) == set(told)):
            yield f"'{step['prompt']}' counts as '{effect}' whatever is answered"
        for answer in having:
            if answer not in answers:
                yield f"'{answer}' to '{step['prompt']}' counts as '{effect}'"


def only_where(table: Table, name: str, rule: Rule) -> Iterator[str]:
    """`only_where` at one step: an answer that may be chosen where the rule says that it may not."""
    data: Any = table.data
    step = data["steps"][name]
    for outcome in step["outcomes"]:
        wanted = rule.only_where.get(outcome["name"])
        asked = step.get("only_if", {}).get(outcome["name"])
        has = demands((asked["require"],)) if asked is not None else []
        if wanted is not None and not all_demanded(demands((wanted,)), has):
            yield f"'{outcome['name']}' to '{step['prompt']}' may be chosen although it is not so that {wanted}"


def has_effect(effects: list[str], word: str) -> bool:
    """Whether one of the effects is of this kind, whatever it is done to."""
    return any(e.startswith(f"{word} ") for e in effects)


def _gear(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`suits`: every step that picks gear, or names a person, demands what the rule says of gear, or of people."""
    data: Any = table.data
    for kind in ("person", "gear"):
        steps = [name for name in data["gates"][key]["steps"] if data["steps"][name]["kind"] == kind]
        has = [demands(tuple(r["require"] for r in data["steps"][name]["suits"])) for name in steps]
        for wanted in (w for w in rule.suits if (kind == "person") == ("person." in w)):
            if not has or not all(all_demanded(demands((wanted,)), one) for one in has):
                yield f"it does not ask that {wanted}"
            elif any(way_past(table, key, [name]) is not None for name in steps):
                yield f"it can be held without asking that {wanted}"
