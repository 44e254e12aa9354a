"""The shop's list of people and their public keys, as one signed version: its bytes, and what it must not be by itself."""

import re
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from ohmward.record.authority import ROLES, must_be_another, one_alphabet
from ohmward.record.canonical import NotCanonicalError, canonical, read_canonical
from ohmward.record.ed25519 import is_sound, key_id
from ohmward.record.packed import KEYS, digest, is_digest, pack, unpack

FORMAT = "ohmward-keys-1"
_ID = re.compile("[A-Za-z0-9-]{1,24}")


@dataclass(frozen=True, slots=True, kw_only=True)
class Key:
    """One public key of a person. `revoked`: from when on nothing is signed with it; '' while it holds."""

    key: str
    public: bytes
    since: str
    revoked: str = ""
    why: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Member:
    """One person with every key that they ever had."""

    person: str
    name: str
    role: str
    keys: tuple[Key, ...]

    @property
    def current(self) -> Key | None:
        """The key that holds, if one does."""
        return next((k for k in self.keys if not k.revoked), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyList:
    """One version. `authority`: SHA-256 of the certificate under which the shop seals its pages, '' for none."""

    shop: str
    version: int
    previous: str
    time: str
    authority: str
    people: tuple[Member, ...]

    def to_bytes(self) -> bytes:
        """The exact bytes that are signed."""
        people = [
            {
                "person": m.person,
                "name": m.name,
                "role": m.role,
                "keys": [
                    {
                        "key": k.key,
                        "public": pack(k.public),
                        "since": k.since,
                        "revoked": k.revoked,
                        "why": k.why,
                    }
                    for k in m.keys
                ],
            }
            for m in self.people
        ]
        return canonical(
            {
                "format": FORMAT,
                "shop": self.shop,
                "version": self.version,
                "previous": self.previous,
                "time": self.time,
                "authority": self.authority,
                "people": people,
            }
        )

    @property
    def digest(self) -> str:
        return digest(KEYS, self.to_bytes())

    def of(self, person: str) -> Member | None:
        return next((m for m in self.people if m.person == person), None)

    def holder(self, key: str) -> tuple[Member, Key] | None:
        """Whose key it is, holding or revoked."""
        return next(((m, k) for m in self.people for k in m.keys if k.key == key), None)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedList:
    """A version with its signatures as (key, signature)."""

    raw: bytes
    signatures: tuple[tuple[str, bytes], ...]

    def plain(self) -> dict[str, Any]:
        """As files carry it."""
        return {"list": pack(self.raw), "signatures": plain_signatures(self.signatures)}


def plain_signatures(signatures: Sequence[tuple[str, bytes]]) -> list[dict[str, str]]:
    return [{"key": k, "signature": pack(s)} for k, s in signatures]


def read_signatures(value: Any, what: str) -> tuple[tuple[str, bytes], ...]:  # noqa: ANN401  untrusted
    """(key, signature) pairs. Raises ValueError."""
    if not isinstance(value, list) or not 0 < len(value) <= 16:
        raise ValueError(f"{what}: signatures must be a list of 1 to 16")
    found = []
    for item in value:
        if not isinstance(item, dict) or set(item) != {"key", "signature"} or not is_digest(item["key"]):
            raise ValueError(f"{what}: a signature has a key and a signature")
        found.append((item["key"], unpack(item["signature"], f"{what}: a signature")))
    if len({k for k, _ in found}) != len(found):
        raise ValueError(f"{what}: one key signs twice")
    return tuple(found)


def read_signed_list(value: Any, number: int) -> SignedList:  # noqa: ANN401  untrusted
    """One version out of a file. Raises ValueError."""
    what = f"key list {number}"
    if not isinstance(value, dict) or set(value) != {"list", "signatures"}:
        raise ValueError(f"{what} has a list and signatures")
    return SignedList(raw=unpack(value["list"], what), signatures=read_signatures(value["signatures"], what))


def read_key_list(raw: bytes) -> KeyList:
    """A version from its exact bytes. Raises ValueError for anything that it must not be by itself."""
    plain = read_canonical(raw)
    wanted = {"format", "shop", "version", "previous", "time", "authority", "people"}
    if not isinstance(plain, dict) or set(plain) != wanted or plain["format"] != FORMAT:
        raise NotCanonicalError(f"not of the format {FORMAT}")
    texts = all(isinstance(plain[w], str) for w in ("shop", "previous", "time", "authority"))
    if not texts or type(plain["version"]) is not int or not isinstance(plain["people"], list):
        raise NotCanonicalError("a field is of the wrong kind")
    made = KeyList(
        shop=plain["shop"],
        version=plain["version"],
        previous=plain["previous"],
        time=plain["time"],
        authority=plain["authority"],
        people=tuple(_member(m) for m in plain["people"]),
    )
    problem = _unsound(made)
    if problem:
        raise NotCanonicalError(problem)
    return made


def _member(plain: Any) -> Member:  # noqa: ANN401  untrusted
    texts = ("person", "name", "role")
    if not isinstance(plain, dict) or set(plain) != {*texts, "keys"} or not isinstance(plain["keys"], list):
        raise NotCanonicalError("a person has person, name, role and keys")
    if not all(isinstance(plain[w], str) for w in texts):
        raise NotCanonicalError("a person's field is no text")
    keys = tuple(_key(k) for k in plain["keys"])
    return Member(person=plain["person"], name=plain["name"], role=plain["role"], keys=keys)


def _key(plain: Any) -> Key:  # noqa: ANN401  untrusted
    texts = ("key", "public", "since", "revoked", "why")
    if (
        not isinstance(plain, dict)
        or set(plain) != set(texts)
        or not all(isinstance(plain[w], str) for w in texts)
    ):
        raise NotCanonicalError("a key has key, public, since, revoked and why")
    public = unpack(plain["public"], "a public key")
    return Key(
        key=plain["key"], public=public, since=plain["since"], revoked=plain["revoked"], why=plain["why"]
    )


def _unsound(made: KeyList) -> str:
    """What a version must not be, whatever stood before it."""
    keys = [k for m in made.people for k in m.keys]
    for key in keys:
        if not is_sound(key.public) or key.key != key_id(key.public):
            return f"the key {key.key[:12]} is not a sound Ed25519 key under its own id"
        if not key.since <= made.time or not key.revoked <= made.time:
            return f"the key {key.key[:12]} holds or ends after the time of its own list"
    if len({k.key for k in keys}) != len(keys):
        return "one key stands twice"
    wrong = (_unsound_member(m, made.people[:n]) for n, m in enumerate(made.people))
    return next((w for w in wrong if w), "")


def _unsound_member(member: Member, others: Sequence[Member]) -> str:
    return _unsound_words(member) or _unsound_keys(member, others)


def _unsound_words(member: Member) -> str:
    if _ID.fullmatch(member.person) is None:
        return f"{member.person[:24]!r} is no id of letters, digits and -"
    if not member.name.isprintable() or not 0 < len(member.name) <= 100:
        return f"the name of {member.person} is none that can be printed"
    if member.role not in ROLES:
        return f"'{member.role}' is not a role"
    if not one_alphabet(member.name):
        return f"the name of {member.person} mixes alphabets within a word"
    return ""


def _unsound_keys(member: Member, others: Sequence[Member]) -> str:
    if not member.keys or sum(not k.revoked for k in member.keys) > 1:
        return f"{member.person} has no key, or more than one that holds"
    alike = must_be_another((member.person, member.name), [(o.person, o.name) for o in others])
    return f"{member.name} ({member.person}) reads like another person: {alike}" if alike else ""
