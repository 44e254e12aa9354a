"""One thing that happened, as it is chained. Nothing is edited: a correction is a new entry."""

import re
from collections.abc import Mapping
from enum import StrEnum
from functools import lru_cache
from hashlib import sha256
from operator import itemgetter
from types import MappingProxyType
from typing import Any, NamedTuple

from ohmward.record.canonical import PLAIN_TEXT, SHORT, NotCanonicalError, canonical, read_canonical

FORMAT = "ohmward-entry-1"
DOMAIN = b"\x01"  # before every entry, so that no other digest of ours can be taken for one
NOTHING = "0" * 64


class Kind(StrEnum):
    """What an entry reports."""

    OPENED = "opened"  # job sheet, people, gear, table, proof
    BEGUN = "begun"  # a deed is about to be done
    ANSWERED = "answered"
    LOST = "lost"  # an event or a lapse took gates
    REFUSED = "refused"  # something was asked for and not permitted
    STOPPED = "stopped"  # emergency, unsafe, pause
    INTERRUPTED = "interrupted"  # found on resuming: a deed was left without an answer
    CORRECTED = "corrected"
    FOUND = "found"  # something else was seen, in words
    RELEASED = "released"  # a qualified person said how to go on
    NOTED = "noted"  # a remark that moves nothing
    SIGNED = "signed"  # somebody signed everything before this entry with their own key
    RETURNED = "returned"  # a reviewer sent the record back, with a note
    KEYS = "keys"  # the shop's diary: another version of the key list
    CHECKPOINT = "checkpoint"  # the shop's diary: how every record stood, signed
    RECALLED = "recalled"  # the shop's diary: a procedure or a thing taken out of use
    TRIED = "tried"  # the shop's diary: a passphrase that was wrong, or right again, or a lock taken off


class Reading(NamedTuple):
    """One value as typed, at one point, with what it was taken with."""

    point: str
    said: str
    low: str = ""
    high: str = ""


_NO_DATA: Mapping[str, Any] = MappingProxyType({})


class Entry(NamedTuple):
    """One line of a record. Times are UTC, ISO 8601 with seconds and `Z`; the device's claim.

    Two of a kind are equal by all their fields. Made with names, by convention; a tuple because verification makes
    many of them.
    """

    run: str
    number: int
    previous: str
    time: str
    actor: str
    device: str
    kind: Kind
    trigger: str = ""
    step: str = ""
    shown: str = ""
    taken: str = ""
    said: str = ""
    outcome: str = ""
    instrument: str = ""
    values: tuple[Reading, ...] = ()
    note: str = ""
    data: Mapping[str, Any] = _NO_DATA

    def to_bytes(self) -> bytes:
        """The exact bytes that are chained."""
        plain = self._asdict()
        plain["format"] = FORMAT
        plain["kind"] = self.kind.value
        plain["values"] = [v._asdict() for v in self.values]
        plain["data"] = dict(self.data)
        return canonical(plain)


def digest_of(data: bytes) -> str:
    """SHA-256 over the domain byte and an entry's exact bytes, in hex."""
    return sha256(DOMAIN + data).hexdigest()


_NAMES = frozenset(Entry._fields)
_READING = frozenset(Reading._fields)
_TEXTS = itemgetter(*sorted(_NAMES - {"kind", "values", "data", "number"}))
_KINDS = {k.value: k for k in Kind}
_ONLY_TEXT = {str}


# An entry as most are: no data but a signature's, no text with an escape. Its canonical form is exactly this.
_TEXT = f'"({PLAIN_TEXT})"'
_VALUE = f'{{"high":{_TEXT},"low":{_TEXT},"point":{_TEXT},"said":{_TEXT}}}'
_VALUES = re.compile(_VALUE)
_ANY_VALUE = _VALUE.replace("(", "(?:")
_BASE64 = '"([A-Za-z0-9+/=]*)"'
_USUAL = re.compile(
    rf'{{"actor":{_TEXT},"data":{{(?:"signature":{_BASE64},"statement":{_BASE64})?}},"device":{_TEXT},"format":"{FORMAT}","instrument":{_TEXT},"kind":{_TEXT},'
    rf'"note":{_TEXT},"number":([1-9][0-9]{{0,14}}),"outcome":{_TEXT},"previous":{_TEXT},"run":{_TEXT},"said":{_TEXT},'
    rf'"shown":{_TEXT},"step":{_TEXT},"taken":{_TEXT},"time":{_TEXT},"trigger":{_TEXT},"values":\[((?:{_ANY_VALUE}(?:,{_ANY_VALUE})*)?)\]}}'
)


def read_entry(data: bytes) -> Entry:
    """The entry of exact bytes. Raises NotCanonicalError, and nothing else."""
    if len(data) >= SHORT:
        return _read_long(data)
    try:
        found = _USUAL.fullmatch(data.decode("utf-8"))
    except UnicodeDecodeError:
        found = None
    if found is None:
        return read_any_entry(data)
    actor, signature, statement, device, instrument, word, note, number, outcome, previous, *more = found.groups()
    run, said, shown, step, taken, time, trigger, values = more
    kind = _KINDS.get(word)
    if kind is None:
        return read_any_entry(data)
    read = tuple(map(_value, _VALUES.findall(values))) if values else ()
    signed = _NO_DATA if statement is None else {"signature": signature, "statement": statement}
    # in the order of the fields, without their names, which cost more here than all the rest
    return Entry._make((run, int(number), previous, time, actor, device, kind, trigger, step, shown, taken, said, outcome, instrument, read, note, signed))


@lru_cache(maxsize=4)
def _read_long(data: bytes) -> Entry:
    """A long entry is a run's first, with its table: the store, the chain and the account read the same bytes again."""
    return read_any_entry(data)


def _value(found: tuple[str, str, str, str]) -> Reading:
    high, low, point, said = found
    return Reading(point=point, said=said, low=low, high=high)


def read_any_entry(data: bytes) -> Entry:
    """The same for entries of every form, more slowly."""
    plain = read_canonical(data)
    if not isinstance(plain, dict) or plain.pop("format", None) != FORMAT:
        raise NotCanonicalError(f"not an entry of the format {FORMAT}")
    if plain.keys() != _NAMES:
        raise NotCanonicalError(f"fields differ: {', '.join(sorted(set(plain) ^ _NAMES))}")
    try:
        plain["kind"] = _KINDS[plain["kind"]]
    except (TypeError, KeyError):
        raise NotCanonicalError(f"{plain['kind']!r} is not a valid Kind") from None
    if (
        set(map(type, _TEXTS(plain))) != _ONLY_TEXT
        or type(plain["number"]) is not int
        or type(plain["data"]) is not dict
        or type(plain["values"]) is not list
    ):
        raise NotCanonicalError("a field is of the wrong kind")
    plain["values"] = tuple(map(_reading, plain["values"])) if plain["values"] else ()
    return Entry(**plain)


def _reading(value: Any) -> Reading:  # noqa: ANN401  untrusted
    if type(value) is not dict or value.keys() != _READING or set(map(type, value.values())) != _ONLY_TEXT:
        raise NotCanonicalError("a value is not a mapping of its four texts")
    return Reading(**value)
