"""Before the first step: the table, its permit, the job against the scope, what earlier runs left."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from ohmward.account.fold import Account, Matter, open_matters
from ohmward.account.names import names_for, value_of
from ohmward.chart.document import to_document
from ohmward.chart.meaning import debt_variable, temporary_variable
from ohmward.chart.table import Table
from ohmward.errors import RefusedError
from ohmward.language.evaluate import decide
from ohmward.language.expression import Truth, parse_expression
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity


@dataclass(frozen=True, slots=True, kw_only=True)
class Opening:
    """What the first entry will carry."""

    data: Mapping[str, Any]


def missing_facts(table: Table, job: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """(fact, question) of what the job sheet does not say and the procedure asks."""
    facts: Any = table.data["facts"]
    return tuple((n, f["ask"]) for n, f in facts.items() if n not in job["facts"] and "ask" in f)


def check_fact(table: Table, name: str, text: str) -> str | list[str]:
    """The fact as it is kept. Raises QuantityError in words."""
    facts: Any = table.data["facts"]
    declared = facts[name]
    if "list_of" in declared:
        return [part.strip() for part in text.split(",") if part.strip()]
    if "one_of" in declared:
        if text not in declared["one_of"]:
            raise QuantityError(f"'{text}' is not one of: {', '.join(declared['one_of'])}")
        return text
    value = parse_quantity(text if text[-1:].isalpha() else f"{text} {declared.get('unit', '')}".strip())
    value.must_match(Quantity(value.value, declared.get("unit", "")))
    for word, sign in (("from", -1), ("up_to", 1)):
        if word in declared and value.compare(parse_quantity(declared[word])) * sign > 0:
            raise QuantityError(
                f"{name}: {value} is outside what is believed ({declared.get('from', '')} to {declared.get('up_to', '')})"
            )
    return str(value)


def must_fit(table: Table, job: Mapping[str, Any], gear: Mapping[str, Any]) -> None:
    """Facts believable, scope true. Raises RefusedError with every condition that is not met."""
    wrong = []
    for name, said in job["facts"].items():
        if name in table.data["facts"]:  # type: ignore[operator]
            try:
                check_fact(table, name, said if isinstance(said, str) else ", ".join(said))
            except QuantityError as error:
                wrong.append(f"job sheet, facts, {name}: {error}")
    names = names_for({"job": job, "gear": gear}, {}, {"env": {}}, table.data)
    names |= {
        f"{c}.{w}": value_of(t)
        for c, known in job["circuits"].items()
        for w, t in known.items()
        if isinstance(t, str)
    }
    scope: Any = table.data["scope"]
    for require in scope:
        truth, why = decide(parse_expression(require["require"]), names)
        if truth is not Truth.YES:
            wrong.append(f"{require['otherwise']} (needed: {require['require']}{'; ' + why if why else ''})")
    if wrong:
        raise RefusedError("This procedure does not fit this job:\n  " + "\n  ".join(wrong))


def must_accept(table: Table, earlier: Account | None, worker: str) -> dict[str, str]:
    """The free variables with which a run starts, from what the last run on the equipment left.

    Raises RefusedError when that run is still open, or left what this procedure does not start from.
    """
    if earlier is None:
        return {}
    if not earlier.ended:
        raise RefusedError(
            f"run {earlier.run} on this machine is still open: take it up with `ohmward resume {earlier.run}`, then start another"
        )
    accepts: Any = table.data["accepts"]
    start: dict[str, str] = {}
    refused: list[Matter] = []
    for matter in open_matters(earlier):
        name = {"temporary": temporary_variable, "trip": debt_variable}.get(matter.kind)
        if matter.kind not in accepts or (matter.kind == "lock" and matter.owner != worker):
            refused.append(matter)
        elif name is not None and name(matter.name) in table.free:
            start[name(matter.name)] = "in place" if matter.kind == "temporary" else "unanswered"
        elif name is not None:
            refused.append(matter)
    if refused:
        listed = "\n  ".join(
            f"{m.kind}: {m.label}" + (f" (of {m.owner})" if m.owner else "") for m in refused
        )
        raise RefusedError(
            f"Run {earlier.run} left this on the machine, and this procedure does not start from it:\n  {listed}\nWork `take-down-what-was-left` first; a lock is taken off by its owner."
        )
    return start


def opening_data(
    *,
    table: Table,
    job: Mapping[str, Any],
    people: Mapping[str, Any],
    gear: Mapping[str, Any],
    start: Mapping[str, str],
    rehearsal: bool,
    proof: str,
    shop: str,
    version: str,
    shift_seconds: int,
) -> dict[str, Any]:
    """The first entry's data: a run finishes on its own table, whatever is installed later."""
    return {
        "table": to_document(table),
        "job": dict(job),
        "people": dict(people),
        "gear": dict(gear),
        "start": dict(start),
        "rehearsal": rehearsal,
        "proof": proof,
        "shop": shop,
        "version": version,
        "shift_seconds": shift_seconds,
    }


def last_on(equipment: str, accounts: Sequence[Account], *, rehearsal: bool) -> Account | None:
    """The last run on a machine; rehearsals and real runs do not see each other."""
    mine = [a for a in accounts if a.opened["job"]["equipment"] == equipment and a.rehearsal == rehearsal]
    return mine[-1] if mine else None
