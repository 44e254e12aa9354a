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
    heads: tuple[str, ...] = ()  # the head after n entries, from 0 on

    @property
    def intact(self) -> bool:
        return not self.problem


class Links:
    """Follows one run's exact bytes, entry by entry, and keeps nothing but where it stands."""

    def __init__(self, run: str = "") -> None:
        self.run, self.number, self.head = run, 0, NOTHING

    def add(self, data: bytes) -> Entry | str:
        """The next entry, or why it is not the next one."""
        number = self.number + 1
        try:
            entry = read_entry(data)
        except NotCanonicalError as error:
            return f"broken at entry {number}: {error}"
        problem = _link_problem(entry, number, self.head, self.run or entry.run)
        if problem:
            return f"broken at entry {number}: {problem}"
        self.run, self.number, self.head = entry.run, number, digest_of(data)
        return entry


def verify_chain(raw: Iterable[bytes], *, run: str = "", head: str = "") -> Chain:
    """Follows the links over exact bytes. `run` and `head`, when given, must be met."""
    entries: list[Entry] = []
    heads = [NOTHING]
    links = Links(run)
    for data in raw:
        entry = links.add(data)
        if isinstance(entry, str):
            return _broken(entries, links.head, entry)
        entries.append(entry)
        heads.append(links.head)
    if not entries:
        return _broken(entries, links.head, "there are no entries")
    if head and head != links.head:
        return _broken(
            entries,
            links.head,
            f"broken after entry {links.number}: expected head {head}, found {links.head}",
        )
    return Chain(entries=tuple(entries), head=links.head, problem="", heads=tuple(heads))


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
