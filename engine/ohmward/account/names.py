"""The values behind the names of limits, from the snapshots that a run's first entry carries."""

from collections.abc import Mapping
from decimal import Decimal
from functools import lru_cache
from typing import Any

from ohmward.account.judge import Accuracy
from ohmward.account.state import Account
from ohmward.account.words import items_of
from ohmward.language.evaluate import decide
from ohmward.language.expression import Truth, Undecided, Value, parse_expression
from ohmward.language.lists import MEANS, ROLES
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity

SECOND = "second person"  # after a point, in the values of a reading by two
_WORST = ("to-ground", "phase-to-phase", "category", "protection")


def value_of(text: object) -> Value:
    """A snapshot's text as a value: `true`/`false`, a quantity, else a word."""
    if not isinstance(text, str) or not text:
        return Undecided("the register does not say")
    return _value_of_text(text)


@lru_cache(maxsize=4096)
def _value_of_text(text: str) -> Value:
    if text in {"true", "false"}:
        return text == "true"
    try:
        return parse_quantity(text)
    except QuantityError:
        return text


def names_for(
    opened: Mapping[str, Any],
    slots: Mapping[str, str],
    step: Mapping[str, Any],
    table: Mapping[str, Any],
    day: str,
) -> dict[str, Value]:
    """Every name a step's limits may use on a day. What is not known is missing, and missing permits nothing."""
    job, gear = opened["job"], opened["gear"]
    names: dict[str, Value] = {word: word for word in (*ROLES, *MEANS)}
    if "closings-in-24-h" in job:
        names["machine.closings-in-24-h"] = value_of(job["closings-in-24-h"])
    for fact, text in job["facts"].items():
        names[f"fact.{fact}"] = value_of(text) if isinstance(text, str) else ", ".join(text)
        declared = table["facts"].get(fact, {})
        names |= {word: word for word in declared.get("one_of", ())}
    for circuit, known in job["circuits"].items():
        if circuit not in table["sources"]:
            continue  # what the procedure does not declare gives no name, whatever it is called
        names |= _prefixed(circuit, known) | _means(circuit, table, circuit)
    for slot, item in slots.items():
        names |= _gear(slot, gear.get(item, {}), day)
    for name, meant in step.get("env", {}).items():
        names |= _prefixed(name, job["circuits"].get(meant, {})) | _means(name, table, meant)
        if meant in table["places"]:
            names |= _prefixed(name, _worst(job["circuits"], table, meant))
        names |= _gear(name, gear.get(slots.get(meant, ""), {}), day)
    return names


def _means(prefix: str, table: Mapping[str, Any], circuit: str) -> dict[str, Value]:
    """The kind of device with which a circuit is held off: the nearest that can be."""
    source = table["sources"].get(circuit, {})
    kinds = [table["devices"][d]["kind"] for d in source.get("through", ())]
    holding = [k for k in kinds if k in MEANS]
    return {f"{prefix}.kind-of-means": holding[-1]} if holding else {}


def _gear(prefix: str, item: Mapping[str, Any], day: str) -> dict[str, Value]:
    """One thing's names; whether it is in date is judged on the day of the answer."""
    if not item:
        return {}
    names = _prefixed(prefix, item["names"])
    if item["dates"]:
        first, last = item["dates"]
        names[f"{prefix}.in-date"] = bool(first <= day <= last)
    return names


def gear_as_picked(account: Account, step: Mapping[str, Any], item: str, day: str) -> dict[str, Value]:
    """The names with one thing taken into the step's slot, also as `gear.*`."""
    names = gear_in(account, account.slots, step, item, day)
    if item in account.bad:
        names["gear.withdrawn"] = True
    return names


def gear_in(
    account: Account, slots: Mapping[str, str], step: Mapping[str, Any], item: str, day: str
) -> dict[str, Value]:
    """The names with one thing taken into the step's slot beside what `slots` says was in use."""
    names = names_for(account.opened, {**slots, step["slot"]: item}, step, account.table.data, day)
    return names | _gear("gear", account.opened["gear"][item], day)


def people_names(account: Account, person: str, day: str) -> dict[str, Value]:
    """The names about one person; training counts until its last day."""
    known = account.opened["people"][person]
    return {
        "person.qualified-here": known["qualified"] == "true"
        and (not known["until"] or day <= known["until"]),
        "person.role": known["role"],
        "person.is-worker": person == account.worker,
        "person.is-supervising": person == account.supervisor != account.worker,
    }


def _prefixed(prefix: str, values: Mapping[str, Any]) -> dict[str, Value]:
    return {f"{prefix}.{word}": value_of(text) for word, text in values.items() if isinstance(text, str)}


def _worst(circuits: Mapping[str, Any], table: Mapping[str, Any], place: str) -> dict[str, str]:
    """The highest of each among the circuits within reach; a circuit that is not described leaves it unknown."""
    worst: dict[str, str] = {}
    holds = [
        c
        for c in table["places"][place]["holds"]
        if table["sources"][c]["kind"] == "circuit"
        and "limited" not in table["sources"][c]
        and not ("count" in table["sources"][c] and c not in circuits)
    ]
    for word in _WORST:
        found = [value_of(circuits.get(c, {}).get(word)) for c in holds]
        known = [v for v in found if isinstance(v, Quantity)]
        if known and len(known) == len(found):
            worst[word] = str(max(known, key=lambda q: q.base))
    return worst


def accuracy_of(
    opened: Mapping[str, Any], slots: Mapping[str, str], step: Mapping[str, Any], function: str
) -> Accuracy | None:
    """How accurate the instrument in the step's slot is on a function; None when not known."""
    item = opened["gear"].get(slots.get(step.get("slot", ""), ""), {})
    stated = item.get("accuracy", {}).get(function)
    if not stated:
        return None
    return Accuracy(
        percent=Decimal(stated["percent"]),
        counts=int(stated["counts"]),
        resolution=parse_quantity(stated["resolution"]),
        up_to=parse_quantity(stated["up_to"]) if "up_to" in stated else None,
    )


def functions_of(step: Mapping[str, Any], names: Mapping[str, Value]) -> tuple[str, ...]:
    """The functions on which a step reads; one with a condition is left out only where that is surely false."""
    found = []
    for text in step.get("functions", ()):
        word, _, limit = text.partition(" where ")
        if not limit or decide(parse_expression(limit), names)[0] is not Truth.NO:
            found.append(word)
    return tuple(found) or (step.get("function", ""),)


def measures_of(
    opened: Mapping[str, Any], step: Mapping[str, Any], names: Mapping[str, Value]
) -> tuple[tuple[str, str], ...]:
    """(what is entered, function) of a reading, in order: every point on the first function, then on the next.

    Where two people read, all of it by the worker, then all of it by the second person.
    """
    functions = functions_of(step, names)
    points = points_of(opened, step)
    if len(functions) == 1:
        once = tuple((point, functions[0]) for point in points)
    else:
        once = tuple((f"{point}, {function}", function) for function in functions for point in points)
    again = tuple((f"{point}, {SECOND}", function) for point, function in once)
    return (*once, *again) if "second_within" in step else once


def _pairs(ends: list[str]) -> tuple[str, ...]:
    return tuple(f"{a} to {b}" for i, a in enumerate(ends) for b in ends[i + 1 :])


def supplies_of(opened: Mapping[str, Any], step: Mapping[str, Any]) -> tuple[str, ...]:
    """The supplies that a step is about, each in words; empty for any other step.

    One stands for all in the table: such a step is done only when it was done for each of these.
    """
    several = opened["job"].get("supplies", {}).get(step.get("supplies", ""), ())
    return tuple(f"{s['label']} - {s['means']}" for s in several)


def points_of(opened: Mapping[str, Any], step: Mapping[str, Any]) -> tuple[str, ...]:
    """The points of a reading, in order: a written list, every pair of conductors and ground, or each lead."""
    between = step["between"]
    if isinstance(between, list):
        return tuple(between)
    inner = between.partition("(")[2].rstrip(")")
    first, _, last = (part.strip() for part in inner.partition(","))
    if between.startswith("pairs("):
        circuit = first.partition(".")[0]
        name = step.get("env", {}).get(circuit, circuit)
        several = opened["job"].get("supplies", {}).get(name, ())
        if several:
            return tuple(f"{s['label']}: {p}" for s in several for p in _pairs([*s["conductors"], last]))
        return _pairs([*opened["job"]["circuits"].get(name, {}).get("conductors", ()), last])
    leads = items_of(opened["job"]["facts"], first.removeprefix("fact."))
    return tuple(f"{lead} to {last}" for lead in leads)
