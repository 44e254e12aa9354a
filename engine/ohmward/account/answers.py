"""What an answered entry says against what its step asks: each kind of step judged again. Total for readable data."""

import re
from collections.abc import Callable, Mapping, Sequence
from datetime import timedelta
from typing import Any

from ohmward.account.facts import check_fact
from ohmward.account.judge import NOT_DECIDED, first_unmet
from ohmward.account.moments import moment
from ohmward.account.names import (
    accuracy_of,
    gear_as_picked,
    measures_of,
    names_for,
    people_names,
    supplies_of,
)
from ohmward.account.pair import judge_values, points_for, short_of, without_second
from ohmward.account.state import Account
from ohmward.account.used import unlike_used, uses_others
from ohmward.record.entry import Entry, Kind

PICTURE = re.compile(r"sha256:[0-9a-f]{64}( [^/\\\x00-\x1f]{1,80})?")


def forbidden_option(account: Account, step: Mapping[str, Any], option: str, day: str) -> str:
    """Why an option may not be chosen here; '' when it may."""
    names = names_for(account.opened, account.slots, step, account.table.data, day)
    unmet, otherwise = first_unmet((step["only_if"][option],), names)
    return otherwise if unmet else ""


def may_sign(account: Account, step: Mapping[str, Any], person: str, day: str) -> str:
    """Why a person may not sign in the step's role; '' when they may."""
    names = people_names(account, person, day)
    match step.get("role"):
        case "worker":
            return "" if person == account.worker else f"{person} is not the worker here"
        case "second":
            return "" if person != account.worker else "the worker cannot be the second person"
        case _:
            qualified = names["person.qualified-here"] is True and person != account.worker
            return "" if qualified else f"{person} is not somebody else who is qualified for this equipment"


def unlike_values(account: Account, entry: Entry) -> str:
    """Readings judged again, gear and people held against what the step asks of them; '' when all fits."""
    step = account.steps.get(entry.step)
    if step is None or entry.kind is not Kind.ANSWERED:
        return ""
    return _CHECKS[step["kind"]](account, entry, step)


def _reading(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    if uses_others(step):
        return unlike_used(account, entry, step)
    if not entry.values:
        fits = entry.said == "cannot" and entry.outcome == NOT_DECIDED
        return "" if fits else f"the reading '{entry.step}' has no values"
    names = names_for(account.opened, account.slots, step, account.table.data, entry.time[:10])
    whole = measures_of(account.opened, step, names)
    measures = points_for(whole, len(entry.values))
    if tuple(v.point for v in entry.values) != tuple(point for point, _ in measures):
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
    accuracies = [accuracy_of(account.opened, account.slots, step, f) for _, f in measures]
    judged = judge_values(step, said, accuracies, names)
    if judged.outcome != entry.outcome or judged.values != entry.values:
        return f"the values of '{entry.step}' say '{judged.outcome}', the entry says '{entry.outcome}'"
    if short_of(step, entry.outcome, len(entry.values), len(whole)):
        return f"the reading '{entry.step}' has {len(entry.values)} of {len(whole)} values"
    return without_second(account, entry, step)


def together(step: Mapping[str, Any], words: Sequence[str]) -> str:
    """One outcome of the answers for several supplies: what does not go on, for any of them, holds for all."""
    usual = [o["name"] for o in step["outcomes"] if o["leads"] == "on" and not o["then"]]
    return next((w for w in words if w not in usual), words[0] if words else "")


def _said_so(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    several = supplies_of(account.opened, step)
    words = entry.said.casefold().split("; ") if several else [entry.said.casefold()]
    same = together(step, words) == entry.outcome and len(words) == max(1, len(several))
    return "" if same else f"'{entry.said}' was said, the outcome is '{entry.outcome}'"


def _choice(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    if entry.outcome in step.get("only_if", {}):
        return _said_so(account, entry, step) or forbidden_option(
            account, step, entry.outcome, entry.time[:10]
        )
    return _said_so(account, entry, step)


def _confirm(_account: Account, entry: Entry, _step: Mapping[str, Any]) -> str:
    same = (entry.said.casefold() == "cannot") == (entry.outcome == "cannot")
    return "" if same else f"'{entry.said}' was said, the outcome is '{entry.outcome}'"


def _photo(_account: Account, entry: Entry, _step: Mapping[str, Any]) -> str:
    digest = PICTURE.fullmatch(entry.said) is not None
    fits = digest if entry.outcome == "taken" else entry.said.casefold() == "cannot"
    return "" if fits else f"'{entry.said}' is not the digest of a picture"


def _sign(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    return "" if entry.outcome == NOT_DECIDED else may_sign(account, step, entry.said, entry.time[:10])


def _fact(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    if entry.outcome == NOT_DECIDED:
        return ""
    kept = check_fact(account.table, step["fact"], entry.said)
    text = kept if isinstance(kept, str) else ", ".join(kept)
    return "" if text == entry.said else f"'{entry.said}' is kept as '{text}'"


def _gear(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    if entry.outcome == NOT_DECIDED:
        return ""
    if step["slot"] not in account.opened["gear"][entry.said]["slots"]:
        return f"{entry.said} is not registered for {step['slot']}"
    unmet = first_unmet(step["suits"], gear_as_picked(account, step, entry.said, entry.time[:10]))[0]
    return f"{entry.said} does not meet '{unmet}'" if unmet else ""


def _person(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    if entry.outcome == NOT_DECIDED:
        return ""
    unmet = first_unmet(step["suits"], people_names(account, entry.said, entry.time[:10]))[0]
    return f"{entry.said} does not meet '{unmet}'" if unmet else ""


_CHECKS: Mapping[str, Callable[[Account, Entry, Mapping[str, Any]], str]] = {
    "action": _said_so,
    "confirm": _confirm,
    "reading": _reading,
    "choice": _choice,
    "fact": _fact,
    "gear": _gear,
    "person": _person,
    "sign": _sign,
    "photo": _photo,
}
