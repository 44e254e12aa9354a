"""What an entry says against what it must say: its trigger, its values, its gear and people, its time."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from ohmward.account.judge import NOT_DECIDED, first_unmet, judge_reading
from ohmward.account.names import accuracy_of, gear_as_picked, names_for, people_names
from ohmward.chart.table import NODE_MASK
from ohmward.record.entry import Entry, Kind

if TYPE_CHECKING:
    from ohmward.account.fold import Account

# Everything that hostile but well-formed data can raise in reading it.
UNREADABLE = (KeyError, ValueError, TypeError, AttributeError, ArithmeticError, IndexError)


def moment(text: str) -> datetime:
    """A claimed time as UTC. Raises ValueError for text that is none."""
    read = datetime.fromisoformat(text)
    if read.tzinfo is None:
        raise ValueError(f"'{text}' lacks its time zone")
    return read.astimezone(UTC)


def due(account: "Account", now: datetime) -> tuple[tuple[str, str], ...]:
    """(trigger, why) of what time itself has taken by `now`; one clock or shift event stands for all.

    The permit, negated: an age below zero or not a number is no permit either.
    """
    if account.ended:
        return ()
    offered = account.table.packed[account.position & NODE_MASK]
    if not now >= moment(account.time):
        return (("clock went back", f"the entry before claims {account.time}"),)
    if not timedelta(0) <= now - moment(account.shift) <= timedelta(seconds=account.shift_length):
        return (("shift ended", ""),)
    gates: Any = account.table.data["gates"]
    found = []
    for key, held in account.held.items():
        limit = timedelta(seconds=min(int(gates[key]["lifetime"]), 10**9))
        if f"lapsed@{key}" in offered and not timedelta(0) <= now - moment(held.since) <= limit:
            found.append((f"lapsed@{key}", ""))
    return tuple(found)


def contradiction(account: "Account", entry: Entry) -> str:
    """Why an entry cannot be true to its record; '' when nothing speaks against it. Total."""
    try:
        return _untimely(account, entry) or _unlike_trigger(account, entry) or _unlike_values(account, entry)
    except UNREADABLE as error:
        return f"it cannot be read: {type(error).__name__}: {error}"


def _untimely(account: "Account", entry: Entry) -> str:
    taken = due(account, moment(entry.time))
    if taken and entry.trigger not in {trigger for trigger, _ in taken}:
        return f"'{taken[0][0]}' was due at {entry.time} and is not recorded"
    return ""


def _unlike_trigger(account: "Account", entry: Entry) -> str:
    """Step and outcome as the trigger says them."""
    word, _, rest = entry.trigger.partition("@")
    name, _, outcome = rest.partition("=")
    if word not in {"begin", "answered", "answered-late"} or name not in account.steps:
        return ""
    kind = Kind.BEGUN if word == "begin" else Kind.ANSWERED
    if (entry.kind, entry.step, entry.outcome) != (kind, name, outcome):
        return f"its trigger says '{entry.trigger}', its fields say {entry.kind.value} '{entry.step}' '{entry.outcome}'"
    return ""


def _unlike_values(account: "Account", entry: Entry) -> str:
    """Readings judged again, gear and people held against what the step asks of them."""
    step = account.steps.get(entry.step)
    if step is None or entry.kind is not Kind.ANSWERED:
        return ""
    match step["kind"]:
        case "reading":
            return _reading(account, entry, step)
        case "gear" if entry.outcome != NOT_DECIDED:
            if step["slot"] not in account.opened["gear"][entry.said]["slots"]:
                return f"{entry.said} is not registered for {step['slot']}"
            unmet = first_unmet(step["suits"], gear_as_picked(account, step, entry.said, entry.time[:10]))[0]
            return f"{entry.said} does not meet '{unmet}'" if unmet else ""
        case "person" if entry.outcome != NOT_DECIDED:
            unmet = first_unmet(step["suits"], people_names(account, entry.said, entry.time[:10]))[0]
            return f"{entry.said} does not meet '{unmet}'" if unmet else ""
        case _:
            return ""


def _reading(account: "Account", entry: Entry, step: Mapping[str, Any]) -> str:
    if not entry.values:
        fits = entry.said == "cannot" and entry.outcome == NOT_DECIDED
        return "" if fits else f"the reading '{entry.step}' has no values"
    said = [(v.point, v.said) for v in entry.values]
    names = names_for(account.opened, account.slots, step, account.table.data, entry.time[:10])
    judged = judge_reading(step, said, accuracy_of(account.opened, account.slots, step), names)
    if judged.outcome != entry.outcome or judged.values != entry.values:
        return f"the values of '{entry.step}' say '{judged.outcome}', the entry says '{entry.outcome}'"
    return ""
