"""The next version of the list of keys: somebody entered, another key, a key revoked, another seal. Pure."""

from dataclasses import replace

from ohmward.record.ed25519 import key_id
from ohmward.record.entry import NOTHING
from ohmward.record.keylist import Key, KeyList, Member


def first_list(shop: str, time: str) -> KeyList:
    """Version 1, with nobody in it yet."""
    return KeyList(shop=shop, version=1, previous=NOTHING, time=time, authority="", people=())


def next_list(current: KeyList, time: str) -> KeyList:
    """The version after `current`, with nothing changed yet."""
    return replace(
        current, version=current.version + 1, previous=current.digest, time=max(time, current.time)
    )


def with_person(made: KeyList, person: str, name: str, role: str) -> KeyList:
    """Name and role as they are now; whatever keys they had stay."""
    known = made.of(person)
    keys = known.keys if known is not None else ()
    return _put(made, Member(person=person, name=name, role=role, keys=keys))


def with_key(made: KeyList, person: str, public: bytes) -> KeyList:
    """Another key; the one that held until now is revoked with the reason 'replaced'. Raises LookupError."""
    made = without_key(made, person, "replaced by another key")
    member = _member(made, person)
    fresh = Key(key=key_id(public), public=public, since=made.time)
    return _put(made, replace(member, keys=(*member.keys, fresh)))


def without_key(made: KeyList, person: str, why: str) -> KeyList:
    """The key that holds, revoked from now on. Raises LookupError for somebody who is not there."""
    member = _member(made, person)
    keys = tuple(k if k.revoked else replace(k, revoked=made.time, why=why) for k in member.keys)
    return _put(made, replace(member, keys=keys))


def _member(made: KeyList, person: str) -> Member:
    member = made.of(person)
    if member is None:
        raise LookupError(person)
    return member


def _put(made: KeyList, member: Member) -> KeyList:
    others = [m for m in made.people if m.person != member.person]
    return replace(made, people=tuple(sorted((*others, member), key=lambda m: m.person)))
