"""Rules over a gate's own routine: what it must contain on every path to held, and what its limits mean."""

from collections.abc import Iterator, Mapping
from typing import Any

from ohmward.chart.table import Table
from ohmward.language.expression import ExpressionError, Literal, parse_expression
from ohmward.language.library import Source
from ohmward.language.models import Rule
from ohmward.trade.quantity import Quantity, dimension_of, parse_quantity

Fault = tuple[str, str, str]  # rule, gate key, story


def routine_faults(table: Table, rules: Mapping[str, Source[Rule]]) -> Iterator[Fault]:
    """Every rule over a routine that some gate of the table breaks, with the shortest path as words."""
    data: Any = table.data
    for source in rules.values():
        rule = source.model
        if not rule.whenever.startswith("gate "):
            continue
        for key, gate in data["gates"].items():
            if gate["gate"] != rule.whenever.removeprefix("gate "):
                continue
            path = _path_without(table, key, _still_wanted(table, key, rule.must_contain))
            if path is not None:
                yield rule.rule, key, "held by: " + ", then ".join(path)
            for tag, bounds in rule.bounds.items():
                for story in _out_of_bounds(table, key, tag, bounds):
                    yield rule.rule, key, story


def _still_wanted(table: Table, key: str, wanted: tuple[str, ...]) -> tuple[str, ...]:
    """What the routine itself must show: what the gates that it asks for have always shown comes before it."""
    data: Any = table.data
    asked: list[str] = []
    waiting = list(data["gates"][key]["asks"])
    while waiting:
        gate = waiting.pop()
        if gate not in asked:
            asked.append(gate)
            waiting += data["gates"][gate]["asks"]
    rest = list(wanted)
    while rest and any(_path_without(table, gate, (rest[0],)) is None for gate in asked):
        rest.pop(0)
    return tuple(rest)


def _path_without(table: Table, key: str, wanted: tuple[str, ...]) -> list[str] | None:
    """The shortest path of answers from the routine's start to held that lacks the tags in order."""
    if not wanted:
        return None
    data: Any = table.data
    first = f"enter {data['gates'][key]['steps'][0]}"
    line: list[tuple[str, int, tuple[str, ...]]] = [(first, 0, ())]
    seen = set()
    while line:
        node, found, path = line.pop(0)
        if (node, found) in seen:
            continue
        seen.add((node, found))
        if node == f"held {key}":
            if found < len(wanted):
                return list(path)
            continue
        for to, tags, words in _leaving(table, node):
            now = found
            for tag in tags:
                now += now < len(wanted) and tag == wanted[now]
            line.append((to, now, (*path, *words)))
    return None


def _leaving(table: Table, node: str) -> Iterator[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    """Moves inside a routine: by itself, begin, and answers in time. Kept answers count as given before."""
    for row in table.rows:
        if row.at != node:
            continue
        word, _, answer = row.trigger.partition("@")
        if word in {"", "begin", "answered"}:
            to = table.nodes[table.index[node]].name if row.to == "=" else row.to
            yield to, row.marks, ((answer,) if word == "answered" else ())


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
        for high, band, outcome in _ranges(step):
            says_live = any(e.startswith("found live") for e in outcome["effects"])
            leads_on = (
                not says_live and outcome["then"] not in {"fail", "repeat"} and _credits(table, name, band)
            )
            if most is not None and leads_on and (high is None or high.compare(most) > 0):
                if (
                    live is not None
                    and high is not None
                    and high.compare(live) <= 0
                    and _asks_another(data, step, outcome, key, tag)
                ):
                    continue
                yield f"'{band}' counts up to {high or 'anything'}; the rule allows at most {most}"
            if (
                live is not None
                and not says_live
                and outcome["then"] not in {"fail", "repeat"}
                and (high is None or high.compare(live) > 0)
            ):
                yield f"'{band}' reaches {high or 'any voltage'} and does not say that it was found live"


def _credits(table: Table, step: str, band: str) -> bool:
    return any(row.trigger == f"answered@{step}={band}" for row in table.rows)


def _asks_another(data: Any, step: Any, outcome: Any, key: str, tag: str) -> bool:  # noqa: ANN401  plain data of the table
    """Whether every way on from an outcome to held passes another reading with the same tag."""
    steps: list[str] = data["gates"][key]["steps"]
    here = next(n for n in steps if data["steps"][n] is step)
    waiting = [_target(steps, key, here, outcome["then"])]
    seen: set[str] = set()
    while waiting:
        name = waiting.pop()
        if name == "held":
            return False
        if name in seen or name in {"fail", "repeat"}:
            continue
        seen.add(name)
        following = data["steps"][name]
        if not (following["kind"] == "reading" and following["evidence"] == tag):
            waiting += [_target(steps, key, name, o["then"]) for o in following["outcomes"]]
    return True


def _target(steps: list[str], key: str, here: str, then: str) -> str:
    """The step of a routine to which an outcome leads; held, fail or repeat as they are."""
    if then in {"held", "fail", "repeat"}:
        return then
    if then:
        return f"{key}.{then}"
    place = steps.index(here) + 1
    return steps[place] if place < len(steps) else "held"


def _ranges(step: Any) -> Iterator[tuple[Quantity | None, str, Any]]:  # noqa: ANN401
    """Upper limit (None: open), name and outcome of each band."""
    outcomes = {o["name"]: o for o in step["outcomes"]}
    for band in step["bands"]:
        text = band.get("below") or band.get("up_to")
        yield _constant(text) if text else None, band["name"], outcomes[band["name"]]


def _constant(text: str) -> Quantity | None:
    """A limit that is a plain quantity; None for anything that the job decides: it counts as unbounded."""
    try:
        tree = parse_expression(text)
    except ExpressionError:
        return None
    return tree.value if isinstance(tree, Literal) else None
