"""A word of approval, signed by key: over exactly one table and everything that was agreed to. Pure.

A word counts while its signer's key holds and their role may approve, by the list as it stands now; a table is then
approved again by somebody else.
"""

from dataclasses import replace
from typing import Any

from ohmward.approval.consent import Consent, Inspection, Word
from ohmward.record.authority import may
from ohmward.record.canonical import canonical
from ohmward.record.ed25519 import holds
from ohmward.record.keylist import KeyList
from ohmward.record.packed import unpack
from ohmward.record.versions import KeyLists

FORMAT, INSPECTION = "ohmward-approval-1", "ohmward-inspection-1"


def approval_bytes(consent: Consent, word: Word) -> bytes:
    """What a person signs: the table, the statement, who they are, when, under which list of keys."""
    return canonical({"format": FORMAT, "statement": consent.statement, **_by(consent, word)})


def _by(consent: Consent, word: Word) -> dict[str, Any]:
    """What everything that is signed over a table has: which one, who, when, under which list of keys."""
    return {
        "table": consent.table,
        "procedure": consent.procedure,
        "revision": consent.revision,
        "person": word.person,
        "name": word.name,
        "role": word.role,
        "time": word.time,
        "key": word.key,
        "list_version": word.list_version,
    }


def to_sign(word: Word, keys: KeyList) -> Word:
    """The word under the list of keys as it stands. Raises LookupError for somebody without a key that holds."""
    member = keys.of(word.person)
    if member is None or member.current is None:
        raise LookupError(word.person)
    return replace(
        word, name=member.name, role=member.role, key=member.current.key, list_version=keys.version
    )


def inspection_bytes(consent: Consent, seen: Inspection) -> bytes:
    """What somebody signs who inspected: which run of which table, on what, worked by whom, and who they are."""
    plain = {
        "format": INSPECTION,
        "run": seen.run,
        "equipment": seen.equipment,
        "employees": list(seen.employees),
        **_by(consent, seen.by),
    }
    return canonical(plain)


def why_not(consent: Consent, word: Word, lists: KeyLists) -> str:
    """Why a word of approval does not count; '' when it does."""
    return _why_not(word, approval_bytes(consent, word), "approve", lists)


def why_not_inspected(consent: Consent, seen: Inspection, lists: KeyLists) -> str:
    """Why an inspection does not count; '' when it does."""
    if seen.by.person in seen.employees:
        return f"{seen.by.name} worked the run"
    return _why_not(seen.by, inspection_bytes(consent, seen), "inspect", lists)


def _why_not(word: Word, signed: bytes, action: str, lists: KeyLists) -> str:
    current = lists.current
    held = current.holder(word.key) if current is not None else None
    if not word.signature or held is None or not 0 < word.list_version <= len(lists.versions):
        return "it is not signed by a key of this shop"
    if held[1].revoked or not may(held[0].role, action) or held[0].person != word.person:
        return f"the key or the role of {word.name} has ended since"
    then = lists.versions[word.list_version - 1].of(word.person)
    if then is None or (then.name, then.role) != (word.name, word.role) or then.current is None:
        return f"{word.name} was not in the list of keys so"
    try:
        signature = unpack(word.signature, "the signature")
    except ValueError as error:
        return str(error)
    good = holds(held[1].public, signed, signature)
    return "" if good else f"the signature of {word.name} does not hold"


def counting(consent: Consent, lists: KeyLists) -> Consent:
    """The consent with the words and the inspections that count."""
    return replace(
        consent,
        by=tuple(w for w in consent.by if not why_not(consent, w, lists)),
        inspections=tuple(i for i in consent.inspections if not why_not_inspected(consent, i, lists)),
    )


def signed_only(consent: Consent | None, lists: KeyLists) -> Consent | None:
    """The same for one that may not be there."""
    return None if consent is None else counting(consent, lists)
