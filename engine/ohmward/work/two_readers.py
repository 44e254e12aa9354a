"""An answer from as many people as it must come from, and what of it is told by the second one. Pure."""

from collections.abc import Mapping
from typing import Any

from ohmward.account.pair import SECOND_READING, by_two, has_both, not_second, theirs
from ohmward.account.state import Account
from ohmward.account.used import uses_others
from ohmward.record.entry import Kind
from ohmward.work.draft import Draft
from ohmward.work.intents import Answer


def by_one(account: Account, step: Mapping[str, Any], intent: Answer) -> str:
    """Why an answer does not come from as many people as it must; '' where it does."""
    if uses_others(step):
        return "nobody reads anything here: it is worked out from what was read before"
    if not by_two(step):
        return "one person reads this" if intent.second else ""
    if _cannot(intent.said):
        return "it was read all the same" if intent.second else ""
    against = not_second(account, account.second) if intent.second else ""
    if against:
        return f"{against}: say cannot, or correct who it is"
    if intent.second and not _cannot(intent.second) and len(intent.said) < len(intent.second):
        return f"two people read this: as many values by {account.second} as by {account.worker}. In a file: say: [ … ] and second: [ … ]"
    return ""


def _cannot(said: tuple[str, ...]) -> bool:
    return len(said) == 1 and said[0].strip().casefold() == "cannot"


def seconds_own(account: Account, step: Mapping[str, Any], answer: Draft) -> Draft | None:
    """What the second person read, told by them before the answer that holds both."""
    if not by_two(step) or not has_both(answer.values):
        return None
    told = theirs(answer.values)
    return Draft(
        kind=Kind.NOTED,
        actor=account.second,
        step=answer.step,
        said="; ".join(v.said for v in told),
        instrument=answer.instrument,
        values=told,
        note=SECOND_READING,
    )
