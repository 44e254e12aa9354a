"""A reading that is judged by what was read at earlier steps: nothing is read anew, nothing is asked."""

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta
from typing import Any

from ohmward.account.judge import NOT_DECIDED, Judged, judge_spans, spans_of
from ohmward.account.moments import moment
from ohmward.account.names import names_for
from ohmward.account.state import Account
from ohmward.record.entry import Entry, Kind, Reading
from ohmward.trade.quantity import with_unit

USED_FOR = timedelta(minutes=15)  # how old a value may be that is used once more: ours
_BREAKS = frozenset({Kind.INTERRUPTED, Kind.STOPPED, Kind.CORRECTED})


@dataclass(frozen=True, slots=True, kw_only=True)
class Used:
    """The verdict, with what was read, with what and when."""

    judged: Judged
    instrument: str = ""
    taken: str = ""


def uses_others(step: Mapping[str, Any]) -> bool:
    """Whether a step is judged by what was read before."""
    return bool(step.get("uses"))


def judge_used(account: Account, step: Mapping[str, Any], now: datetime) -> Used:
    """What comes of the readings that a step uses, as they stand in the record before it."""
    found: list[Entry] = []
    for name in step["uses"]:
        entry = _last(account, name)
        prompt = account.steps[name]["prompt"]
        if entry is None:
            return _undecided(f"'{prompt}' was not read, or something happened since")
        if not timedelta(0) <= now - moment(entry.taken) <= USED_FOR:
            return _undecided(
                f"'{prompt}' was read at {entry.taken}; a value is used for {USED_FOR.seconds // 60} minutes"
            )
        found.append(entry)
    values = tuple(v for e in found for v in _with_units(account, e))
    spans = [s for e in found for s in spans_of(e)]
    names = names_for(
        account.opened, account.slots, step, account.table.data, now.strftime("%Y-%m-%d")
    )
    outcome, why = judge_spans(step, spans, names)
    return Used(
        judged=Judged(outcome=outcome, why=why, values=values),
        instrument="; ".join(dict.fromkeys(e.instrument for e in found)),
        taken=max(e.taken for e in found),
    )


def _undecided(why: str) -> Used:
    return Used(judged=Judged(outcome=NOT_DECIDED, why=why))


def _last(account: Account, name: str) -> Entry | None:
    """The last reading at a step, usable and decided, with no stop, break, correction or bad gear since."""
    for entry in account.entries[::-1]:
        if entry.kind in _BREAKS or (entry.kind is Kind.LOST and entry.note.endswith(" found bad")):
            return None
        if entry.kind is Kind.ANSWERED and entry.step == name:
            late = entry.trigger.startswith("answered-late")
            return entry if entry.values and entry.outcome != NOT_DECIDED and not late else None
    return None


def _with_units(account: Account, entry: Entry) -> tuple[Reading, ...]:
    """The values as they were read; the unit stands with each, for they may be of several kinds."""
    unit = account.steps[entry.step]["unit"]
    return tuple(
        Reading(point=v.point, said=with_unit(v.said, unit), low=v.low, high=v.high) for v in entry.values
    )


def unlike_used(account: Account, entry: Entry, step: Mapping[str, Any]) -> str:
    """Why an entry is not what comes of the readings before it; '' when it is."""
    used = judge_used(account, step, moment(entry.time))
    said = (entry.outcome, entry.values, entry.instrument, entry.taken)
    if said == (used.judged.outcome, used.judged.values, used.instrument, used.taken):
        return ""
    return f"what was read before says '{used.judged.outcome}' at '{entry.step}', the entry says '{entry.outcome}'"
