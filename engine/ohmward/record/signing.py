"""A person's signature under a record: an entry that carries the statement, as signed, over the head before it."""

from dataclasses import dataclass
from typing import Any, NamedTuple

from ohmward.record.authority import MEANINGS, NOT_OWN, may, must_be_another, who_may
from ohmward.record.canonical import canonical, read_fields
from ohmward.record.ed25519 import holds
from ohmward.record.entry import Entry
from ohmward.record.keylist import KeyList
from ohmward.record.packed import pack, unpack
from ohmward.record.parts import Parts
from ohmward.record.versions import KeyLists

FORMAT = "ohmward-signature-1"


class Statement(NamedTuple):
    """What is signed: who, as what, meaning what, over which entries, under which list of keys."""

    run: str
    entries: int
    head: str
    person: str
    name: str
    role: str
    key: str
    meaning: str
    time: str
    list_version: int
    list_digest: str

    def to_bytes(self) -> bytes:
        """The exact bytes that are signed."""
        return canonical({"format": FORMAT, **self._asdict()})


_NAMES = frozenset(Statement._fields)
_WHOLE = frozenset({"entries", "list_version"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Signed:
    """A statement's exact bytes and the signature under them."""

    statement: bytes
    signature: bytes

    def plain(self) -> dict[str, str]:
        """An entry's data."""
        return {"statement": pack(self.statement), "signature": pack(self.signature)}


def make_statement(
    *, run: str, entries: int, head: str, person: str, meaning: str, time: str, keys: KeyList
) -> Statement:
    """What a person of the current list signs. Raises LookupError when they have no key that holds."""
    member = keys.of(person)
    key = member.current if member is not None else None
    if member is None or key is None:
        raise LookupError(person)
    return Statement(
        run=run,
        entries=entries,
        head=head,
        person=person,
        name=member.name,
        role=member.role,
        key=key.key,
        meaning=meaning,
        time=time,
        list_version=keys.version,
        list_digest=keys.digest,
    )


def read_signed(data: Any) -> tuple[Statement, Signed]:  # noqa: ANN401  untrusted
    """Statement and signature out of an entry's data. Raises ValueError."""
    if not isinstance(data, dict) or set(data) != {"statement", "signature"}:
        raise ValueError("a signature has a statement and a signature")
    signed = Signed(
        statement=unpack(data["statement"], "the statement"),
        signature=unpack(data["signature"], "the signature"),
    )
    plain = read_fields(signed.statement, form=FORMAT, names=_NAMES, whole=_WHOLE)
    return Statement(**plain), signed


def may_not_sign(
    *, person: str, name: str, role: str, meaning: str, parts: Parts, list_names: KeyList
) -> str:
    """Why a person may not sign these entries with this meaning; '' when they may."""
    if meaning not in MEANINGS:
        return f"'{meaning}' is not a meaning: {', '.join(MEANINGS)}"
    if not may(role, meaning):
        return f"{name} is {role.replace('-', ' ')}: '{meaning}' is signed by {who_may(meaning)}"
    if meaning not in NOT_OWN:
        return ""
    doers = parts.of(meaning)
    doers += [(p, m.name) for p, _ in doers if (m := list_names.of(p)) is not None]
    against = must_be_another((person, name), doers)
    return f"nobody signs '{meaning}' under their own work: {against}" if against else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Verified:
    """A signature that was looked at: its statement, and why it is not to be believed; '' when it is."""

    number: int
    statement: Statement | None
    problem: str = ""


def verify_signature(entry: Entry, parts: Parts, lists: KeyLists) -> Verified:
    """One entry of the kind 'signed', held against the parts that people had before it and the lists of keys. Never raises."""
    try:
        statement, signed = read_signed(dict(entry.data))
    except ValueError as error:
        return Verified(number=entry.number, statement=None, problem=f"its signature cannot be read: {error}")
    problem = _unlike_entry(entry, statement) or _unlike_list(statement, signed, parts, lists)
    return Verified(number=entry.number, statement=statement, problem=problem)


def _unlike_entry(entry: Entry, statement: Statement) -> str:
    said = (statement.run, statement.entries, statement.head)
    found = (entry.run, entry.number - 1, entry.previous)
    if said != found:
        return f"expected a signature over {found[1]} entries with head {found[2]}, found one over {said[1]} of {said[0]} with head {said[2]}"
    if (statement.person, statement.meaning) != (entry.actor, entry.said):
        return f"expected {entry.actor} '{entry.said}', found {statement.person} '{statement.meaning}'"
    return "" if statement.time == entry.time else f"expected the time {entry.time}, found {statement.time}"


def _unlike_list(statement: Statement, signed: Signed, parts: Parts, lists: KeyLists) -> str:
    keys = lists.at(statement.list_version, statement.list_digest)
    if keys is None:
        last = lists.current.version if lists.current is not None else 0
        return f"it was signed under key list {statement.list_version} ({statement.list_digest[:12]}), which is not among the {last} here"
    member = keys.of(statement.person)
    key = member.current if member is not None else None
    if member is None or key is None or key.key != statement.key:
        return f"the key {statement.key[:12]} does not hold for {statement.person} in key list {keys.version}"
    if (member.name, member.role) != (statement.name, statement.role):
        return f"{statement.person} is {member.name}, {member.role} in key list {keys.version}, not {statement.name}, {statement.role}"
    told = parts.people.get(statement.person, (statement.name, statement.role))
    if told != (statement.name, statement.role):
        return f"the first entry has {statement.person} as {told[0]}, {told[1]}, the list of keys as {statement.name}, {statement.role}"
    if statement.time < keys.time:
        return f"it claims {statement.time}, before its key list of {keys.time}"
    later = lists.versions[keys.version] if keys.version < len(lists.versions) else None
    if later is not None and statement.time > later.time:
        return f"it claims {statement.time}, when key list {later.version} of {later.time} stood already"
    if not holds(key.public, signed.statement, signed.signature):
        return f"the signature of {statement.name} ({statement.person}) does not hold"
    return may_not_sign(
        person=statement.person,
        name=statement.name,
        role=statement.role,
        meaning=statement.meaning,
        parts=parts,
        list_names=keys,
    )
