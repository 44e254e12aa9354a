"""What changed between two tables, each change told by what it means for safety.

A change is *stricter* only where that can be told from the tables; what cannot be told counts as looser, so that
nobody approves a widening because it looked harmless.
"""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from ohmward.chart.table import Table
from ohmward.proof.bounds import Weight, told, weigh_conditions, weigh_limits
from ohmward.proof.differing_steps import step_changes
from ohmward.proof.passing import passed_by_all
from ohmward.proof.weighed import Change, added_and_removed, refusals_changed, texts_changed

_ORDER = {Weight.LOOSER: 0, Weight.STRICTER: 1, Weight.OTHER: 2}
Plain = Mapping[str, Any]


@dataclass(frozen=True, slots=True, kw_only=True)
class Difference:
    """Every change, looser ones first."""

    procedure: str
    old: int
    new: int
    changes: tuple[Change, ...]

    def of(self, weight: Weight) -> tuple[Change, ...]:
        return tuple(c for c in self.changes if c.weight is weight)


def difference(old: Table, new: Table) -> Difference:
    """What stands otherwise in `new`. Deterministic; the same tables give no change."""
    a: Any = old.data
    b: Any = new.data
    found = [
        *_head(a, b),
        *_declared(a, b),
        *_gates(a["gates"], b["gates"]),
        *step_changes(a, b),
        *_ends(a["ends"], b["ends"]),
        *_ways(old, new),
    ]
    if all(c.weight is Weight.OTHER for c in found) and _moves(old) != _moves(new):
        found.append(
            Change(Weight.LOOSER, "moves", "differ in a way that no line here names: read both files")
        )
    once = dict.fromkeys(found)
    return Difference(
        procedure=new.procedure,
        old=old.revision,
        new=new.revision,
        changes=tuple(sorted(once, key=lambda c: _ORDER[c.weight])),
    )


def _moves(table: Table) -> tuple[object, ...]:
    """Everything that moves a run; what is only read is left out."""
    return table.layout.variables, table.nodes, table.rows, table.consequences, table.start, table.free


def _head(a: Plain, b: Plain) -> Iterator[Change]:
    demands = tuple(r["require"] for r in a["scope"]), tuple(r["require"] for r in b["scope"])
    if demands[0] != demands[1]:
        yield Change(weigh_conditions(*demands), "scope", told(*demands))
    yield from refusals_changed("scope", a["scope"], b["scope"])
    yield from added_and_removed(
        "start", a["accepts"], b["accepts"], "accepts what was left: {}", added=Weight.LOOSER
    )
    for gate, (before, after) in _pairs(a.get("when_not_held", b["when_not_held"]), b["when_not_held"]):
        said = f"leads to {before or 'the line of the others'} -> {after or 'the line of the others'}"
        yield Change(Weight.LOOSER, f"when not held: {gate}", said)
    yield from texts_changed("procedure", a, b, ("title", "purpose", "not_covered", "basis"))
    for name, fact in b["facts"].items():
        yield from _fact(name, a["facts"].get(name), fact)
    for name in a["facts"].keys() - b["facts"].keys():
        yield Change(Weight.OTHER, f"fact {name}", "is no longer declared")


def _pairs(old: Mapping[str, str], new: Mapping[str, str]) -> Iterator[tuple[str, tuple[str, str]]]:
    """What differs by name; '' where one of the two has none."""
    for name in dict.fromkeys((*old, *new)):
        pair = old.get(name, ""), new.get(name, "")
        if pair[0] != pair[1]:
            yield name, pair


def _fact(name: str, old: Plain | None, new: Plain) -> Iterator[Change]:
    where = f"fact {name}"
    if old is None:
        yield Change(Weight.OTHER, where, "is declared")
        return
    for word, op in (("from", ">="), ("up_to", "<=")):
        before = (f"value {op} {old[word]}",) if word in old else ()
        after = (f"value {op} {new[word]}",) if word in new else ()
        if before != after:
            said = f"{word}: {old.get(word, 'none')} -> {new.get(word, 'none')}"
            yield Change(weigh_conditions(before, after), where, said)
    words = old.get("one_of", ()), new.get("one_of", ())
    yield from added_and_removed(
        where, *words, "may be '{}'", added=Weight.LOOSER, removed=Weight.LOOSER
    )  # a word that went is no longer said of what it stood for: another one is
    if old.get("unit") != new.get("unit"):
        said = f"unit: {old.get('unit', 'none')} -> {new.get('unit', 'none')}: a bare number means something else"
        yield Change(Weight.LOOSER, where, said)
    yield from texts_changed(where, old, new, ("ask", "kind", "list_of"))


# What is declared: leaving something out takes it away from the proof.
_OF = {"devices": "device", "sources": "source", "places": "place", "temporary": "temporary"}
_WAYS_OFF = ("through", "charged_by", "driven_by", "count")


def _declared(a: Plain, b: Plain) -> Iterator[Change]:
    for group, word in _OF.items():
        for name in b[group]:
            if name not in a[group]:
                yield Change(Weight.STRICTER, f"{word} {name}", "is declared")
        for name, old in a[group].items():
            new = b[group].get(name)
            if new is None:
                yield Change(
                    Weight.LOOSER, f"{word} {name}", "is no longer declared: the proof does not see it"
                )
            else:
                yield from _thing(f"{word} {name}", old, new)


def _thing(where: str, old: Plain, new: Plain) -> Iterator[Change]:
    for word in ("holds", "fed_by", "on"):
        yield from added_and_removed(
            where, old.get(word, ()), new.get(word, ()), word.replace("_", " ") + " {}", added=Weight.STRICTER
        )
    if new.get("limited") != old.get("limited"):
        weight = Weight.LOOSER if "limited" in new else Weight.STRICTER
        said = new.get("limited", "no longer counts as limited")
        yield Change(weight, where, f"limited: {said}")
    if new.get("can_return") != old.get("can_return"):
        weight = Weight.STRICTER if new.get("can_return") == "yes" else Weight.LOOSER
        yield Change(
            weight, where, f"can return: {old.get('can_return', 'no')} -> {new.get('can_return', 'no')}"
        )
    for word in _WAYS_OFF:
        if old.get(word) != new.get(word):
            said = f"{word.replace('_', ' ')}: {_list(old.get(word))} -> {_list(new.get(word))}"
            yield Change(Weight.LOOSER, where, said + ". Read what may hold it off now")
    for word in ("kind", "cover", "at"):
        if old.get(word) != new.get(word):
            yield Change(Weight.LOOSER, where, f"{word}: {old.get(word)} -> {new.get(word)}")
    yield from texts_changed(where, old, new, ("label",))


def _gates(a: Plain, b: Plain) -> Iterator[Change]:
    """Gates that both have; one that only one of them has shows in what steps need."""
    for key, old in a.items():
        new = b.get(key)
        if new is None:
            continue
        where = f"gate {old['gate']}"
        for word, said in (
            ("asks", "asks for {}"),
            ("rests_on", "rests on {}"),
            ("lost_by", "is lost by: {}"),
        ):
            yield from added_and_removed(
                where, old.get(word, new.get(word, ())), new.get(word, ()), said, added=Weight.STRICTER
            )
        if old["holds_for"] != new["holds_for"]:
            said = f"holds for {old['holds_for']} -> {new['holds_for']}"
            yield Change(_weigh_life(old["holds_for"], new["holds_for"]), where, said)
        yield from _kept(where, old.get("keeps", new.get("keeps", {})), new.get("keeps", {}))
        yield from texts_changed(where, old, new, ("title", "why", "basis", "status"))


def _weigh_life(old: str, new: str) -> Weight:
    """How long a gate holds. A shift against a time cannot be told: the shop sets how long a shift is."""
    if "unlimited" in {old, new}:
        return Weight.STRICTER if old == "unlimited" else Weight.LOOSER
    return Weight.LOOSER if "shift" in {old, new} else weigh_limits(old, new)


def _kept(where: str, old: Mapping[str, list[str]], new: Mapping[str, list[str]]) -> Iterator[Change]:
    """A kept answer is not asked again: more of that is looser, more that ends it is stricter."""
    yield from added_and_removed(where, old, new, "keeps the answer to '{}'", added=Weight.LOOSER)
    for name in old.keys() & new.keys():
        yield from added_and_removed(
            where, old[name], new[name], f"asks '{name}' again after: {{}}", added=Weight.STRICTER
        )


def _ends(a: Plain, b: Plain) -> Iterator[Change]:
    yield from added_and_removed("ends", a, b, "can end as '{}'", added=Weight.LOOSER)
    for name, old in a.items():
        new = b.get(name)
        if new is None:
            continue
        where = f"end {name}"
        yield from added_and_removed(where, old["needs"], new["needs"], "needs {}", added=Weight.STRICTER)
        for circuit in dict.fromkeys((*old["leaves"], *new["leaves"])):
            before, after = old["leaves"].get(circuit), new["leaves"].get(circuit)
            if before != after:
                weight = Weight.STRICTER if after == "held off" else Weight.LOOSER
                yield Change(
                    weight, where, f"leaves {circuit} {before or 'as it is'} -> {after or 'as it is'}"
                )
        yield from texts_changed(where, old, new, ("title", "next"))


def _ways(old: Table, new: Table) -> Iterator[Change]:
    """What everybody must pass before an end or a deed that raises the hazard, when nothing goes wrong."""
    before, after = passed_by_all(old), passed_by_all(new)
    for place in dict.fromkeys((*before, *after)):
        if place not in after:
            yield Change(Weight.OTHER, place, "cannot be reached any more when nothing goes wrong")
        elif place not in before:
            yield Change(Weight.LOOSER, place, "can be reached when nothing goes wrong")
        else:
            for step in sorted(before[place] - after[place]):
                yield Change(Weight.LOOSER, place, f"can be reached without '{step}'")
            for step in sorted(after[place] - before[place]):
                yield Change(Weight.STRICTER, place, f"can no longer be reached without '{step}'")


def _list(value: str | Iterable[str] | None) -> str:
    if value is None:
        return "none"
    return value if isinstance(value, str) else "; ".join(value) or "none"
