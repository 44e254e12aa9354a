"""Entries folded over their table: where the run stands, what was held when, and the first impossible move."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from ohmward.account.judge import judge_reading
from ohmward.account.names import accuracy_of, names_for
from ohmward.chart.document import NotATableError, digest_of_document, from_document
from ohmward.chart.table import NODE_BITS, Position, Refused, Table, advance, begin_at
from ohmward.record.entry import Entry, Kind
from ohmward.trade.quantity import QuantityError


@dataclass(frozen=True, slots=True, kw_only=True)
class Held:
    """One span in which a gate was held. `lost` is empty while it still is."""

    gate: str
    since: str
    lost: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Matter:
    """What a run leaves behind on its equipment."""

    kind: str  # lock, temporary, trip
    name: str
    label: str
    owner: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Account:
    """A record as far as it was read. Times as the entries claim them."""

    run: str
    number: int
    time: str
    opened: Mapping[str, Any]
    table: Table
    position: Position
    worker: str
    supervisor: str = ""
    slots: Mapping[str, str] = field(default_factory=dict)
    locks: Mapping[str, str] = field(default_factory=dict)
    spans: tuple[Held, ...] = ()
    entries: tuple[Entry, ...] = ()
    answered: tuple[str, ...] = ()
    begun: str = ""
    shift: str = ""
    impossible: str = ""
    table_digest: str = ""

    @property
    def node(self) -> str:
        return self.table.node(self.position).name

    @property
    def ended(self) -> bool:
        return self.table.node(self.position).kind == "end"

    @property
    def rehearsal(self) -> bool:
        return bool(self.opened["rehearsal"])

    @property
    def steps(self) -> Mapping[str, Any]:
        steps: Mapping[str, Any] = self.table.data["steps"]  # type: ignore[assignment]
        return steps

    @property
    def held(self) -> dict[str, Held]:
        """The gates held now."""
        return {span.gate: span for span in self.spans if not span.lost}

    def is_held(self, gate: str) -> bool:
        return self.table.value(self.position, f"gate {gate}") == "held"


class NoRecordError(ValueError):
    """The entries do not begin as a record does."""


def open_account(entry: Entry) -> Account:
    """The account after the first entry. Raises NoRecordError."""
    if entry.kind is not Kind.OPENED:
        raise NoRecordError("the first entry is not 'opened'")
    data = entry.data
    try:
        table = from_document(data["table"])
        position = begin_at(table, data["start"])
        worker = str(data["job"]["people"]["worker"])
        for word in ("facts", "circuits"):
            data["job"][word].items()
        _ = bool(data["rehearsal"]), data["gear"].items(), data["people"].items()
        digest = digest_of_document(data["table"])
    except NotATableError as error:
        raise NoRecordError(str(error)) from None
    except (KeyError, ValueError, TypeError, AttributeError) as error:
        raise NoRecordError(f"the first entry lacks {error}") from None
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
        table_digest=digest,
    )


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
    now = replace(account, number=entry.number, time=entry.time, entries=(*account.entries, entry))
    if entry.kind is Kind.OPENED:
        return _impossible(now, entry, "a run is opened once")
    if not entry.trigger:
        return now
    contradiction = _contradiction(account, entry)
    if contradiction:
        now = _impossible(now, entry, contradiction)
    move = advance(account.table, account.position, entry.trigger)
    if isinstance(move, Refused):
        return _impossible(now, entry, f"'{entry.trigger}' at '{account.node}': {move.why}")
    now = replace(
        now,
        position=move.position,
        spans=_spans(account, move.position, entry),
        locks=_locks(account, move.marks),
    )
    return _people_and_gear(now, entry)


def _impossible(account: Account, entry: Entry, why: str) -> Account:
    return account if account.impossible else replace(account, impossible=f"entry {entry.number}: {why}")


def _contradiction(account: Account, entry: Entry) -> str:
    """An answer whose values say another outcome than the entry."""
    step = account.steps.get(entry.step)
    if step is None or entry.kind is not Kind.ANSWERED or step["kind"] != "reading" or not entry.values:
        return ""
    said = [(v.point, v.said) for v in entry.values]
    try:
        names = names_for(account.opened, account.slots, step, account.table.data)
        judged = judge_reading(step, said, accuracy_of(account.opened, account.slots, step), names)
    except (QuantityError, KeyError, ValueError, TypeError) as error:
        return f"the values of '{entry.step}' cannot be read: {error}"
    if judged.outcome != entry.outcome or judged.values != entry.values:
        return f"the values of '{entry.step}' say '{judged.outcome}', the entry says '{entry.outcome}'"
    return ""


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


def _locks(account: Account, marks: tuple[str, ...]) -> Mapping[str, str]:
    locks = dict(account.locks)
    for mark in marks:
        if mark.startswith("hold off "):
            locks[mark.removeprefix("hold off ")] = account.worker
        elif mark.startswith(("release ", "close ")):
            locks.pop(mark.partition(" ")[2], None)
    return locks


def _people_and_gear(account: Account, entry: Entry) -> Account:
    """Who works, who supervises, what is in which slot, which steps can be corrected."""
    step = account.steps.get(entry.step, {})
    if entry.kind is Kind.BEGUN:
        return replace(account, begun=entry.time)
    if entry.kind is Kind.LOST:
        return _after_event(account, entry)
    if entry.kind is not Kind.ANSWERED or not step:
        return account
    answered = (*(s for s in account.answered if s != entry.step), entry.step)
    account = replace(account, answered=answered, begun="")
    if step["kind"] == "gear" and entry.outcome == "suits":
        return replace(account, slots={**account.slots, step["slot"]: entry.said})
    if step["kind"] == "person" and entry.outcome == "named" and step.get("role") == "supervisor":
        return replace(account, supervisor=entry.said)
    return account


def _after_event(account: Account, entry: Entry) -> Account:
    match entry.trigger:
        case "worker changed":
            return replace(account, worker=entry.said or account.worker, supervisor="")
        case "supervisor left":
            return replace(account, supervisor="")
        case "shift ended":
            return replace(account, shift=entry.time)
        case _:
            return account


def open_matters(account: Account) -> tuple[Matter, ...]:
    """Locks on, temporaries in place, trips unanswered, as the record believes them."""
    data: Any = account.table.data
    values = account.table.values(account.position)
    found = [
        Matter(kind="lock", name=d, label=v["label"], owner=account.locks.get(d, account.worker))
        for d, v in data["devices"].items()
        if values[f"device {d}"] == "held off"
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
    return title if verified else f"{title} - hold applied, not verified"
