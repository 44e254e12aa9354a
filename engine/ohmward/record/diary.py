"""The shop's own record: versions of the key list, checkpoints, passphrases that were wrong. Pure: entries in, standing out."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from typing import Any

from ohmward.record.checkpoint import (
    Anchor,
    Checkpoint,
    Leaf,
    SignedCheckpoint,
    read_checkpoint,
    read_leaf,
    read_signed_checkpoint,
    verify_checkpoint,
)
from ohmward.record.entry import NOTHING, Entry, Kind
from ohmward.record.keylist import read_signed_list
from ohmward.record.merkle import inclusion, root_of
from ohmward.record.packed import unpack
from ohmward.record.versions import KeyLists, follow

DIARY = "diary"  # the diary's place among the runs of a store
TRIES = 5
LOCKED_FOR = timedelta(hours=1)
WRONG, RIGHT, UNLOCKED = "wrong", "right", "unlocked"
_LATEST = 20  # how many of the newest checkpoints a bundle carries


@dataclass(frozen=True, slots=True, kw_only=True)
class Diary:
    """Where the diary stands. `problem`: why it is not to be believed."""

    number: int = 0
    head: str = NOTHING
    time: str = ""
    lists: KeyLists = field(default_factory=KeyLists)
    leaves: tuple[bytes, ...] = ()
    checkpoints: tuple[SignedCheckpoint, ...] = ()
    wrong: Mapping[str, int] = field(default_factory=dict)
    wrong_at: Mapping[str, str] = field(default_factory=dict)
    recalled: Mapping[str, Entry] = field(default_factory=dict)  # tables by digest, gear by number
    problem: str = ""

    def locked(self, person: str, now: str) -> bool:
        """Whether a person's key is locked: too many wrong passphrases in a row, the last within the hour before `now`.

        A lock that never ended would let anybody at the terminal keep everybody from signing for good.
        """
        if self.wrong.get(person, 0) < TRIES:
            return False
        last = datetime.fromisoformat(self.wrong_at[person])
        return datetime.fromisoformat(now) - last < LOCKED_FOR

    @property
    def last(self) -> Checkpoint | None:
        """The newest checkpoint."""
        return read_checkpoint(self.checkpoints[-1].raw) if self.checkpoints else None

    def standing(self) -> dict[str, Leaf]:
        """The newest leaf of each run."""
        return {leaf.run: leaf for leaf in map(read_leaf, self.leaves)}


def read_diary(entries: Iterable[tuple[Entry, str]]) -> Diary:
    """The diary after its entries, each with the head after it. Never raises: what is wrong is `problem`."""
    made = Diary()
    for entry, head in entries:
        if made.problem:
            break
        stands = replace(made, number=entry.number, head=head, time=entry.time)
        try:
            made = _after(stands, entry)
        except (ValueError, TypeError, KeyError, AttributeError) as error:
            made = replace(stands, problem=f"broken at entry {entry.number}: {error}")
    return made


def _after(made: Diary, entry: Entry) -> Diary:
    data: Any = dict(entry.data)
    match entry.kind:
        case Kind.KEYS:
            number = len(made.lists.versions) + 1
            lists = follow((*made.lists.signed, read_signed_list(data, number)))
            problem = f"broken at entry {entry.number}: {lists.problem}" if lists.problem else ""
            return replace(made, lists=lists, problem=problem)
        case Kind.TRIED:
            who = entry.note if entry.said == UNLOCKED else entry.actor
            count = made.wrong.get(who, 0) + 1 if entry.said == WRONG else 0
            datetime.fromisoformat(entry.time)
            at = {**made.wrong_at, who: entry.time}
            return replace(made, wrong={**made.wrong, who: count}, wrong_at=at)
        case Kind.RECALLED:
            names = [str(n) for n in data["what"]]
            return replace(made, recalled={**made.recalled, **dict.fromkeys(names, entry)})
        case Kind.CHECKPOINT:
            return _with_checkpoint(made, entry, data)
        case _:
            return made


def _with_checkpoint(made: Diary, entry: Entry, data: Mapping[str, Any]) -> Diary:
    fresh = tuple(unpack(text, "a leaf") for text in data["leaves"])
    signed = read_signed_checkpoint({k: data[k] for k in ("statement", "signatures")})
    leaves = (*made.leaves, *fresh)
    if made.checkpoints and signed.raw == made.checkpoints[-1].raw and not fresh:
        return replace(made, checkpoints=(*made.checkpoints[:-1], signed))  # countersigned
    checkpoint = read_checkpoint(signed.raw)
    before = made.last.digest if made.last is not None else ""
    _ = [read_leaf(leaf) for leaf in fresh]
    expected = (len(leaves), root_of(leaves), before)
    found = (checkpoint.size, checkpoint.root, checkpoint.previous)
    if found != expected:
        problem = f"broken at entry {entry.number}: expected a checkpoint of {expected[0]} leaves with root {expected[1]}, found {found[0]} with {found[1]}"
        return replace(made, problem=problem)
    return replace(made, leaves=leaves, checkpoints=(*made.checkpoints, signed))


def wanted_heads(diary: Diary) -> dict[str, frozenset[int]]:
    """After how many entries of each run a head must be known to hold the diary against it."""
    wanted: dict[str, frozenset[int]] = {}
    for leaf in map(read_leaf, diary.leaves):
        wanted[leaf.run] = wanted.get(leaf.run, frozenset()) | {leaf.entries}
    return wanted


def faults_of(diary: Diary, heads: Mapping[str, Mapping[int, str]]) -> tuple[str, ...]:
    """What a whole shop's diary does not agree with: signatures under checkpoints, leaves against the runs.

    `heads`: for each run the heads that `wanted_heads` names. A missing record shows as a changed one does.
    """
    if diary.problem:
        return (f"the diary is {diary.problem}",)
    found = [problem for s in diary.checkpoints if (problem := verify_checkpoint(s, diary.lists)[1])]
    for leaf in map(read_leaf, diary.leaves):
        head = heads.get(leaf.run, {}).get(leaf.entries, "")
        if not head:
            found.append(
                f"run {leaf.run}: a checkpoint holds {leaf.entries} entries of it, and they are not here"
            )
        elif head != leaf.head:
            found.append(
                f"run {leaf.run}: expected head {leaf.head} after entry {leaf.entries} by a checkpoint, found {head}"
            )
    return tuple(dict.fromkeys(found))


def pairs_for(diary: Diary) -> dict[str, list[tuple[Checkpoint, Leaf]]]:
    """For each run its leaves, each with the first checkpoint that holds it."""
    found: dict[str, list[tuple[Checkpoint, Leaf]]] = {}
    start = 0
    for made in (read_checkpoint(s.raw) for s in diary.checkpoints):
        for leaf in map(read_leaf, diary.leaves[start : made.size]):
            found.setdefault(leaf.run, []).append((made, leaf))
        start = made.size
    return found


def anchors_for(diary: Diary, run: str) -> tuple[Anchor, ...]:
    """The proofs that checkpoints hold a run: the first that holds each of its leaves, and the newest ones."""
    mine = [i for i, raw in enumerate(diary.leaves) if read_leaf(raw).run == run]
    made, covered = [], set()
    for number, signed in enumerate(diary.checkpoints):
        size = read_checkpoint(signed.raw).size
        within = [i for i in mine if i < size]
        if not within or (within[-1] in covered and number < len(diary.checkpoints) - _LATEST):
            continue
        covered.add(within[-1])
        proof = inclusion(diary.leaves[:size], within[-1])
        made.append(Anchor(checkpoint=signed, leaf=diary.leaves[within[-1]], index=within[-1], proof=proof))
    return tuple(made)


def fresh_leaves(diary: Diary, heads: Mapping[str, tuple[int, str]]) -> tuple[bytes, ...]:
    """Leaves for what has moved since the last checkpoint; `heads`: run to (entries, head)."""
    known = diary.standing()
    return tuple(
        Leaf(run=run, entries=count, head=head).to_bytes()
        for run, (count, head) in heads.items()
        if known.get(run) != Leaf(run=run, entries=count, head=head)
    )
