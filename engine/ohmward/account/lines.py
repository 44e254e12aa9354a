"""An entry as one line for people: on paper, and before somebody signs."""

from typing import Any

from ohmward.account.pair import theirs
from ohmward.account.state import Account
from ohmward.account.words import item_words
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import with_unit

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


def when_of(account: Account, time: str) -> str:
    """The time of the day, with its day where the record does not begin and end on one."""
    several = account.opened_at[:10] != account.time[:10]
    return f"{time[5:10]} {clock_of(time)}" if several else clock_of(time)


def line_of(account: Account, entry: Entry) -> Line:
    """One entry: number, clock, what, what was said, by whom."""
    what = prompt_of(account, entry.step) if entry.step else entry.note or entry.kind.value
    said = entry.said or entry.outcome or ("" if entry.kind is Kind.BEGUN or what == entry.note else entry.note)
    said += f" ({entry.note})" if entry.note.startswith("as before") else ""
    fixed: Any = {
        Kind.OPENED: ("opened", "job sheet, people, gear, table"),
        Kind.BEGUN: (what, "begun"),
        Kind.SIGNED: ("signed, by key", _meaning(account, entry)),
        Kind.RETURNED: ("sent back", entry.note),
        Kind.NOTED: (_noted(what, entry), said),
        Kind.INTERRUPTED: (_noted(what, entry), said),
        Kind.REFUSED: (what, f"refused: {said}"),
        Kind.CORRECTED: (what, f"corrected: {entry.note}"),
        Kind.ANSWERED: (what, _answered(account, entry, said)),
    }
    what, said = fixed.get(entry.kind, (what, said))
    return str(entry.number), when_of(account, entry.time), what, said, entry.actor


def _noted(what: str, entry: Entry) -> str:
    """What was noted, and at which question: a run taken up again is no answer to the one that stands."""
    return f"{entry.note}, at: {what}" if entry.step and entry.note else what


def _meaning(account: Account, entry: Entry) -> str:
    """A review that sent the record back is none that accepts it; supervision is said for those entries that saw it."""
    before = account.entries[entry.number - 2] if 1 < entry.number <= len(account.entries) else entry
    if before.kind is Kind.RETURNED:
        return f"{entry.said}: sent back"
    return (
        f"{entry.said}, {attended_words(account, entry.actor, entry.number)}"
        if entry.said == "supervised"
        else entry.said
    )


def attended_words(account: Account, person: str, number: int) -> str:
    """For what somebody was there who signs at an entry that they supervised: not for what came before.

    They sign right before the answer that names them; until it stands there, the run waits for it at its question.
    """
    mine = [a for a in account.attended if a.person == person and a.first < number]
    ends = [
        f"entries {a.first} to {a.last}" if 0 < a.last < number else f"since entry {a.first}" for a in mine
    ]
    coming = any((a.person, a.first) == (person, number + 1) for a in account.attended)
    if coming or (number >= account.number and asks_who_supervises(account)):
        ends.append("from here on")
    if not ends:
        return "named at no entry"
    return " and ".join(ends) if ends == ["from here on"] else f"there {' and '.join(ends)}"


def asks_who_supervises(account: Account) -> bool:
    """Whether the run stands at the question for the person who watches."""
    return bool(account.steps.get(account.node.removeprefix("ask "), {}).get("role") == "supervisor")


def _answered(account: Account, entry: Entry, said: str) -> str:
    step = account.steps.get(entry.step, {})
    if entry.outcome == "not decided" and step.get("kind") in {"gear", "person"}:
        return f"{said}: turned down"
    if not entry.values:
        return said
    texts = [with_unit(v.said, step.get("unit", "")) for v in entry.values]
    second = len(theirs(entry.values))
    mine = len(texts) - second
    said = "; ".join(texts[:mine]) + (f"; second person: {'; '.join(texts[mine:])}" if second else "")
    return f"{said} ({', '.join(p for p in (entry.instrument, entry.outcome) if p)})"
