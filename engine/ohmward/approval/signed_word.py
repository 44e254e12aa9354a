"""A word of approval, signed by key: over exactly one table and everything that was agreed to. Pure.

A word counts while its signer's key holds and their role may approve, by the list as it stands now; a table is then
approved again by somebody else.
"""

from dataclasses import replace
from typing import Any

from ohmward.approval.consent import Consent, Word
from ohmward.record.authority import may
from ohmward.record.canonical import canonical
from ohmward.record.ed25519 import holds
from ohmward.record.keylist import KeyList
from ohmward.record.packed import unpack
from ohmward.record.versions import KeyLists

FORMAT = "ohmward-approval-1"


def approval_bytes(consent: Consent, word: Word) -> bytes:
    """What a person signs: the table, the statement, who they are, when, under which list of keys."""
    plain: dict[str, Any] = {
        "format": FORMAT,
        "table": consent.table,
        "procedure": consent.procedure,
        "revision": consent.revision,
        "statement": consent.statement,
        "person": word.person,
        "name": word.name,
        "role": word.role,
        "time": word.time,
        "key": word.key,
        "list_version": word.list_version,
    }
    return canonical(plain)


def to_sign(word: Word, keys: KeyList) -> Word:
    """The word under the list of keys as it stands. Raises LookupError for somebody without a key that holds."""
    member = keys.of(word.person)
    if member is None or member.current is None:
        raise LookupError(word.person)
    return replace(
        word, name=member.name, role=member.role, key=member.current.key, list_version=keys.version
    )


def why_not(consent: Consent, word: Word, lists: KeyLists) -> str:
    """Why a word does not count; '' when it does."""
    current = lists.current
    held = current.holder(word.key) if current is not None else None
    if not word.signature or held is None or not 0 < word.list_version <= len(lists.versions):
        return "it is not signed by a key of this shop"
    if held[1].revoked or not may(held[0].role, "approve") or held[0].person != word.person:
        return f"the key or the role of {word.name} has ended since"
    then = lists.versions[word.list_version - 1].of(word.person)
    if then is None or (then.name, then.role) != (word.name, word.role) or then.current is None:
        return f"{word.name} was not in the list of keys so"
    try:
        signature = unpack(word.signature, "the signature")
    except ValueError as error:
        return str(error)
    good = holds(held[1].public, approval_bytes(consent, word), signature)
    return "" if good else f"the signature of {word.name} does not hold"


def counting(consent: Consent, lists: KeyLists) -> Consent:
    """The consent with the words that count."""
    return replace(consent, by=tuple(w for w in consent.by if not why_not(consent, w, lists)))


def signed_only(consent: Consent | None, lists: KeyLists) -> Consent | None:
    """The same for one that may not be there."""
    return None if consent is None else counting(consent, lists)
