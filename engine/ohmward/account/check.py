"""What an entry says against what it must say: its trigger, its values, its gear and people, its time."""

from collections.abc import Mapping
from datetime import UTC, datetime, timedelta
from typing import TYPE_CHECKING, Any

from ohmward.account.judge import NOT_DECIDED, first_unmet, judge_reading
from ohmward.account.names import accuracy_of, gear_as_picked, names_for, people_names, points_of
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


_KINDS = {
    "begin": Kind.BEGUN,
    "answered": Kind.ANSWERED,
    "answered-late": Kind.ANSWERED,
    "correct": Kind.CORRECTED,
    "go-on": Kind.RELEASED,
    "make-safe": Kind.RELEASED,
    "found": Kind.FOUND,
    "interrupted": Kind.INTERRUPTED,
    "pause": Kind.STOPPED,
    "unsafe": Kind.STOPPED,
    "emergency": Kind.STOPPED,
}


def _unlike_trigger(account: "Account", entry: Entry) -> str:
    """Kind, step and outcome as the trigger says them; who may do what it says."""
    word, _, rest = entry.trigger.partition("@")
    name, _, outcome = rest.partition("=")
    if entry.trigger and entry.kind is not _KINDS.get(word, Kind.LOST):
        return f"'{entry.trigger}' is not reported by an entry '{entry.kind.value}'"
    if (
        word in {"begin", "answered", "answered-late"}
        and name in account.steps
        and (entry.step, entry.outcome) != (name, outcome)
    ):
        return f"its trigger says '{entry.trigger}', its fields say '{entry.step}' '{entry.outcome}'"
    if word == "begin":
        owners = foreign_locks(account, name)
        return f"the lock is on by {', '.join(owners)}" if owners else ""
    if word == "correct":
        return "" if name in account.answered else f"'{name}' was not answered before"
    if (
        word == "go-on"
        and people_names(account, entry.said, entry.time[:10])["person.qualified-here"] is not True
    ):
        return f"{entry.said} is not shown as qualified"
    return ""


def foreign_locks(account: "Account", step: str) -> tuple[str, ...]:
    """The owners of other people's locks on what a step releases or closes."""
    begun = account.steps[step]["begun"] if step in account.steps else ()
    devices = [e.partition(" ")[2] for e in begun if e.startswith(("release ", "close "))]
    return tuple(p for d in devices for p in account.locks.get(d, ()) if p != account.worker)


def _unlike_values(account: "Account", entry: Entry) -> str:
    """Readings judged again, gear and people held against what the step asks of them."""
    step = account.steps.get(entry.step)
    if step is None or entry.kind is not Kind.ANSWERED:
        return ""
    match step["kind"]:
        case "reading":
            return _reading(account, entry, step)
        case "choice" | "action" if entry.said.casefold() != entry.outcome:
            return f"'{entry.said}' was said, the outcome is '{entry.outcome}'"
        case "confirm" if (entry.said.casefold() == "cannot") != (entry.outcome == "cannot"):
            return f"'{entry.said}' was said, the outcome is '{entry.outcome}'"
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
    if tuple(v.point for v in entry.values) != points_of(account.opened, step):
        return f"the reading '{entry.step}' has other points than its step"
    if entry.instrument != account.slots.get(step["slot"], ""):
        return f"the reading '{entry.step}' was taken with '{entry.instrument}', not with what is in use"
    if (
        not moment(account.begun or account.opened_at) - timedelta(seconds=1)
        <= moment(entry.taken)
        <= moment(entry.time)
    ):
        return f"the reading '{entry.step}' was taken at {entry.taken}, not between its begin and its entry"
    said = [(v.point, v.said) for v in entry.values]
    names = names_for(account.opened, account.slots, step, account.table.data, entry.time[:10])
    judged = judge_reading(step, said, accuracy_of(account.opened, account.slots, step), names)
    if judged.outcome != entry.outcome or judged.values != entry.values:
        return f"the values of '{entry.step}' say '{judged.outcome}', the entry says '{entry.outcome}'"
    return ""
