"""What earlier runs on a machine read: the last value of each step, for showing beside today's."""

from collections.abc import Sequence
from typing import Any

from ohmward.account.state import Account
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import with_unit


def readings_of(account: Account) -> tuple[tuple[Entry, str], ...]:
    """Every usable reading of a run with its values in words, oldest first."""
    steps: Any = account.steps
    return tuple(
        (entry, words_of(entry, steps[entry.step]["unit"]))
        for entry in account.entries
        if entry.kind is Kind.ANSWERED
        and entry.values
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


def earlier_readings(accounts: Sequence[Account], equipment: str, *, rehearsal: bool) -> dict[str, str]:
    """Step to the last value read there on this machine, with its day. Runs that cannot have been are left out."""
    found: dict[str, str] = {}
    for account in accounts:
        mine = account.opened["job"]["equipment"] == equipment and account.rehearsal == rehearsal
        if mine and not account.impossible:
            found |= {entry.step: f"{words} on {entry.time[:10]}" for entry, words in readings_of(account)}
    return found
