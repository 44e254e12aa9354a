"""Before the first step: the table, its permit, the job against the scope, what earlier runs left."""

from collections.abc import Mapping, Sequence
from typing import Any

from ohmward.account.facts import check_fact, decided_conditions
from ohmward.account.fold import open_matters
from ohmward.account.history import runs_on
from ohmward.account.scope import unfit
from ohmward.account.state import Account, Matter
from ohmward.account.words import items_of
from ohmward.chart.document import to_document
from ohmward.chart.names import debt_variable, temporary_variable
from ohmward.chart.table import Table
from ohmward.errors import RefusedError
from ohmward.trade.quantity import QuantityError


def missing_facts(table: Table, job: Mapping[str, Any]) -> tuple[tuple[str, str], ...]:
    """(fact, question) of what the job sheet does not say and the procedure asks."""
    facts: Any = table.data["facts"]
    steps: Any = table.data["steps"]
    later = {s["fact"] for s in steps.values() if s["kind"] == "fact"}
    return tuple(
        (n, f["ask"]) for n, f in facts.items() if n not in job["facts"] and "ask" in f and n not in later
    )


def asked_by_gates(table: Table) -> tuple[str, ...]:
    """The facts that a gate's routine asks: evidence of this visit, which no job sheet can give before it."""
    steps: Any = table.data["steps"]
    return tuple(s["fact"] for s in steps.values() if s["kind"] == "fact" and s["owner"])


def checked_facts(table: Table, facts: Mapping[str, Any]) -> tuple[dict[str, Any], dict[str, str]]:
    """The facts as they are kept, and what is wrong with those that cannot be believed, by name."""
    declared: Any = table.data["facts"]
    kept: dict[str, Any] = {}
    wrong: dict[str, str] = {}
    for name, said in facts.items():
        if name not in declared:
            kept[name] = said
            continue
        try:
            kept[name] = check_fact(table, name, said if isinstance(said, str) else ", ".join(said))
        except QuantityError as error:
            wrong[name] = str(error)
    return kept, wrong


def must_fit(table: Table, job: Mapping[str, Any], day: str) -> None:
    """The job's numbers meet the scope. Raises RefusedError with every condition that is not met."""
    wrong = unfit(table, job, day)
    if wrong:
        raise RefusedError("This procedure does not fit this job:\n  " + "\n  ".join(wrong))


def data_conditions(table: Table, job: Mapping[str, Any], day: str) -> dict[str, str]:
    """The conditions that this job decides, as the run starts with them. Raises RefusedError."""
    decided, undecided = decided_conditions(table, job, day)
    wrong = [
        f"'{limit}' cannot be decided: {why}; write it into the job sheet" for limit, why in undecided.items()
    ]
    lists: Any = table.data["lists"]
    for fact, most in lists.items():
        count = len(items_of(job["facts"], fact))
        if count > most:
            wrong.append(f"{fact}: {count} are named, this procedure takes {most} in one run; work it twice")
    if wrong:
        raise RefusedError("This procedure cannot start on this job:\n  " + "\n  ".join(wrong))
    return decided


def _must_be_over(earlier: Account) -> None:
    if earlier.impossible:
        raise RefusedError(
            f"run {earlier.run} on this machine is not possible under its procedure ({earlier.impossible}): what it left is not known. A qualified person looks at machine and record first"
        )
    if not earlier.ended:
        raise RefusedError(
            f"run {earlier.run} on this machine is still open{' (a rehearsal)' if earlier.rehearsal else ''}: take it up with `ohmward resume {earlier.run}`, then start another"
        )


def must_accept(table: Table, earlier: Account | None) -> dict[str, str]:
    """The free variables with which a run starts, from what the last run on the equipment left.

    Raises RefusedError when that run is still open, or left what this procedure does not start from.
    """
    if earlier is None:
        return {}
    _must_be_over(earlier)
    accepts: Any = table.data["accepts"]
    start: dict[str, str] = {}
    refused: list[Matter] = []
    for matter in open_matters(earlier):
        name = {"temporary": temporary_variable, "trip": debt_variable}.get(matter.kind)
        if matter.kind not in accepts:
            refused.append(matter)
        elif name is not None and name(matter.name) in table.free:
            start[name(matter.name)] = "in place" if matter.kind == "temporary" else "unanswered"
        elif name is not None:
            refused.append(matter)
    if refused:
        listed = "\n  ".join(m.words for m in refused)
        raise RefusedError(
            f"Run {earlier.run} left this on the machine, and this procedure does not start from it:\n  {listed}\nWork `take-down-what-was-left` first."
        )
    return start


def opening_data(
    *,
    table: Table,
    job: Mapping[str, Any],
    people: Mapping[str, Any],
    gear: Mapping[str, Any],
    start: Mapping[str, str],
    locks: Mapping[str, tuple[str, ...]],
    rehearsal: bool,
    proof: str,
    shop: str,
    version: str,
    shift_seconds: int,
    earlier: Mapping[str, str],
    signed: bool = False,
) -> dict[str, Any]:
    """The first entry's data: a run finishes on its own table, whatever is installed later."""
    return {
        "table": to_document(table),
        "job": dict(job),
        "people": dict(people),
        "gear": dict(gear),
        "start": dict(start),
        "locks": {d: list(p) for d, p in locks.items()},
        "rehearsal": rehearsal,
        "proof": proof,
        "shop": shop,
        "version": version,
        "shift_seconds": shift_seconds,
        "earlier": dict(earlier),
        "signed": signed,
    }


def last_on(equipment: str, accounts: Sequence[Account], *, rehearsal: bool) -> Account | None:
    """The last run on a machine; rehearsals and real runs do not see each other.

    A rehearsal that was left open stands in nobody's way: it never counts.
    """
    mine = [a for a in runs_on(equipment, accounts, rehearsal=rehearsal) if a.ended or not rehearsal]
    return mine[-1] if mine else None
