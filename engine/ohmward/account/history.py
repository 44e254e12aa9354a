"""What earlier runs on a machine read: the last value of each step, for showing beside today's."""

import re
from collections.abc import Iterator, Sequence
from datetime import datetime, timedelta
from typing import Any

from ohmward.account.moments import moment
from ohmward.account.state import Account
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import with_unit


def readings_of(account: Account) -> tuple[tuple[Entry, str], ...]:
    """Every usable reading of a run with its values in words, oldest first; not one that was corrected later."""
    steps: Any = account.steps
    corrected = {e.step: e.number for e in account.entries if e.kind is Kind.CORRECTED}
    return tuple(
        (entry, words_of(entry, steps[entry.step]["unit"]))
        for entry in account.entries
        if entry.kind is Kind.ANSWERED
        and entry.values
        and entry.number > corrected.get(entry.step, 0)
        and not entry.trigger.startswith("answered-late")
        and steps.get(entry.step, {}).get("kind") == "reading"
    )


def words_of(entry: Entry, unit: str) -> str:
    """The values of a reading as they were typed, with their points and unit."""
    shown = [with_unit(v.said, unit) for v in entry.values]
    if len(shown) == 1:
        return f"{shown[0]} ({entry.outcome})"
    return (
        "; ".join(f"{v.point} {text}" for v, text in zip(entry.values, shown, strict=True))
        + f" ({entry.outcome})"
    )


def machine_key(equipment: str) -> str:
    """A machine whose id is spelled with other case, blanks, hyphens or leading zeros is the same machine.

    Nothing begins anew there. Two numbers stay two numbers: fan 1-11 is not fan 11-1.
    """
    parts = re.findall(r"[^\W\d_]+|\d+", equipment.casefold())
    made = ""
    for part in parts:
        number = part.isdecimal()
        made += "-" if number and made[-1:].isdecimal() else ""
        made += (part.lstrip("0") or "0") if number else part
    return made or equipment


def runs_on(equipment: str, accounts: Sequence[Account], *, rehearsal: bool) -> tuple[Account, ...]:
    """The runs on a machine, in their order; rehearsals and real runs do not see each other."""
    return tuple(
        a
        for a in accounts
        if machine_key(a.opened["job"]["equipment"]) == machine_key(equipment) and a.rehearsal == rehearsal
    )


def earlier_readings(accounts: Sequence[Account], equipment: str, *, rehearsal: bool) -> dict[str, str]:
    """Step to the last value read there on this machine, with its day. Runs that cannot have been are left out."""
    found: dict[str, str] = {}
    for account in runs_on(equipment, accounts, rehearsal=rehearsal):
        if not account.impossible:
            found |= {entry.step: f"{words} on {entry.time[:10]}" for entry, words in readings_of(account)}
    return found


DAY = timedelta(hours=24)


def closings_after_trips(
    accounts: Sequence[Account], equipment: str, now: datetime, *, rehearsal: bool
) -> int:
    """How often something on a machine was closed within the last 24 hours, within 24 hours after a trip there.

    Over all visits, whichever of them told the trip; begun counts, however it came out. By the hours passed, not by
    the calendar: midnight starts nothing anew. A run that cannot have been counts like any other: it never makes the
    number smaller.
    """
    mine = runs_on(equipment, accounts, rehearsal=rehearsal)
    told = sorted((m for account in mine for m in _trips_and_closings(account)), key=lambda m: moment(m[0]))
    count, tripped = 0, None
    for time, closes in told:
        at = moment(time)
        if not closes:
            tripped = at
        elif tripped is not None and at - tripped <= DAY and now - at <= DAY:
            count += 1
    return count


def _trips_and_closings(account: Account) -> Iterator[tuple[str, bool]]:
    """(time, whether it is a closing) of each trip that a run tells or was opened with, and of each closing."""
    if any(word in {"unanswered", "answered"} for word in account.opened["start"].values()):
        yield account.opened_at, False
    for entry in account.entries:
        step = account.steps.get(entry.step, {})
        effects = [e for o in step.get("outcomes", ()) if o["name"] == entry.outcome for e in o["effects"]]
        if entry.kind is Kind.ANSWERED and any(e.startswith("trip ") for e in effects):
            yield entry.time, False
        if entry.kind is Kind.BEGUN and any(e.startswith("close ") for e in step.get("begun", ())):
            yield entry.time, True
