"""The values behind the names of limits, from the snapshots that a run's first entry carries."""

from collections.abc import Mapping
from decimal import Decimal
from typing import TYPE_CHECKING, Any

from ohmward.account.judge import Accuracy
from ohmward.language.expression import Undecided, Value
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity

if TYPE_CHECKING:
    from ohmward.account.fold import Account

_WORST = ("to-ground", "phase-to-phase", "category", "protection")


def value_of(text: object) -> Value:
    """A snapshot's text as a value: `true`/`false`, a quantity, else a word."""
    if not isinstance(text, str) or not text:
        return Undecided("the register does not say")
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
    names: dict[str, Value] = {}
    for fact, text in job["facts"].items():
        names[f"fact.{fact}"] = value_of(text) if isinstance(text, str) else ", ".join(text)
        declared = table["facts"].get(fact, {})
        names |= {word: word for word in declared.get("one_of", ())}
    for circuit, known in job["circuits"].items():
        names |= _prefixed(circuit, known)
    for slot, item in slots.items():
        names |= _gear(slot, gear.get(item, {}), day)
    for name, meant in step.get("env", {}).items():
        names |= _prefixed(name, job["circuits"].get(meant, {}))
        if meant in table["places"]:
            names |= _prefixed(name, _worst(job["circuits"], table, meant))
        names |= _gear(name, gear.get(slots.get(meant, ""), {}), day)
    return names


def _gear(prefix: str, item: Mapping[str, Any], day: str) -> dict[str, Value]:
    """One thing's names; whether it is in date is judged on the day of the answer."""
    if not item:
        return {}
    names = _prefixed(prefix, item["names"])
    if item["dates"]:
        first, last = item["dates"]
        names[f"{prefix}.in-date"] = bool(first <= day <= last)
    return names


def gear_as_picked(account: "Account", step: Mapping[str, Any], item: str, day: str) -> dict[str, Value]:
    """The names with one thing taken into the step's slot, also as `gear.*`."""
    slots = {**account.slots, step["slot"]: item}
    names = names_for(account.opened, slots, step, account.table.data, day)
    names |= _gear("gear", account.opened["gear"][item], day)
    if item in account.bad:
        names["gear.withdrawn"] = True
    return names


def people_names(account: "Account", person: str, day: str) -> dict[str, Value]:
    """The names about one person; training counts until its last day."""
    known = account.opened["people"][person]
    return {
        "person.qualified-here": known["qualified"] == "true"
        and (not known["until"] or day <= known["until"]),
        "person.role": known["role"],
        "person.is-worker": person == account.worker,
    }


def _prefixed(prefix: str, values: Mapping[str, Any]) -> dict[str, Value]:
    return {f"{prefix}.{word}": value_of(text) for word, text in values.items() if isinstance(text, str)}


def _worst(circuits: Mapping[str, Any], table: Mapping[str, Any], place: str) -> dict[str, str]:
    """The highest of each among the circuits within reach; a circuit that is not described leaves it unknown."""
    worst: dict[str, str] = {}
    holds = [
        c
        for c in table["places"][place]["holds"]
        if table["sources"][c]["kind"] == "circuit" and "limited" not in table["sources"][c]
    ]
    for word in _WORST:
        found = [value_of(circuits.get(c, {}).get(word)) for c in holds]
        known = [v for v in found if isinstance(v, Quantity)]
        if known and len(known) == len(found):
            worst[word] = str(max(known, key=lambda q: q.base))
    return worst


def accuracy_of(
    opened: Mapping[str, Any], slots: Mapping[str, str], step: Mapping[str, Any]
) -> Accuracy | None:
    """How accurate the instrument in the step's slot is on the step's function; None when not known."""
    item = opened["gear"].get(slots.get(step.get("slot", ""), ""), {})
    stated = item.get("accuracy", {}).get(step.get("function", ""))
    if not stated:
        return None
    return Accuracy(
        percent=Decimal(stated["percent"]),
        counts=int(stated["counts"]),
        resolution=parse_quantity(stated["resolution"]),
    )


def points_of(opened: Mapping[str, Any], step: Mapping[str, Any]) -> tuple[str, ...]:
    """The points of a reading, in order: a written list, every pair of conductors and ground, or each lead."""
    between = step["between"]
    if isinstance(between, list):
        return tuple(between)
    inner = between.partition("(")[2].rstrip(")")
    first, _, last = (part.strip() for part in inner.partition(","))
    if between.startswith("pairs("):
        circuit = first.partition(".")[0]
        known = opened["job"]["circuits"].get(step.get("env", {}).get(circuit, circuit), {})
        ends = [*known.get("conductors", ()), last]
        return tuple(f"{a} to {b}" for i, a in enumerate(ends) for b in ends[i + 1 :])
    leads = opened["job"]["facts"].get(first.removeprefix("fact."), ())
    leads = [leads] if isinstance(leads, str) else leads
    return tuple(f"{lead} to {last}" for lead in leads)
