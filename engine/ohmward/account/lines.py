"""An entry as one line for people: on paper, and before somebody signs."""

from typing import Any

from ohmward.account.state import Account
from ohmward.account.words import item_words
from ohmward.record.entry import Entry, Kind

Line = tuple[str, str, str, str, str]  # number, clock, what, said, by whom


def prompt_of(account: Account, step: str) -> str:
    """A step by its question, with the item of the list that it was for."""
    known = account.steps.get(step)
    if known is None:
        return step.replace(".", ": ")
    words = item_words(account.opened["job"]["facts"], known)
    return f"{known['prompt']}{f' ({words})' if words else ''}"


def clock_of(time: str) -> str:
    """The time of the day in UTC."""
    return time[11:19]


def line_of(account: Account, entry: Entry) -> Line:
    """One entry: number, clock, what, what was said, by whom."""
    what = prompt_of(account, entry.step) if entry.step else entry.note or entry.kind.value
    said = entry.said or entry.outcome or ("" if entry.kind is Kind.BEGUN else entry.note)
    said += f" ({entry.note})" if entry.note.startswith("as before") else ""
    fixed: Any = {
        Kind.OPENED: ("opened", "job sheet, people, gear, table"),
        Kind.BEGUN: (what, "begun"),
        Kind.SIGNED: ("signed, by key", entry.said),
        Kind.RETURNED: ("sent back", entry.note),
    }
    what, said = fixed.get(entry.kind, (what, said))
    return str(entry.number), clock_of(entry.time), what, said, entry.actor
