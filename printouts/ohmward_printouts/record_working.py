"""How the numbers of a record came about: every calculation with its inputs, and why gear was good enough."""

from collections.abc import Iterator
from typing import Any

from ohmward.account.limits import limit_workings, reading_workings
from ohmward.account.names import gear_in, names_for
from ohmward.account.state import Account
from ohmward.language.working import Working, told
from ohmward.record.entry import Entry, Kind

Step = Any  # a step of the table's data


def steps_with_slots(account: Account) -> Iterator[tuple[Entry, Step, dict[str, str]]]:
    """Every answered entry with its step and what was in use when it was answered."""
    slots: dict[str, str] = {}
    for entry in account.entries:
        step = account.steps.get(entry.step)
        if entry.kind is not Kind.ANSWERED or step is None:
            continue
        if step["kind"] == "gear" and entry.outcome == "suits":
            slots[step["slot"]] = entry.said
        yield entry, step, dict(slots)


def worked_out(account: Account) -> list[tuple[str, str, str, str]]:
    """(time, calculation with its inputs, formula in words and source, result) of each, once for the same numbers."""
    seen: set[Working] = set()
    rows = []
    for entry, step, slots in steps_with_slots(account):
        if step["kind"] != "reading":
            continue
        names = names_for(account.opened, slots, step, account.table.data, entry.time[:10])
        for work in (*reading_workings(step, entry, names), *limit_workings(step, names)):
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
    for entry, step, slots in steps_with_slots(account):
        if step["kind"] != "gear" or entry.outcome != "suits" or entry.said not in account.opened["gear"]:
            continue
        names = gear_in(account, slots, step, entry.said, entry.time[:10])
        reasons = found.setdefault(entry.said, [])
        reasons += [t for t in (told(s["require"], names) for s in step["suits"]) if t not in reasons]
    return {item: "; ".join(reasons) for item, reasons in found.items()}
