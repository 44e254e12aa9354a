"""Verification of integrity: each entry's number, its link, its bytes. A broken link is reported, never repaired."""

from collections.abc import Iterable
from dataclasses import dataclass

from ohmward.record.canonical import NotCanonicalError
from ohmward.record.entry import NOTHING, Entry, digest_of, read_entry


@dataclass(frozen=True, slots=True, kw_only=True)
class Chain:
    """What verification found. `entries` are those up to the first break."""

    entries: tuple[Entry, ...]
    head: str
    problem: str

    @property
    def intact(self) -> bool:
        return not self.problem


def verify_chain(raw: Iterable[bytes], *, run: str = "", head: str = "") -> Chain:
    """Follows the links over exact bytes. `run` and `head`, when given, must be met."""
    entries: list[Entry] = []
    last = NOTHING
    number = 0
    for number, data in enumerate(raw, 1):
        try:
            entry = read_entry(data)
        except NotCanonicalError as error:
            return _broken(entries, last, f"broken at entry {number}: {error}")
        problem = _link_problem(entry, number, last, run or (entries[0].run if entries else entry.run))
        if problem:
            return _broken(entries, last, f"broken at entry {number}: {problem}")
        entries.append(entry)
        last = digest_of(data)
    if not entries:
        return _broken(entries, last, "there are no entries")
    if head and head != last:
        return _broken(entries, last, f"broken after entry {number}: expected head {head}, found {last}")
    return Chain(entries=tuple(entries), head=last, problem="")


def _broken(entries: list[Entry], head: str, problem: str) -> Chain:
    return Chain(entries=tuple(entries), head=head, problem=problem)


def _link_problem(entry: Entry, number: int, last: str, run: str) -> str:
    if entry.number != number:
        return f"expected number {number}, found {entry.number}"
    if entry.previous != last:
        return f"expected previous {last}, found {entry.previous}"
    if entry.run != run:
        return f"expected run {run}, found {entry.run}"
    return ""
