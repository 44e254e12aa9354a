"""Rules over readings: with which function they are taken, after what wait, and within what they must lie to count."""

import re
from collections.abc import Iterator, Mapping, Sequence
from decimal import Decimal
from typing import Any

from ohmward.chart.plan import NOT_DECIDED
from ohmward.chart.table import Table
from ohmward.language.expression import Call, Literal
from ohmward.language.fields import PART, seconds
from ohmward.language.models import Rule
from ohmward.proof.after_answer import Way, Work, way_after
from ohmward.proof.bounds import all_demanded, demands, part_of, tree_of, words
from ohmward.proof.leaving import NOT_HELD

WHERE = " where "  # in a function: read on it only where this is so
POINTS = r"at least ([2-9]) points"
_WORST_IS_LEAST = frozenset({"smallest", "each"})


def reading_faults(table: Table, name: str, rule: Rule) -> Iterator[str]:
    """What one step lacks of one rule over readings, as words."""
    data: Any = table.data
    step = data["steps"][name]
    said = {*rule.reads_with, *rule.shows, *rule.counts_from, *rule.waits, *rule.reads_between, *rule.counts_to} & {step["evidence"]}
    if said and step["kind"] != "reading":
        yield f"'{step['prompt']}' counts as '{step['evidence']}' and is no reading"
    elif said:
        yield from _function(step, rule)
        yield from _points(step, rule)
        yield from _waited(step, rule)
        yield from _shown(step, rule)
        yield from _counting(table, name, rule)


def _points(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    """`reads_between`: points of a list as the rule writes them, or so many as it asks for."""
    wanted = rule.reads_between.get(step["evidence"])
    if wanted is None:
        return
    between = step["between"]
    many = (re.fullmatch(POINTS, w) for w in wanted)
    enough = any(m and not isinstance(between, str) and len(_apart(between)) >= int(m[1]) for m in many)
    if not enough and between not in wanted:
        yield f"'{step['prompt']}' is not read between {' or '.join(wanted)}"


def _apart(points: Sequence[str]) -> set[frozenset[str]]:
    """Points that are not the same turned round, and not from something to itself."""
    return {ends for p in points if len(ends := frozenset(p.split(" to "))) > 1}


def _fewer_than(table: Table, step: Mapping[str, Any]) -> Iterator[str]:
    """Each circuit that a reading speaks for has a point of its own; a list of the job's has as many as it has."""
    sources: Any = table.data["sources"]
    spoken = {s for s in (*step["hands"], *step["probes"]) if sources[s]["kind"] == "circuit"}
    points = step["between"]
    if not isinstance(points, str) and len(_apart(points)) < len(spoken):
        yield f"'{step['prompt']}' is read at {len(_apart(points))} for {len(spoken)} circuits: what is not read counts for nothing"


def _waited(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    least = rule.waits.get(step["evidence"])
    if least is not None and seconds(step.get("wait", "0 s")) < seconds(least):
        yield f"'{step['prompt']}' is read after {step.get('wait', 'no wait')}; at least {least}"


def _counting(table: Table, name: str, rule: Rule) -> Iterator[str]:
    """`counts_from`, `counts_to`: what lies beyond the limits, and a reading that is not decided, leads to nothing that feeds."""
    data: Any = table.data
    step = data["steps"][name]
    for known, judged in ((rule.counts_from, _from_below), (rule.counts_to, _to_above)):
        limits = known.get(step["evidence"])
        if limits is not None:
            yield from _speaks(table, step)
            yield from judged(table, name, limits)
            yield from _undecided(table, name)


def _from_below(table: Table, name: str, limits: tuple[str, ...]) -> Iterator[str]:
    """Every band that begins lower."""
    data: Any = table.data
    step = data["steps"][name]
    if len(step["between"]) > 1 and step.get("decided_by") not in _WORST_IS_LEAST:
        yield f"'{step['prompt']}' is not decided by its smallest value: one good point would stand for all"
    outcomes = {o["name"]: o for o in step["outcomes"]}
    reached = False
    for band in step["bands"]:
        if not reached:
            yield from _feeds(table, name, outcomes[band["name"]], f"reaches below {' or '.join(limits)} and")
        upper = band.get("below") or band.get("up_to")
        reached = reached or any(_at_least(upper, limit) for limit in limits)


def _to_above(table: Table, name: str, limits: tuple[str, ...]) -> Iterator[str]:
    """Every band that reaches higher."""
    data: Any = table.data
    step = data["steps"][name]
    if step.get("decided_by") == "smallest":
        yield f"'{step['prompt']}' is decided by its smallest value: one good point would stand for all"
    outcomes = {o["name"]: o for o in step["outcomes"]}
    for band in step["bands"]:
        upper = band.get("below") or band.get("up_to")
        if not any(_at_most(upper, limit) for limit in limits):
            yield from _feeds(table, name, outcomes[band["name"]], f"reaches above {' or '.join(limits)} and")


def _speaks(table: Table, step: Mapping[str, Any]) -> Iterator[str]:
    """A reading that counts touches what it counts for, at points of its own, and is worked out by what has a name."""
    if "touches" in step:
        yield f"'{step['prompt']}' touches nothing of what it counts for"
    if not _is_call(step.get("computes")):
        yield f"'{step['prompt']}' is judged by a sum of its own, not by a calculation that has a name"
    yield from _fewer_than(table, step)


def _undecided(table: Table, name: str) -> Iterator[str]:
    data: Any = table.data
    for outcome in data["steps"][name]["outcomes"]:
        if outcome["name"] == NOT_DECIDED:
            yield from _feeds(table, name, outcome, "though nothing was read,")


def _is_call(text: str | None) -> bool:
    """Whether nothing is worked out, or by one of the calculations that have a name and a source."""
    return text is None or isinstance(tree_of(text), Call)


def _feeds(table: Table, name: str, outcome: Mapping[str, Any], why: str) -> Iterator[str]:
    for wrong in way_after(table, Way(name, outcome), Work.STAYS_OFF, again=True):
        yield f"'{outcome['name']}' {why} {wrong}"


def _at_most(text: str | None, limit: str) -> bool:
    """Whether a limit is a constant that is no higher, or what is written, word for word or less than once."""
    return text is not None and all_demanded(demands((f"value <= {limit}",)), demands((f"value <= {text}",)))


def _at_least(text: str | None, limit: str) -> bool:
    """Whether a limit is what is written, word for word, once or more than once, or a constant that is no lower.

    A multiple says more only of what is above nothing: resistances, which the rules over readings bound, are.
    """
    tree, wanted = tree_of(text), tree_of(limit)
    if isinstance(tree, Literal) and isinstance(wanted, Literal):
        return tree.value.dimension == wanted.value.dimension and tree.value.compare(wanted.value) >= 0
    times = part_of(text, words(wanted)) if wanted is not None else None
    return times is not None and times >= 1


def functions_of(step: Mapping[str, Any]) -> tuple[str, ...]:
    """A reading's functions as they are written: one that is read only where something holds is not always read."""
    return tuple(f for f in (step.get("function", ""), *step.get("functions", ())) if f)


def _function(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    wanted = rule.reads_with.get(step["evidence"], ())
    taken = functions_of(step)
    if wanted and not set(taken) & set(wanted):
        yield f"'{step['prompt']}' is taken with {', '.join(taken)}, not with {' or '.join(wanted)}"


def _shown(step: Mapping[str, Any], rule: Rule) -> Iterator[str]:
    """Every band that does not keep the gate from being held lies within the rule's part of what is named."""
    said = rule.shows.get(step["evidence"])
    known = re.fullmatch(PART, said) if said is not None else None
    if known is None:
        return
    if step.get("decided_by") == "smallest":
        yield f"'{step['prompt']}' is decided by its smallest value"
    least, most, name = Decimal(known[1]), Decimal(known[2]), known[3]
    then = {o["name"]: {o["then"], o.get("exhausted", "fail")} for o in step["outcomes"]}
    below: Decimal | None = None
    for band in step["bands"]:
        upper = part_of(band.get("below") or band.get("up_to"), name)
        if not then[band["name"]] <= NOT_HELD:
            if below is None or below < least:
                yield f"'{band['name']}' begins below {least} of {name}"
            if upper is None or upper > most:
                yield f"'{band['name']}' reaches beyond {most} of {name}"
        below = upper
