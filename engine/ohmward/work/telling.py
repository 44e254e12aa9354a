"""What a session says after an entry, and what it keeps of a refusal."""

from typing import Any

from ohmward.account.state import Account
from ohmward.account.words import gate_words
from ohmward.record.entry import Entry, Kind
from ohmward.work.draft import Draft

_CAUSES = {"lapsed": "Time is up"}


def refused_draft(account: Account, step: str, said: str, why: str) -> Draft:
    """What is kept of a refusal. What is typed where an id is asked and is none may be a passphrase: it is not kept."""
    asks_id = account.steps.get(step, {}).get("kind") in {"gear", "person", "sign"}
    known = {i.casefold() for word in ("gear", "people") for i in account.opened[word]}
    if asks_id and len(said) > 8 and said.casefold() not in known:
        said, why = f"{len(said)} signs that are no id", "it is neither in the roster nor in the register"
    return Draft(kind=Kind.REFUSED, step=step, said=said, note=why)


def after_words(account: Account, draft: Draft, lost: set[str]) -> list[str]:
    """What is said after an entry."""
    said = [lost_words(account, draft, lost)] if lost else []
    return (
        [*said, draft.note]
        if draft.kind is Kind.ANSWERED and draft.outcome == "not decided" and draft.note
        else said
    )


def lost_words(account: Account, draft: Draft, lost: set[str]) -> str:
    """What an event, a lapse or an answer took."""
    gates: Any = account.table.data["gates"]
    what = "; ".join(sorted(gate_words(gates[k]) for k in lost))
    if draft.kind is Kind.LOST:
        cause = draft.note or _CAUSES.get(draft.trigger.partition("@")[0], draft.trigger)
        return f"{cause}: lost - {what}" if what else cause
    return f"With this no longer held: {what}"


def moves_nothing(entry: Entry) -> bool:
    """Whether it is a signature or a remark: nothing that another terminal could have done to the machine."""
    remark = entry.kind is Kind.NOTED and entry.note == "remark"
    return not entry.trigger and (remark or entry.kind in {Kind.SIGNED, Kind.RETURNED})
