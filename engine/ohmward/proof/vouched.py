"""Rules over what vouches for a reading: the same instrument, on the same function, before it and after it."""

from collections.abc import Iterator, Mapping
from typing import Any

from ohmward.chart.table import Table
from ohmward.language.models import Rule
from ohmward.proof.after_answer import with_asked
from ohmward.proof.leaving import told, way_past, way_to_held
from ohmward.proof.reading_rules import WHERE, functions_of

_NOTHING, _PROVED, _READ, _VOUCHED, _BARE = range(5)  # of one reading, on the way so far


def unproved(table: Table, key: str, rule: Rule) -> Iterator[str]:
    """`proved_by`: each reading of a gate that can count without its own meter's proof on both sides, as words."""
    data: Any = table.data
    for tag, proof in rule.proved_by.items():
        for name in data["gates"][key]["steps"]:
            step = data["steps"][name]
            if step["evidence"] == tag and step["kind"] == "reading":
                path = _way_unproved(table, key, name, (tag, proof))
                if path is not None:
                    yield f"'{step['prompt']}' counts without '{proof}' of its {step['slot']}, on its function, before and after it: {told(key, path)}"


def _way_unproved(table: Table, key: str, name: str, tags: tuple[str, str]) -> tuple[str, ...] | None:
    """The shortest way to held on which this reading is the last of its kind and is not vouched for."""
    data: Any = table.data
    tag, proof = tags
    read = data["steps"][name]
    before = _PROVED if _proved_before(table, key, read, proof) else _NOTHING

    def counted(known: int, mark: str, step: str) -> int:
        if mark == proof and _same(data["steps"].get(step, {}), read):
            return _VOUCHED if known in {_READ, _VOUCHED} else known if known == _BARE else _PROVED
        if mark == tag and step == name:
            return _READ if max(known, before) in {_PROVED, _VOUCHED, _READ} else _BARE
        if mark == tag:  # another reading counts from here on
            return _NOTHING if known in {_NOTHING, _BARE} else _PROVED
        return known

    return way_to_held(table, key, counted, lambda known: known in {_READ, _BARE})


def _proved_before(table: Table, key: str, read: Mapping[str, Any], proof: str) -> bool:
    """Whether a gate that this one asks for proves this reading's instrument on its function, on every way to held."""
    data: Any = table.data
    for gate in with_asked(data, data["gates"][key]["asks"]):
        proving = [n for n in data["gates"][gate]["steps"] if _proves(data["steps"][n], proof, read)]
        if proving and way_past(table, gate, proving) is None:
            return True
    return False


def _proves(step: Mapping[str, Any], proof: str, read: Mapping[str, Any]) -> bool:
    return step["evidence"] == proof and _same(step, read)


def _same(one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
    """Whether a proof is made with a reading's instrument, on every function on which that is always taken; on one at least.

    What is read only where something holds (`dc volts where it.can-hold-dc`) is not asked of the proof.
    """
    taken = {f for f in functions_of(other) if WHERE not in f}
    return one.get("slot") == other["slot"] and bool(taken) and taken <= set(functions_of(one))
