"""Who is asked for a signature, for what; doors answer it with a key, a script, or not at all."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Protocol

from ohmward.account.state import Account
from ohmward.record.entry import Entry
from ohmward.record.signing import Signed


@dataclass(frozen=True, slots=True, kw_only=True)
class Asked:
    """A signature that is wanted now: over `head`, the last of the account's entries."""

    account: Account
    head: str
    person: str
    meaning: str
    time: str
    fresh: Sequence[Entry]  # what this person has not signed yet; every line is shown


class Signer(Protocol):
    """Where signatures come from."""

    def sign(self, asked: Asked) -> Signed | None:
        """The signature, or None: not there, does not want to, wrong passphrase, may not."""
        ...

    def hand_over(self) -> None:
        """Whoever was signing has left: nobody's key stays open."""
        ...
