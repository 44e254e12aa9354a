"""Reasons to look at a record, each with its entries. They say *look at*, never what somebody did.

Weights are ours; they only order the list.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from datetime import timedelta
from itertools import pairwise
from typing import Any

from ohmward.account.fold import open_matters
from ohmward.account.history import readings_of
from ohmward.account.judge import NOT_DECIDED
from ohmward.account.lines import prompt_of
from ohmward.account.moments import moment
from ohmward.account.names import names_for
from ohmward.account.pair import FIRST_READING, SECOND_READING, by_two, has_both, theirs
from ohmward.account.state import Account
from ohmward.account.words import gate_words
from ohmward.language.evaluate import evaluate
from ohmward.language.expression import parse_expression
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import Quantity, QuantityError, parse_quantity, with_unit
from ohmward.work.decide import TYPED_AGAIN

QUICK = timedelta(seconds=2)  # for an item: a published rule for pages of questions (from memory)
ROW = 3  # so many in a row are told
NEAR = 50  # within 1/50 of a limit


@dataclass(frozen=True, slots=True, kw_only=True)
class Reason:
    """Why a record needs a look. `entries`: where it stands."""

    kind: str
    weight: int
    words: str
    entries: tuple[int, ...] = ()


def reasons(account: Account, *, problem: str = "", earlier: Sequence[Account] = ()) -> tuple[Reason, ...]:
    """Every reason, the heaviest first. `problem`: why the record is not intact; `earlier`: runs on the same machine before."""
    found = [Reason(kind="not intact", weight=100, words=problem)] if problem else []
    if account.impossible:
        found.append(Reason(kind="not possible", weight=100, words=account.impossible))
    for ask in _ASKED:
        found += ask(account)
    found += _copied(account, earlier)
    return tuple(sorted(found, key=lambda r: (-r.weight, r.entries[:1], r.kind)))


def weight_of(found: Sequence[Reason]) -> int:
    """How far up a record stands: the sum over kinds of the heaviest, growing with the number of that kind by its logarithm."""
    kinds: dict[str, list[int]] = {}
    for reason in found:
        kinds.setdefault(reason.kind, []).append(reason.weight)
    return sum(max(weights) * (len(weights).bit_length() + 1) // 2 for weights in kinds.values())


_PLAIN: dict[Kind, tuple[str, int, str]] = {
    Kind.REFUSED: ("refused", 3, "was refused"),
    Kind.CORRECTED: ("corrected", 2, "an answer was corrected"),
    Kind.FOUND: ("found", 5, "found something that the procedure does not expect"),
    Kind.RELEASED: ("released", 2, "went on after a hold, by word of a qualified person"),
    Kind.INTERRUPTED: ("interrupted", 2, "a deed was left without an answer"),
}


def _told(account: Account) -> Iterator[Reason]:
    """What an entry tells by its kind."""
    for entry in account.entries:
        if entry.kind is Kind.STOPPED:
            weight = 1 if entry.said == "pause" else 12
            words = f"stopped: {entry.said}" + (f" - {entry.note}" if entry.note else "")
            yield Reason(kind="stopped", weight=weight, words=words, entries=(entry.number,))
        if entry.note == TYPED_AGAIN:
            words = _with_place(account, entry, "a value was typed, and typed again")
            yield Reason(kind="typed again", weight=1, words=words, entries=(entry.number,))
        if entry.kind in _PLAIN:
            kind, weight, words = _PLAIN[entry.kind]
            yield Reason(
                kind=kind, weight=weight, words=_with_place(account, entry, words), entries=(entry.number,)
            )


def _with_place(account: Account, entry: Entry, words: str) -> str:
    where = f" at '{prompt_of(account, entry.step)}'" if entry.step else ""
    said = "; ".join(dict.fromkeys(p for p in (entry.said, entry.note) if p))
    return words + where + (f": {said}" if said else "")


def _lost_and_held_again(account: Account) -> Iterator[Reason]:
    """Gates that an event, a lapse or a correction took; what a deed of the procedure itself ends is no reason."""
    gates: Any = account.table.data["gates"]
    for gate in sorted({s.gate for s in account.spans}):
        for before, after in pairwise([s for s in account.spans if s.gate == gate]):
            cause = before.why.partition("@")[0]
            if cause in {"begin", "answered"}:
                continue
            words = f"'{gate_words(gates[gate])}' was lost at {before.lost[11:16]} ({cause}) and held again at {after.since[11:16]}"
            entries = (
                _at(account, before.lost, Kind.ANSWERED, other=True),
                _at(account, after.since, Kind.ANSWERED),
            )
            yield Reason(kind="lost and held again", weight=2, words=words, entries=entries)


def _at(account: Account, time: str, kind: Kind, *, other: bool = False) -> int:
    """The first entry of a moment that is of a kind, or of another one."""
    return next((e.number for e in account.entries if e.time == time and (e.kind is kind) is not other), 0)


def _left(account: Account) -> Iterator[Reason]:
    if not account.ended:
        yield Reason(kind="open", weight=3, words=f"the run has not ended; it stands at {account.node}")
        return
    weights = {"trip": 5, "temporary": 4, "lock": 1}
    for matter in open_matters(account):
        if matter.kind == "lock" and _leaves_held_off(account):
            continue  # it is what this end is for
        yield Reason(
            kind="left open", weight=weights[matter.kind], words=f"left on the machine: {matter.words}"
        )


def _leaves_held_off(account: Account) -> bool:
    ends: Any = account.table.data["ends"]
    return "held off" in ends.get(account.node.removeprefix("end "), {"leaves": {}})["leaves"].values()


def _near_limits(account: Account) -> Iterator[Reason]:
    for entry, words in readings_of(account):
        step = account.steps[entry.step]
        close = _nearest(account, step, entry) if "computes" not in step else ""
        if close:
            said = f"{prompt_of(account, entry.step)}: {words}, near its limit of {close}"
            yield Reason(kind="near a limit", weight=2, words=said, entries=(entry.number,))


def _nearest(account: Account, step: Any, entry: Entry) -> str:  # noqa: ANN401
    """A limit that one of the values lies within 1/50 of."""
    slots = {step.get("slot", ""): entry.instrument}
    names = names_for(account.opened, slots, step, account.table.data, entry.time[:10])
    texts = [band.get("below") or band.get("up_to") for band in step["bands"]]
    limits = [v for t in texts if t and isinstance(v := evaluate(parse_expression(t), names), Quantity)]
    for value in (v for v in entry.values if v.low):
        read = _quantity(with_unit(value.said, step["unit"]))
        for limit in limits:
            if (
                read is not None
                and read.dimension == limit.dimension
                and limit.base
                and abs(read.base - limit.base) * NEAR <= abs(limit.base)
            ):
                return str(limit)
    return ""


def _quantity(text: str) -> Quantity | None:
    try:
        return parse_quantity(text)
    except QuantityError:
        return None


def _supervision(account: Account) -> Iterator[Reason]:
    """An apprentice's run in which nobody signed that they supervised to the end."""
    people: Any = account.opened["people"]
    workers = {e.actor for e in account.entries if e.kind not in {Kind.SIGNED, Kind.RETURNED}}
    trainees = sorted(w for w in workers if people.get(w, {}).get("role") == "apprentice")
    signed = [e for e in account.entries if e.kind is Kind.SIGNED and e.said == "supervised"]
    if not trainees or not any(e.kind is Kind.BEGUN for e in account.entries):
        return
    if not signed:
        yield Reason(
            kind="supervision without a trace",
            weight=5,
            words=f"{', '.join(trainees)} worked as apprentice, and nobody has signed that they supervised",
        )
    elif account.ended and _after(account, signed[-1].number):
        who, last = signed[-1].actor, signed[-1].number
        yield Reason(
            kind="supervision without a trace",
            weight=3,
            words=f"{who} signed as supervising at entry {last}, and not what came after",
            entries=(last,),
        )


def _after(account: Account, number: int) -> bool:
    """Whether somebody began something after an entry."""
    return any(e.kind is Kind.BEGUN and e.number > number for e in account.entries)


def _unsigned(account: Account) -> Iterator[Reason]:
    if not account.by_key and account.rehearsal:
        return
    if not account.by_key:
        yield Reason(kind="not signed", weight=2, words="the run was worked without keys")
        return
    for actor in sorted({e.actor for e in account.entries if e.kind is Kind.ANSWERED}):
        signed = max(
            (e.number for e in account.entries if e.kind is Kind.SIGNED and e.actor == actor), default=0
        )
        mine = [
            e.number
            for e in account.entries
            if e.actor == actor and e.kind is not Kind.SIGNED and e.number > signed
        ]
        if mine and account.ended:
            yield Reason(
                kind="not signed",
                weight=4,
                words=f"{actor} has not signed what they did from entry {mine[0]} on",
                entries=(mine[0],),
            )


def _asked_for(entry: Entry) -> bool:
    """Whether a person answered it, rather than the record by itself."""
    return entry.kind is Kind.ANSWERED and not entry.note.startswith("as before")


def _answers_and_deeds(account: Account) -> list[Entry]:
    """Without what is written together with an answer: signatures, and what the second person read."""
    return [e for e in account.entries if e.kind is not Kind.SIGNED and e.note not in {SECOND_READING, FIRST_READING}]


def _haste(account: Account) -> Iterator[Reason]:
    """Questions answered one after the other faster than they are read."""
    row: list[int] = []
    for before, entry in pairwise(_answers_and_deeds(account)):
        quick = _asked_for(entry) and timedelta(0) <= moment(entry.time) - moment(before.time) < QUICK * max(
            1, len(entry.values)
        )
        if quick:
            row.append(entry.number)
        elif _asked_for(entry):
            yield from _row(row)
            row = []
    yield from _row(row)
    yield from _share(account)


def _share(account: Account) -> Iterator[Reason]:
    """A third of all answers and more within less than it takes to read them, however they are spread."""
    asked = [(b, e) for b, e in pairwise(_answers_and_deeds(account)) if _asked_for(e)]
    quick = [e.number for b, e in asked if timedelta(0) <= moment(e.time) - moment(b.time) < QUICK]
    if len(asked) >= 10 and len(quick) * 3 >= len(asked):
        lasted = (moment(account.time) - moment(account.opened_at)).total_seconds()
        words = f"{len(quick)} of {len(asked)} questions were answered within {QUICK.seconds} s each, the whole run took {int(lasted)} s"
        yield Reason(kind="quick on the whole", weight=4, words=words, entries=tuple(quick))


def _row(row: Sequence[int]) -> Iterator[Reason]:
    if len(row) >= ROW:
        words = f"{len(row)} questions in a row, entries {row[0]} to {row[-1]}, were answered within {QUICK.seconds} s each"
        yield Reason(
            kind="quick answers", weight=4 if len(row) < 2 * ROW else 6, words=words, entries=tuple(row)
        )


def _late(account: Account) -> Iterator[Reason]:
    for entry in account.entries:
        if entry.trigger.startswith("answered-late"):
            words = f"'{prompt_of(account, entry.step)}' was answered after a gate for it was lost"
            yield Reason(kind="late", weight=3, words=words, entries=(entry.number,))
        if "after it was begun; at most" in entry.note:
            words = f"'{prompt_of(account, entry.step)}': {entry.note}"
            yield Reason(kind="late", weight=3, words=words, entries=(entry.number,))
        if entry.note.startswith("clock went back"):
            yield Reason(
                kind="clock", weight=4, words="the device's clock went back", entries=(entry.number,)
            )


def _copied(account: Account, earlier: Sequence[Account]) -> Iterator[Reason]:
    """Three values and more that are those of an earlier run on the machine, to the last digit."""
    before = {(e.step, tuple(v.said for v in e.values)): a.run for a in earlier for e, _ in readings_of(a)}
    same = [
        (e, before[key])
        for e, _ in readings_of(account)
        if (key := (e.step, tuple(v.said for v in e.values))) in before
    ]
    if sum(len(e.values) for e, _ in same) >= ROW:
        runs = ", ".join(sorted({run for _, run in same}))
        words = f"{len(same)} readings have the very values of {runs}, to the last digit"
        yield Reason(kind="same values", weight=4, words=words, entries=tuple(e.number for e, _ in same))


def _by_two(account: Account) -> Iterator[Reason]:
    """Two people who read unlike, or so alike that one may have told the other."""
    for entry in account.entries:
        step = account.steps.get(entry.step, {})
        if entry.note in {SECOND_READING, FIRST_READING} and not _answered_with(account, entry):
            words = f"'{prompt_of(account, entry.step)}': {entry.actor} read {entry.said}, and it was not taken"
            yield Reason(kind="read, not taken", weight=5, words=words, entries=(entry.number,))
        if entry.kind is not Kind.ANSWERED or not by_two(step) or not has_both(entry.values):
            continue
        second = theirs(entry.values)
        half = len(entry.values) - len(second)
        one, other = ([v.said for v in part] for part in (entry.values[:half], second))
        asked = f"'{prompt_of(account, entry.step)}'"
        if entry.outcome == NOT_DECIDED:
            words = f"two people read {asked}: {'; '.join(one)} and {'; '.join(other)}. {entry.note}"
            yield Reason(kind="read unlike", weight=3, words=words, entries=(entry.number,))
        elif one == other and half >= ROW and len(set(one)) > 1:
            words = f"two people read {asked} alike to the last digit, at all {half} points"
            yield Reason(kind="read alike", weight=2, words=words, entries=(entry.number,))


def _answered_with(account: Account, told: Entry) -> bool:
    """Whether the next answer at a step holds the values that somebody told there."""
    later = (e for e in account.entries[told.number :] if e.kind is Kind.ANSWERED and e.step == told.step)
    answer = next(later, None)
    return answer is not None and set(told.values) <= set(answer.values)


def _turned_down(account: Account) -> Iterator[Reason]:
    """Gear and people that were not good enough, and were tried."""
    for entry in account.entries:
        kind = account.steps.get(entry.step, {}).get("kind")
        if entry.kind is Kind.ANSWERED and entry.outcome == "not decided" and kind in {"gear", "person"}:
            words = f"{entry.said} was turned down at '{prompt_of(account, entry.step)}'"
            yield Reason(kind="turned down", weight=1, words=words, entries=(entry.number,))


def _round(account: Account) -> Iterator[Reason]:
    """Most readings end in 0: the last digit of a display does so one time in ten."""
    said = [(e.number, v.said) for e, _ in readings_of(account) for v in e.values if "." in v.said]
    ends = [number for number, text in said if text.endswith("0")]
    if len(said) >= 8 and len(ends) * 10 >= len(said) * 7:
        words = f"{len(ends)} of {len(said)} values end in 0; of a display's last digits one in ten does"
        yield Reason(kind="round values", weight=4, words=words, entries=tuple(dict.fromkeys(ends)))


_ASKED: tuple[Callable[[Account], Iterator[Reason]], ...] = (
    _told,
    _lost_and_held_again,
    _left,
    _near_limits,
    _supervision,
    _unsigned,
    _haste,
    _late,
    _turned_down,
    _by_two,
    _round,
)
