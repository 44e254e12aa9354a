"""A reading by two people: neither sees what the other read, and it is decided only where both come out alike."""

from collections.abc import Mapping, Sequence
from typing import Any

from ohmward.account.judge import NOT_DECIDED, Accuracy, Judged, judge_reading, parse_value
from ohmward.account.state import Account
from ohmward.language.effects import REPORTED, parse_effect
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Value, parse_expression
from ohmward.record.entry import Entry, Kind, Reading
from ohmward.trade.quantity import Quantity

SECOND_READING = "second reading"  # what the entry that holds the second person's values is called
_BETWEEN = frozenset({Kind.SIGNED, Kind.NOTED, Kind.RETURNED, Kind.LOST})  # what may stand between it and the answer


def by_two(step: Mapping[str, Any]) -> bool:
    """Whether a step is a reading by two people."""
    return "second_within" in step


def judge_values(
    step: Mapping[str, Any],
    said: Sequence[tuple[str, str]],
    accuracies: Sequence[Accuracy | None],
    names: Mapping[str, Value],
) -> Judged:
    """The outcome of a reading, by one person or by two. Raises QuantityError for text that is no value."""
    if not by_two(step):
        return judge_reading(step, said, accuracies, names)
    half = len(said) // 2
    one = judge_reading(step, said[:half], accuracies[:half], names)
    other = judge_reading(step, said[half:], accuracies[half:], names)
    outcome, why = _together(step, one, other, names)
    return Judged(outcome=outcome, why=why, values=(*one.values, *other.values))


def _together(
    step: Mapping[str, Any], one: Judged, other: Judged, names: Mapping[str, Value]
) -> tuple[str, str]:
    """One outcome of two readings. What takes a belief back needs one of the two; anything else needs both.

    The reason names no value: it is shown before the points are read again.
    """
    effects = {o["name"]: o["effects"] for o in step["outcomes"]}
    for judged in (one, other):
        if any(parse_effect(e).verb in REPORTED for e in effects.get(judged.outcome, ())):
            return judged.outcome, f"read so by {'both' if one.outcome == other.outcome else 'one of the two'}"
    if NOT_DECIDED in {one.outcome, other.outcome}:
        whose = "the worker's" if one.outcome == NOT_DECIDED else "the second person's"
        return NOT_DECIDED, f"{whose} reading is not decided; both read it again"
    if one.outcome != other.outcome:
        return NOT_DECIDED, "the two readings do not come out alike; both read it again"
    within = evaluate(parse_expression(step["second_within"]), names)
    if not isinstance(within, Quantity):
        return NOT_DECIDED, f"how far two readings may lie apart is not known: {getattr(within, 'why', within)}"
    apart = next(
        (a.point for a, b in zip(one.values, other.values, strict=True) if _apart(a, b, within, step["unit"])),
        "",
    )
    if apart:
        return NOT_DECIDED, f"the two readings at {apart} differ by more than {within}; both read it again"
    return one.outcome, f"both read it so, within {within}"


def _apart(one: Reading, other: Reading, within: Quantity, unit: str) -> bool:
    """Whether two values differ by more than they may; over range and a value always do."""
    first, second = parse_value(one.said, unit), parse_value(other.said, unit)
    if first is None or second is None:
        return first is not second
    return not abs(first.base - second.base) <= abs(within.base)


def without_second(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    """Why an answered reading by two is none: the second person's values stand before it, told and signed by them."""
    if not by_two(step) or not entry.values:
        return ""
    second = account.second
    if second in {"", account.worker}:
        return "nobody but the worker is named who reads it a second time"
    before = tuple(_just_before(account))
    told = next((e for e in before if _is_theirs(e, second, entry)), None)
    if told is None:
        return f"{second} has not told the same values before it"
    signed = any(
        (e.kind, e.actor, e.said) == (Kind.SIGNED, second, "witnessed") and e.number > told.number for e in before
    )
    return "" if signed or not account.by_key else f"{second} has not signed 'witnessed' before it"


def _just_before(account: Account) -> Sequence[Entry]:
    """The entries since the one before that was no signature, remark or loss; the newest first."""
    found: list[Entry] = []
    for entry in reversed(account.entries):
        if entry.kind not in _BETWEEN:
            break
        found.append(entry)
    return found


def _is_theirs(told: Entry, second: str, entry: Entry) -> bool:
    is_one = (told.kind, told.note, told.actor, told.step) == (Kind.NOTED, SECOND_READING, second, entry.step)
    return is_one and told.values == entry.values[len(entry.values) // 2 :]


