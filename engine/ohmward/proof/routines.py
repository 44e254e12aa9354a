"""Rules over a gate's own routine: what it must contain on every path to held, and what its limits mean."""

from collections.abc import Iterator, Mapping
from typing import Any

from ohmward.chart.table import Table
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.proof.bounds import constant, tree_of
from ohmward.proof.demands import TWO_READ
from ohmward.proof.gate_rules import lacking_in
from ohmward.proof.leaving import NOT_HELD, leaving, told, way_to_held
from ohmward.proof.own_steps import own_faults
from ohmward.proof.vouched import unproved
from ohmward.trade.quantity import Quantity, dimension_of, parse_quantity

Fault = tuple[str, str, str]  # rule, gate key or `step NAME`, story


def routine_faults(table: Table, rules: Mapping[str, Source[Rule]]) -> Iterator[Fault]:
    """Every rule over a routine, or over the procedure's own steps, that the table breaks, with the shortest path as words."""
    data: Any = table.data
    for source in rules.values():
        rule = source.model
        yield from ((rule.rule, f"step {name}", story) for name, story in own_faults(table, rule))
        watched = {w.removeprefix("gate ") for w in rule.situations if w.startswith("gate ")}
        for key, gate in data["gates"].items():
            if not watched & _names_of(table, gate) or not _spoken(table, rule, gate):
                continue
            wanted = rule.must_contain if rule.bounds else _still_wanted(table, key, rule.must_contain)
            path = _path_without(table, key, wanted)
            if path is not None:
                yield rule.rule, key, f"held by: {told(key, path)}"
            for tag, bounds in rule.bounds.items():
                for story in _out_of_bounds(table, key, tag, bounds):
                    yield rule.rule, key, story
            for story in (*lacking_in(table, key, rule), *unproved(table, key, rule)):
                yield rule.rule, key, story


def _names_of(table: Table, gate: Mapping[str, Any]) -> set[str]:
    """What a rule may call a gate: by its name, and where two people read in it by that."""
    data: Any = table.data
    two = any("second_within" in data["steps"][name] for name in gate["steps"])
    return {gate["gate"], *((TWO_READ,) if two else ())}


def _spoken(table: Table, rule: Rule, gate: Mapping[str, Any]) -> bool:
    """Whether a rule speaks of this gate: `where:` of a store asks what the source is."""
    data: Any = table.data
    if rule.where != "the store can return":
        return True
    return any(data["sources"].get(name, {}).get("can_return") for name in gate["env"].values())


def _still_wanted(table: Table, key: str, wanted: tuple[str, ...]) -> tuple[str, ...]:
    """What the routine itself must show: what the gates that it asks for have always shown comes before it."""
    data: Any = table.data
    asked: list[str] = []
    waiting = list(data["gates"][key]["asks"])
    while waiting:
        gate = waiting.pop()
        same = data["gates"][gate]["env"].get("it") in {None, data["gates"][key]["env"].get("it")}
        if gate not in asked and same:
            asked.append(gate)
            waiting += data["gates"][gate]["asks"]
    rest = list(wanted)
    while rest and any(_path_without(table, gate, (rest[0],)) is None for gate in asked):
        rest.pop(0)
    return tuple(rest)


def _path_without(table: Table, key: str, wanted: tuple[str, ...]) -> tuple[str, ...] | None:
    """The shortest path of answers from the routine's start to held that lacks the tags in order."""
    if not wanted:
        return None
    return way_to_held(
        table,
        key,
        lambda found, tag, _: found + (found < len(wanted) and tag == wanted[found]),
        lambda found: found < len(wanted),
    )


def _out_of_bounds(table: Table, key: str, tag: str, bounds: Mapping[str, str]) -> Iterator[str]:
    """Bands of readings with this tag whose limits are wider than the rule allows."""
    data: Any = table.data
    most = parse_quantity(bounds["held"].removeprefix("at most ")) if "held" in bounds else None
    live = parse_quantity(bounds["found live"].removeprefix("from ")) if "found live" in bounds else None
    for name in data["gates"][key]["steps"]:
        step = data["steps"][name]
        if step["evidence"] != tag:
            continue
        if step["kind"] != "reading" or any(
            b is not None and b.dimension != dimension_of(step["unit"]) for b in (most, live)
        ):
            yield f"'{step['prompt']}' counts as '{tag}' and is no reading in the rule's unit"
            continue
        if step.get("decided_by") == "smallest":
            yield f"'{step['prompt']}' is decided by its smallest value: one dead point would stand for all"
        for high, band, outcome in _ranges(step):
            another = live is not None and high is not None and high.compare(live) <= 0
            another = another and _asks_another(table, name, band, key, tag)
            yield from _band_faults(
                (high, band, outcome), most, live, another=another or not _credits(table, name, band)
            )


def _band_faults(
    known: tuple[Quantity | None, str, Any], most: Quantity | None, live: Quantity | None, *, another: bool
) -> Iterator[str]:
    """What is wrong with one band; `another`: it is no evidence yet, another reading follows."""
    high, band, outcome = known
    if any(e.startswith("found live") for e in outcome["effects"]):
        return
    held = not {outcome["then"], outcome.get("exhausted", "fail")} <= NOT_HELD
    if held and most is not None and not another and (high is None or high.compare(most) > 0):
        yield f"'{band}' counts up to {high or 'anything'}; the rule allows at most {most}"
    if live is not None and (high is None or high.compare(live) > 0):
        yield f"'{band}' reaches {high or 'any voltage'} and does not say that it was found live"


def _credits(table: Table, step: str, band: str) -> bool:
    return any(row.trigger == f"answered@{step}={band}" for row in table.rows)


def _asks_another(table: Table, step: str, band: str, key: str, tag: str) -> bool:
    """Whether every way on from a band to held passes another reading with the same tag, by the table's own rows."""
    data: Any = table.data
    waiting = [r.to for r in table.rows if r.trigger == f"answered@{step}={band}"]
    seen: set[str] = set()
    while waiting:
        node = waiting.pop()
        if node == f"held {key}":
            return False
        name = node.removeprefix("ask ")
        following = data["steps"].get(name) if name != node else None
        reads = following is not None and following["kind"] == "reading" and following["evidence"] == tag
        if node in seen or (reads and name != step):
            continue
        seen.add(node)
        waiting += [to for to, _, _ in leaving(table, node)]
    return True


def _ranges(step: Any) -> Iterator[tuple[Quantity | None, str, Any]]:  # noqa: ANN401
    """Upper limit (None: open), name and outcome of each band."""
    outcomes = {o["name"]: o for o in step["outcomes"]}
    for band in step["bands"]:
        text = band.get("below") or band.get("up_to")
        limit = tree_of(text)  # what the job decides counts as unbounded
        yield constant(limit) if limit is not None else None, band["name"], outcomes[band["name"]]
