"""How the numbers of a record came about: every calculation with its inputs, and why gear was good enough."""

from collections.abc import Iterator
from typing import Any

from ohmward.account.check import UNREADABLE
from ohmward.account.limits import limit_workings, reading_workings
from ohmward.account.names import gear_in, names_for
from ohmward.account.state import Account
from ohmward.language.working import Working, told
from ohmward.record.entry import Entry, Kind

Step = Any  # a step of the table's data


Moment = tuple[Entry, Step, dict[str, str], dict[str, Any]]


def steps_with_slots(account: Account) -> Iterator[Moment]:
    """Every answered entry with its step, what was in use, and the job as it was known when it was answered."""
    slots: dict[str, str] = {}
    job = account.entries[0].data["job"]
    facts = dict(job["facts"])
    for entry in account.entries:
        step = account.steps.get(entry.step)
        if entry.kind is not Kind.ANSWERED or step is None:
            continue
        if step["kind"] == "gear" and entry.outcome == "suits":
            slots[step["slot"]] = entry.said
        if step["kind"] == "fact" and entry.outcome == "known":
            listed = "list_of" in account.table.data["facts"].get(step["fact"], {})  # type: ignore[attr-defined]
            facts[step["fact"]] = entry.said.split(", ") if listed else entry.said
        yield (
            entry,
            step,
            dict(slots),
            {**account.opened, "job": {**account.opened["job"], "facts": dict(facts)}},
        )


def worked_out(account: Account) -> list[tuple[str, str, str, str]]:
    """(time, calculation with its inputs, formula in words and source, result) of each, once for the same numbers."""
    seen: set[Working] = set()
    rows = []
    for entry, step, slots, opened in steps_with_slots(account):
        if step["kind"] != "reading":
            continue
        names = names_for(opened, slots, step, account.table.data, entry.time[:10])
        try:
            made = (*reading_workings(step, entry, names), *limit_workings(step, names))
        except UNREADABLE as error:  # a record that is not possible prints as well
            rows.append((entry.time[11:19], entry.step, f"cannot be read: {error}", ""))
            continue
        for work in made:
            if work not in seen:
                seen.add(work)
                rows.append(
                    (
                        entry.time[11:19],
                        f"{work.name}: {work.inputs}",
                        f"{work.words}. {work.source}",
                        work.ending,
                    )
                )
    return rows


def gear_reasons(account: Account) -> dict[str, str]:
    """Thing to the conditions that it met, with their values, the first time that it was picked."""
    found: dict[str, list[str]] = {}
    for entry, step, slots, _ in steps_with_slots(account):
        if step["kind"] != "gear" or entry.outcome != "suits" or entry.said not in account.opened["gear"]:
            continue
        names = gear_in(account, slots, step, entry.said, entry.time[:10])
        reasons = found.setdefault(entry.said, [])
        reasons += [t for t in (told(s["require"], names) for s in step["suits"]) if t not in reasons]
    return {item: "; ".join(reasons) for item, reasons in found.items()}
