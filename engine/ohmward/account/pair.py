"""A reading by two people: neither sees what the other read, and it is decided only where both come out alike."""

from collections.abc import Mapping, Sequence
from typing import Any

from ohmward.account.judge import NOT_DECIDED, Accuracy, Judged, judge_reading, parse_value
from ohmward.account.names import SECOND, accuracy_of, measures_of, names_for
from ohmward.account.state import Account
from ohmward.language.effects import REPORTED, parse_effect
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Value, parse_expression
from ohmward.record.entry import Entry, Kind, Reading
from ohmward.trade.quantity import Quantity, QuantityError

SECOND_READING = "second reading"  # what the entry that holds the second person's values is called
FIRST_READING = "first reading, not held against another"
_THEIRS = f", {SECOND}"
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
    """The outcome of a reading, by one person or by two. Raises QuantityError for text that is no value.

    Of two where only the first has read: what takes a belief back counts, anything else is not decided.
    """
    if not by_two(step):
        return judge_reading(step, said, accuracies, names)
    if not said or not said[-1][0].endswith(_THEIRS):
        one = judge_reading(step, said, accuracies, names)
        if reports(step, one.outcome):
            return Judged(outcome=one.outcome, why="read so by one of the two", values=one.values)
        return Judged(outcome=NOT_DECIDED, why="the second person could not read it", values=one.values)
    half = sum(not point.endswith(_THEIRS) for point, _ in said)
    one = judge_reading(step, said[:half], accuracies[:half], names)
    other = judge_reading(step, said[half:], accuracies[half:], names)
    outcome, why = _together(step, one, other, names)
    return Judged(outcome=outcome, why=why, values=(*one.values, *other.values))


def reports(step: Mapping[str, Any], outcome: str) -> bool:
    """Whether an outcome takes a belief back: found live, found charged, a trip. It needs one reader, and no signature."""
    effects = next((o["effects"] for o in step["outcomes"] if o["name"] == outcome), ())
    return any(parse_effect(e).verb in REPORTED for e in effects)


def has_both(values: Sequence[Reading]) -> bool:
    """Whether the values of a reading by two are those of both."""
    return bool(values) and values[-1].point.endswith(_THEIRS)


def points_for(measures: Sequence[tuple[str, str]], count: int) -> Sequence[tuple[str, str]]:
    """What was entered: everything, or as far as somebody came."""
    return measures[:count] if 0 < count < len(measures) else measures


def short_of(step: Mapping[str, Any], outcome: str, count: int, whole: int) -> bool:
    """Whether values are missing. None are where what was read takes a belief back: then nobody reads on.

    Of a reading by two the first half is an answer too: it holds nothing.
    """
    half = by_two(step) and count * 2 == whole
    return count < whole and not half and not reports(step, outcome)


def decides_already(account: Account, name: str, said: Sequence[str], day: str) -> bool:
    """Whether what was read so far takes a belief back: no further point is read then."""
    step = account.steps[name]
    if not any(reports(step, o["name"]) for o in step["outcomes"]):
        return False
    return reports(step, _so_far(account, step, said, day)[0])


def _so_far(account: Account, step: Mapping[str, Any], said: Sequence[str], day: str) -> tuple[str, bool]:
    """(outcome, whether it is the whole reading) of what was typed; ('', …) for what is no value."""
    names = names_for(account.opened, account.slots, step, account.table.data, day)
    whole = measures_of(account.opened, step, names)
    mine = points_for(whole, len(said))
    known = [accuracy_of(account.opened, account.slots, step, f) for _, f in mine]
    try:
        judged = judge_values(step, [(p, s) for (p, _), s in zip(mine, said, strict=True)], known, names)
    except QuantityError:
        return "", False
    return judged.outcome, len(mine) == len(whole)


def leads_away(account: Account, name: str, said: Sequence[str], day: str) -> str:
    """The outcome of a whole reading that leads elsewhere than usual; '' for any other, and for what takes a belief back."""
    step = account.steps[name]
    outcome, whole = _so_far(account, step, said, day)
    found = next((o for o in step["outcomes"] if o["name"] == outcome), None)
    if found is None or not whole or outcome == NOT_DECIDED or reports(step, outcome):
        return ""
    return "" if found["usual"] or not found["then"] else outcome


def _together(
    step: Mapping[str, Any], one: Judged, other: Judged, names: Mapping[str, Value]
) -> tuple[str, str]:
    """One outcome of two readings. What takes a belief back needs one of the two; anything else needs both.

    The reason names no value: it is shown before the points are read again.
    """
    for judged in (one, other):
        if reports(step, judged.outcome):
            return judged.outcome, f"read so by {'both' if one.outcome == other.outcome else 'one of the two'}"
    if len(one.values) != len(other.values):
        return NOT_DECIDED, "the second person has not read every point"
    if NOT_DECIDED in {one.outcome, other.outcome}:
        whose = "the worker's" if one.outcome == NOT_DECIDED else "the second person's"
        return NOT_DECIDED, f"{whose} reading is not decided"
    if one.outcome != other.outcome:
        return NOT_DECIDED, "the two readings do not come out alike"
    within = evaluate(parse_expression(step["second_within"]), names)
    if not isinstance(within, Quantity):
        return NOT_DECIDED, f"how far two readings may lie apart is not known: {getattr(within, 'why', within)}"
    apart = next(
        (a.point for a, b in zip(one.values, other.values, strict=True) if _apart(a, b, within, step["unit"])),
        "",
    )
    if apart:
        return NOT_DECIDED, f"the two readings at {apart} differ by more than {within}"
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
    if not has_both(entry.values):
        return ""  # judged so that it holds nothing
    second = account.second
    against = not_second(account, second)
    if against:
        return against
    before = tuple(_just_before(account))
    told = next((e for e in before if e.note == SECOND_READING and e.kind is Kind.NOTED), None)
    if told is None or not _is_theirs(told, second, entry):
        return f"{second} has not told the same values before it"
    if not wants_signature(account, step, entry.outcome, entry.trigger):
        return ""
    signed = any(
        (e.kind, e.actor, e.said) == (Kind.SIGNED, second, "witnessed") and e.number > told.number for e in before
    )
    return "" if signed else f"{second} has not signed 'witnessed' before it"


def wants_signature(account: Account, step: Mapping[str, Any], outcome: str, trigger: str) -> bool:
    """Whether the second person's key is asked for: not for what takes a belief back, nor where hands are coming out."""
    return account.by_key and not reports(step, outcome) and not trigger.startswith("answered-late")


def two_read_now(account: Account, entry: Entry, person: str) -> bool:
    """Whether an entry holds what another read where two read, while they have not agreed yet: nobody else is told."""
    if not entry.values or not by_two(account.steps.get(entry.step, {})):
        return False
    later = (e for e in account.entries[entry.number - 1 :] if e.kind is Kind.ANSWERED and e.step == entry.step)
    decided = any(e.outcome != NOT_DECIDED for e in later)
    return not decided and not (entry.kind is Kind.NOTED and entry.actor == person)


def not_second(account: Account, person: str) -> str:
    """Why a person is no second reader here; '' when they are."""
    if person in {"", account.worker}:
        return "nobody but the worker is named who reads it a second time"
    if person == account.supervisor:
        return f"{person} watches {account.worker} directly, and has seen the first reading"
    return ""


def _just_before(account: Account) -> Sequence[Entry]:
    """The entries since the one before that was no signature, remark or loss; the newest first."""
    found: list[Entry] = []
    for entry in account.entries[::-1]:
        if entry.kind not in _BETWEEN:
            break
        found.append(entry)
    return found


def _is_theirs(told: Entry, second: str, entry: Entry) -> bool:
    is_one = (told.kind, told.note, told.actor, told.step) == (Kind.NOTED, SECOND_READING, second, entry.step)
    return is_one and told.values == theirs(entry.values)


def theirs(values: Sequence[Reading]) -> tuple[Reading, ...]:
    """What the second person read of a reading by two."""
    return tuple(v for v in values if v.point.endswith(_THEIRS))


