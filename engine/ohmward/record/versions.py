"""Versions of the list of keys, each held against the one before.

A version is signed by a safety officer of the version before; the first one by a safety officer of its own. Somebody
who had a key and gets another needs one of two: the key that still holds, or two others.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from ohmward.record.authority import may, must_be_another
from ohmward.record.ed25519 import holds
from ohmward.record.entry import NOTHING
from ohmward.record.keylist import KeyList, Member, SignedList, read_key_list
from ohmward.record.packed import KEYS, digest


@dataclass(frozen=True, slots=True, kw_only=True)
class KeyLists:
    """Every version so far, each held against the one before. `problem`: why they are not to be believed."""

    versions: tuple[KeyList, ...] = ()
    signed: tuple[SignedList, ...] = ()
    digests: tuple[str, ...] = ()
    problem: str = ""

    @property
    def current(self) -> KeyList | None:
        return self.versions[-1] if self.versions else None

    @property
    def origin(self) -> str:
        """The digest of the first version: what an outsider knows a shop by. '' for none."""
        return self.digests[0] if self.digests else ""

    def at(self, version: int, expected: str) -> KeyList | None:
        """The version that a signature names by number and digest."""
        found = self.versions[version - 1] if 0 < version <= len(self.versions) else None
        return found if found is not None and self.digests[version - 1] == expected else None

    def ends_in(self, key: str, action: str, since: int) -> int:
        """The first version after `since` in which a key no longer holds, or its owner may no longer do it; 0 for none."""
        for made in self.versions[since:]:
            held = made.holder(key)
            if held is None or held[1].revoked or not may(held[0].role, action):
                return made.version
        return 0


def follow(signed: Sequence[SignedList]) -> KeyLists:
    """Follows the versions from the first on. Never raises: what is wrong is said with its version."""
    made = KeyLists()
    for number, one in enumerate(signed, 1):
        try:
            fresh = read_key_list(one.raw)
            problem = (
                why_not_next(made.current, fresh, one)
                or _name_of_another(made.versions, fresh)
                or _one_at_the_desk(made.versions, fresh, one)
            )
        except ValueError as error:
            problem = str(error)
        if problem:
            return replace(made, problem=f"key list {number}: {problem}")
        made = KeyLists(
            versions=(*made.versions, fresh),
            signed=(*made.signed, one),
            digests=(*made.digests, digest(KEYS, one.raw)),
        )
    return made


def _one_at_the_desk(versions: Sequence[KeyList], fresh: KeyList, signed: SignedList) -> str:
    """Once two people at the desk had keys, another one is entered by two of them: one alone cannot make a second."""
    if not versions or not any(_keys_at_the_desk(made) >= 2 for made in versions):
        return ""
    before = versions[-1]
    who = next((p for change, p in changed(before, fresh) if change == "at the desk"), "")
    held = [before.holder(key) for key, _ in signed.signatures]
    signers = {h[0].person for h in held if h is not None and may(h[0].role, _DESK)}
    if not who or len(signers) >= 2:
        return ""
    return f"{who}: another supervisor or safety officer is entered by two of them, once there were two"


def _keys_at_the_desk(made: KeyList) -> int:
    return sum(may(m.role, _DESK) and m.current is not None for m in made.people)


def _name_of_another(versions: Sequence[KeyList], fresh: KeyList) -> str:
    """A name that once stood for one person never stands for another: nobody could tell whose signature it is."""
    known = {(m.person, m.name) for made in versions for m in made.people}
    for member in fresh.people:
        taken = must_be_another((member.person, member.name), [k for k in known if k[0] != member.person])
        if taken:
            return f"{member.name} ({member.person}) reads like another person of an earlier list: {taken}"
    return ""


def why_not_next(before: KeyList | None, fresh: KeyList, signed: SignedList) -> str:
    """Why `fresh` does not follow `before` under these signatures; '' when it does."""
    expected = (before.version + 1, before.digest) if before is not None else (1, NOTHING)
    if (fresh.version, fresh.previous) != expected:
        return f"expected version {expected[0]} after {expected[1][:12]}, found {fresh.version} after {fresh.previous[:12]}"
    if before is not None and (fresh.shop, fresh.time >= before.time) != (before.shop, True):
        return "it is of another shop, or older than the one before"
    signers: dict[str, Member] = {}
    for key, signature in signed.signatures:
        held = (before or fresh).holder(key)
        if held is None or held[1].revoked:
            return f"it is signed with the key {key[:12]}, which does not hold"
        if not holds(held[1].public, signed.raw, signature):
            return f"the signature of {held[0].name} ({held[0].person}) does not hold"
        signers[held[0].person] = held[0]
    return _not_permitted(before, fresh, signers)


def _not_permitted(before: KeyList | None, fresh: KeyList, signers: Mapping[str, Member]) -> str:
    roles = [m.role for m in signers.values()]
    if before is None:
        return (
            ""
            if any(may(r, "enrol") for r in roles)
            else "the first list is signed by a safety officer in it"
        )
    changes = changed(before, fresh)
    wrong = next((w for c, p in changes if (w := _change_not_permitted(c, p, signers))), "")
    if wrong:
        return wrong
    if fresh.authority != before.authority and not any(may(r, "enrol") for r in roles):
        return "another seal is entered by a safety officer"
    if not any(may(m.role, "enrol") and m.current is not None for m in fresh.people):
        return "it would have no safety officer whose key holds: nobody could change it again"
    return "" if changes or fresh.authority != before.authority else "nothing in it changed"


def _change_not_permitted(change: str, person: str, signers: Mapping[str, Member]) -> str:
    roles = [m.role for m in signers.values()]
    if change == "lost":
        return f"{person} or a key of theirs was taken out; a key is revoked, never removed"
    if change == "revoked":
        known = any(may(r, "revoke") for r in roles)
        return "" if known else f"{person}: a key is revoked by a supervisor or safety officer"
    if not any(may(r, "enrol") for r in roles):
        return f"{person}: people and keys are entered by a safety officer"
    if change == "another key" and not _has_second(person, signers):
        return f"{person}: another key needs the key that held before, or a second person"
    return ""


def _has_second(person: str, signers: Mapping[str, Member]) -> bool:
    """The person's own old key, or two others who may."""
    others = [m for p, m in signers.items() if p != person and may(m.role, "second a new key")]
    return person in signers or len(others) >= 2


_DESK = "second a new key"  # what supervisors and safety officers may


def changed(before: KeyList, fresh: KeyList) -> tuple[tuple[str, str], ...]:
    """(what, person) of everything that differs: entered, at the desk, another key, revoked, lost."""
    found = []
    for member in before.people:
        now = fresh.of(member.person)
        if now is None or _rewritten(member, now):
            found.append(("lost", member.person))
            continue
        if len(now.keys) > len(member.keys):
            found.append(("another key", member.person))
        elif now.keys != member.keys:
            found.append(("revoked", member.person))
        if (now.name, now.role) != (member.name, member.role):
            found.append((_entered(now.role) if now.role != member.role else "entered", member.person))
    known = {m.person for m in before.people}
    return (*found, *((_entered(m.role), m.person) for m in fresh.people if m.person not in known))


def _entered(role: str) -> str:
    return "at the desk" if may(role, _DESK) else "entered"


def _rewritten(member: Member, now: Member) -> bool:
    """Whether a key is gone, has other bytes, or one that was revoked holds again."""
    if len(now.keys) < len(member.keys):
        return True
    for old, new in zip(member.keys, now.keys, strict=False):
        same = (old.key, old.public, old.since) == (new.key, new.public, new.since)
        if not same or (old.revoked and (old.revoked, old.why) != (new.revoked, new.why)):
            return True
    return False
