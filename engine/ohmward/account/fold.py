"""Entries folded over their table: where the run stands, what was held when, and the first impossible move."""

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from ohmward.account.check import UNREADABLE, contradiction
from ohmward.account.facts import decided_conditions
from ohmward.account.moments import moment
from ohmward.account.scope import unfit
from ohmward.account.state import Account, Attended, Held, Matter
from ohmward.chart.document import NotATableError, checked_document, digest_of_document
from ohmward.chart.layout import holds
from ohmward.chart.table import NODE_BITS, Position, Refused, Table, advance, begin_at
from ohmward.record.entry import Entry, Kind

_NOBODY: frozenset[str] = frozenset()


class NoRecordError(ValueError):
    """The entries do not begin as a record does."""


def open_account(entry: Entry, table: Table | None = None) -> Account:
    """The account after the first entry; `table` is given by whoever has just written it there. Raises NoRecordError."""
    if entry.kind is not Kind.OPENED:
        raise NoRecordError("the first entry is not 'opened'")
    data = entry.data
    try:
        table = checked_document(data["table"]) if table is None else table
        position = begin_at(table, data["start"])
        worker = str(data["job"]["people"]["worker"])
        for word in ("facts", "circuits"):
            data["job"][word].items()
        locks = {str(d): tuple(str(p) for p in owners) for d, owners in data["locks"].items()}
        shift_length = int(data["shift_seconds"])
        _ = bool(data["rehearsal"]), data["gear"].items(), data["people"].items(), moment(entry.time)
        digest = digest_of_document(data["table"])
    except NotATableError as error:
        raise NoRecordError(str(error)) from None
    except UNREADABLE as error:
        raise NoRecordError(f"the first entry cannot be read: {type(error).__name__} {error}") from None
    wrong = _unlike_conditions(table, data, entry.time[:10]) or _out_of_scope(table, data, entry.time[:10])
    return Account(
        run=entry.run,
        number=entry.number,
        time=entry.time,
        opened=data,
        table=table,
        position=position,
        worker=worker,
        entries=(entry,),
        shift=entry.time,
        shift_length=shift_length,
        locks=locks,
        table_digest=digest,
        impossible=f"entry 1: {wrong}" if wrong else "",
    )


def _unlike_conditions(table: Table, data: Mapping[str, Any], day: str) -> str:
    """What the job decides once a run is what the run starts with."""
    try:
        decided, _ = decided_conditions(table, data["job"], day)
        started = {n: str(data["start"].get(n, "no")) for n in decided}
    except UNREADABLE as error:
        return f"its conditions cannot be read: {type(error).__name__}: {error}"
    wrong = [n for n in decided if decided[n] != started[n]]
    return f"'{wrong[0].removeprefix('data ')}' is {decided[wrong[0]]} by the job sheet" if wrong else ""


def _out_of_scope(table: Table, data: Mapping[str, Any], day: str) -> str:
    """A record never stands for a job that its procedure does not fit."""
    try:
        wrong = unfit(table, data["job"], day)
    except UNREADABLE as error:
        return f"its job cannot be read: {type(error).__name__}: {error}"
    return f"the procedure does not fit the job: {wrong[0]}" if wrong else ""


def fold(entries: Iterable[Entry]) -> Account:
    """The account of a whole record. Raises NoRecordError; anything later that cannot be is `impossible`."""
    account: Account | None = None
    for entry in entries:
        account = open_account(entry) if account is None else after(account, entry)
    if account is None:
        raise NoRecordError("there are no entries")
    return account


def after(account: Account, entry: Entry) -> Account:
    """The account after one more entry. Total: what cannot be is said, not raised."""
    now = _after(account, entry)
    here = "" if now.ended else now.supervisor
    stands = [a.person for a in account.attended if not a.last]
    if stands == [here] or (not stands and not here):
        return now
    attended = tuple(a if a.last else replace(a, last=entry.number) for a in account.attended)
    come = (Attended(person=here, first=entry.number),) if here else ()
    return replace(now, attended=(*attended, *come))


def _after(account: Account, entry: Entry) -> Account:
    now = replace(account, number=entry.number, time=entry.time, entries=(*account.entries, entry))
    if entry.kind is Kind.OPENED:
        return _impossible(now, entry, "a run is opened once")
    against = contradiction(account, entry)
    if against:
        now = _impossible(now, entry, against)
    if not entry.trigger:
        return _without_move(now, entry)
    move = advance(account.table, account.position, entry.trigger)
    if isinstance(move, Refused):
        return _impossible(now, entry, f"'{entry.trigger}' at '{account.node}': {move.why}")
    try:
        spans, locks = _spans(account, move.position, entry), _locks(account, move.marks)
        return _people_and_gear(replace(now, position=move.position, spans=spans, locks=locks), entry)
    except UNREADABLE as error:
        return _impossible(now, entry, f"its table cannot be read: {type(error).__name__}: {error}")


def _without_move(account: Account, entry: Entry) -> Account:
    """What an entry does that moves nothing in the table."""
    if entry.kind is Kind.SIGNED:
        return replace(account, proved=account.proved | {entry.actor})
    if entry.kind is Kind.STOPPED or (entry.kind is Kind.NOTED and entry.note == "taken up again"):
        return _handed_over(account)
    return _after_event(account, entry) if entry.kind is Kind.LOST else account


def _handed_over(account: Account) -> Account:
    """After a break, a crash, another worker: nobody's earlier signature stands for them any more."""
    return replace(account, vouched=_NOBODY, proved=_NOBODY)


def _impossible(account: Account, entry: Entry, why: str) -> Account:
    return account if account.impossible else replace(account, impossible=f"entry {entry.number}: {why}")


def _spans(account: Account, position: Position, entry: Entry) -> tuple[Held, ...]:
    layout = account.table.layout
    before, now = account.position >> NODE_BITS, position >> NODE_BITS
    spans = account.spans
    for gate in account.table.data["gates"]:  # type: ignore[attr-defined]
        bit = layout.bit(f"gate {gate}", "held")
        if now & bit and not before & bit:
            spans = (*spans, Held(gate=gate, since=entry.time))
        elif before & bit and not now & bit:
            why = entry.trigger.partition("=")[0] if entry.kind is not Kind.LOST else entry.trigger
            spans = tuple(
                replace(s, lost=entry.time, why=why) if s.gate == gate and not s.lost else s for s in spans
            )
    return spans


def _locks(account: Account, marks: tuple[str, ...]) -> Mapping[str, tuple[str, ...]]:
    """Whose locks are on: each their own. A lock goes only with its owner's own release."""
    locks = dict(account.locks)
    for mark in marks:
        for word, on in (("hold off ", True), ("stands held off ", True), ("release ", False)):
            if mark.startswith(word):
                others = tuple(p for p in locks.get(mark.removeprefix(word), ()) if p != account.worker)
                locks[mark.removeprefix(word)] = (*others, account.worker) if on else others
    return {device: owners for device, owners in locks.items() if owners}


def _people_and_gear(account: Account, entry: Entry) -> Account:
    """Who works, who supervises, what is in which slot, which steps can be corrected."""
    step = account.steps.get(entry.step, {})
    if entry.kind in {Kind.STOPPED, Kind.INTERRUPTED}:
        account = _handed_over(account)
    if entry.kind is Kind.BEGUN:
        return replace(account, begun=entry.time)
    if entry.kind is Kind.LOST:
        return _after_event(account, entry)
    if entry.kind is Kind.CORRECTED:
        return _after_correction(account, step)
    if account.table.node(account.position).kind not in {"doing", "late"}:
        account = replace(account, begun="")
    if entry.kind is not Kind.ANSWERED or not step:
        return account
    answered = (*(s for s in account.answered if s != entry.step), entry.step)
    return _taken(replace(account, answered=answered, begun=""), step, entry)


def _taken(account: Account, step: Mapping[str, Any], entry: Entry) -> Account:
    """What a good answer puts into use: gear into its slot, a person into a role, a fact beside the job's."""
    match entry.outcome, step.get("role"):
        case "suits", _ if step["kind"] == "gear":
            return replace(account, slots={**account.slots, step["slot"]: entry.said})
        case "named", "supervisor":
            before = account.entries[-2] if len(account.entries) > 1 else entry
            signed = (before.kind, before.actor, before.said) == (Kind.SIGNED, entry.said, "supervised")
            vouched = account.vouched | {entry.said} if signed else account.vouched
            return replace(account, supervisor=entry.said, vouched=vouched)
        case "named", "second":
            return replace(account, second=entry.said)
        case "known", _ if step["kind"] == "fact":
            return _with_fact(account, step["fact"], entry.said)
        case _:
            return account


def _after_correction(account: Account, step: Mapping[str, Any]) -> Account:
    """Nothing that was in use, named or asked is taken over: a corrected answer never answers itself."""
    account = replace(account, slots={}, supervisor="", second="", begun="", vouched=_NOBODY)
    if step.get("kind") != "fact":
        return account
    job = account.opened["job"]
    facts = {n: v for n, v in job["facts"].items() if n != step["fact"]}
    return replace(account, opened={**account.opened, "job": {**job, "facts": facts}})


def _with_fact(account: Account, name: str, said: str) -> Account:
    """A fact that was asked stands beside those of the job sheet."""
    declared: Any = account.table.data["facts"]
    value: Any = said.split(", ") if "list_of" in declared[name] else said
    job = account.opened["job"]
    facts = {**job["facts"], name: value}
    return replace(account, opened={**account.opened, "job": {**job, "facts": facts}})


def _after_event(account: Account, entry: Entry) -> Account:
    match entry.trigger or entry.note.partition(":")[0]:
        case "worker changed":
            worker = entry.said or account.worker
            return replace(
                account, worker=worker, supervisor="", second="", slots={}, vouched=_NOBODY, proved=_NOBODY
            )
        case "supervisor left":
            return replace(account, supervisor="", vouched=_NOBODY)
        case "second left":
            return replace(account, second="")
        case "left site":
            return replace(account, supervisor="", second="", slots={}, vouched=_NOBODY)
        case "shift ended" | "clock went back":
            return replace(account, shift=entry.time, slots={}, supervisor="", second="", vouched=_NOBODY)
        case event if event.endswith((" changed", " found bad")):
            slot = event.removesuffix(" changed").removesuffix(" found bad")
            return replace(account, slots={s: i for s, i in account.slots.items() if s != slot})
        case _:
            return account


def open_matters(account: Account) -> tuple[Matter, ...]:
    """Locks on, temporaries in place, trips unanswered, as the record believes them."""
    data: Any = account.table.data
    values = account.table.values(account.position)
    found = [
        Matter(kind="lock", name=d, label=data["devices"].get(d, {"label": d})["label"], owner=owner)
        for d, owners in account.locks.items()
        for owner in owners
    ]
    found += [
        Matter(kind="temporary", name=t, label=v["label"])
        for t, v in data["temporary"].items()
        if values[f"temporary {t}"] == "in place"
    ]
    labels = {**{d: v["label"] for d, v in data["devices"].items()}, "upstream": "A device upstream"}
    found += [
        Matter(kind="trip", name=d, label=label)
        for d, label in labels.items()
        if values[f"trip {d}"] == "unanswered"
    ]
    return tuple(found)


def end_label(account: Account) -> str:
    """How the run ended, in words that claim no more than was done."""
    if account.node == "stopped":
        return "Stopped and made safe as far as noted"
    data: Any = account.table.data
    name = account.node.removeprefix("end ")
    if not account.ended or name not in data["ends"]:
        return "Not ended"
    end = data["ends"][name]
    title = str(end["title"])
    circuits = [c for c, how in end["leaves"].items() if how == "held off"]
    verified = all(
        any(g.startswith(f"verified-dead({c},") and account.is_held(g) for g in data["gates"])
        for c in circuits
    )
    if verified:
        return title
    bits = account.position >> NODE_BITS
    applied = all(holds(account.table.layout.from_words(data["held off"][c]), bits) for c in circuits)
    return f"{title} - {'hold applied, not verified' if applied else 'whether it is held off is not known'}"
