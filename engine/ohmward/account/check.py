"""What an entry says against what it must say: its trigger, its values, its gear and people, its time."""

from collections.abc import Mapping
from datetime import datetime, timedelta
from typing import Any

from ohmward.account.answers import unlike_values
from ohmward.account.moments import moment
from ohmward.account.names import people_names
from ohmward.account.state import Account
from ohmward.chart.table import NODE_MASK
from ohmward.record.entry import Entry, Kind

# Everything that hostile but well-formed data can raise in reading it.
UNREADABLE = (KeyError, ValueError, TypeError, AttributeError, ArithmeticError, IndexError)


def due(account: Account, now: datetime) -> tuple[tuple[str, str], ...]:
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


def contradiction(account: Account, entry: Entry) -> str:
    """Why an entry cannot be true to its record; '' when nothing speaks against it. Total."""
    try:
        return (
            _untimely(account, entry)
            or _unlike_trigger(account, entry)
            or unlike_values(account, entry)
            or _without_key(account, entry)
        )
    except UNREADABLE as error:
        return f"it cannot be read: {type(error).__name__}: {error}"


def _untimely(account: Account, entry: Entry) -> str:
    taken = due(account, moment(entry.time))
    if taken and entry.trigger not in {trigger for trigger, _ in taken}:
        return f"'{taken[0][0]}' was due at {entry.time} and is not recorded"
    return ""


def signature_wanted(account: Account, step: Mapping[str, Any], said: str, outcome: str) -> str:
    """The meaning that must be signed by key before an answer counts; '' for none.

    Source: 29 CFR 1910.399, "qualified person", note 2: under the *direct* supervision of a qualified person. That the
    supervising person signs is ours.
    """
    if not account.by_key:
        return ""
    if step["kind"] == "sign" and outcome == "signed":
        return str(step["means"])
    supervises = step["kind"] == "person" and step.get("role") == "supervisor" and outcome == "named"
    return "supervised" if supervises and said not in {account.worker, *account.vouched} else ""


def key_wanted(account: Account, kind: Kind, trigger: str) -> bool:
    """Whether the worker must have shown their own key before this: before each begin, and each answer but that of a
    deed which is under way. Making safe and reconciling are no steps of the table, and want none."""
    if not account.by_key or account.worker in account.proved:
        return False
    return kind is Kind.BEGUN or (
        kind is Kind.ANSWERED and trigger.startswith("answered@") and not account.begun
    )


def release_wanted(account: Account, trigger: str, person: str) -> bool:
    """Whether a qualified person's word on how to go on must be signed by key: where it is not the worker's own."""
    return account.by_key and trigger.partition("@")[0] in {"go-on", "leave-out"} and person != account.worker


def _without_key(account: Account, entry: Entry) -> str:
    if account.by_key and entry.actor != account.worker and entry.kind not in _BY_OTHERS:
        return f"it is told by {entry.actor}, while {account.worker} works"
    step = account.steps.get(entry.step)
    last = account.entries[-1]
    if step is not None and key_wanted(account, entry.kind, entry.trigger):
        return f"{account.worker} works, and has not shown their own key since the last hand-over"
    if release_wanted(account, entry.trigger, entry.said):
        signed = (last.kind, last.actor, last.said) == (Kind.SIGNED, entry.said, "released")
        return "" if signed else f"{entry.said} has not signed 'released' before it"
    if step is None or entry.kind is not Kind.ANSWERED:
        return ""
    meaning = signature_wanted(account, step, entry.said, entry.outcome)
    if not meaning or (last.kind, last.actor, last.said) == (Kind.SIGNED, entry.said, meaning):
        return ""
    return f"{entry.said} has not signed '{meaning}' before it"


_BY_OTHERS = frozenset({Kind.SIGNED, Kind.RETURNED, Kind.NOTED})
_KINDS = {
    "begin": Kind.BEGUN,
    "answered": Kind.ANSWERED,
    "answered-late": Kind.ANSWERED,
    "correct": Kind.CORRECTED,
    "go-on": Kind.RELEASED,
    "make-safe": Kind.RELEASED,
    "leave-out": Kind.RELEASED,
    "found": Kind.FOUND,
    "interrupted": Kind.INTERRUPTED,
    "pause": Kind.STOPPED,
    "unsafe": Kind.STOPPED,
    "emergency": Kind.STOPPED,
}


def _unlike_trigger(account: Account, entry: Entry) -> str:
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
        word in {"go-on", "leave-out"}
        and people_names(account, entry.said, entry.time[:10])["person.qualified-here"] is not True
    ):
        return f"{entry.said} is not shown as qualified"
    return ""


def foreign_locks(account: Account, step: str) -> tuple[str, ...]:
    """The owners of other people's locks on what a step releases or closes."""
    begun = account.steps[step]["begun"] if step in account.steps else ()
    devices = [e.partition(" ")[2] for e in begun if e.startswith(("release ", "close "))]
    return tuple(p for d in devices for p in account.locks.get(d, ()) if p != account.worker)
