"""Whether a record is what people signed: chain, signatures, lists of keys, checkpoints. One verdict in words."""

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace

from ohmward.record.bundle import Bundle, read_bundle
from ohmward.record.chain import Chain, verify_chain
from ohmward.record.checkpoint import (
    Anchor,
    Checkpoint,
    CheckpointFile,
    Leaf,
    lapsed,
    read_leaf,
    unlike_leaf,
    verify_anchor,
    verify_checkpoint,
)
from ohmward.record.entry import Kind
from ohmward.record.merkle import root_of
from ohmward.record.parts import Parts
from ohmward.record.signing import Statement, Verified, verify_signature
from ohmward.record.versions import KeyLists, follow

_PICTURE = re.compile(r"sha256:([0-9a-f]{64})( |$)")


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchored:
    """Up to which entry a checkpoint vouches for a record."""

    checkpoint: Checkpoint
    entries: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Integrity:
    """What verification found. `problem` is '' when the record is intact."""

    chain: Chain
    lists: KeyLists
    problem: str
    signatures: tuple[Verified, ...] = ()
    anchored: tuple[Anchored, ...] = ()
    sealed: str = ""  # what a page adds
    outside: str = ""  # the checkpoint that was handed in from outside, in words

    @property
    def intact(self) -> bool:
        return not self.problem

    @property
    def last(self) -> Anchored | None:
        """The checkpoint that reaches furthest."""
        return max(self.anchored, key=lambda a: (a.entries, a.checkpoint.time), default=None)

    @property
    def signed(self) -> int:
        """Up to which entry somebody has signed."""
        return max((v.number for v in self.signatures), default=0)

    @property
    def words(self) -> str:
        """The verdict in the words of the promise."""
        if self.problem:
            return self.problem
        count = len(self.chain.entries)
        return f"{self._anchored_words(count)}; {self._signed_words(count)}; head {self.chain.head}{self._keys_words()}{self.sealed}"

    def _anchored_words(self, count: int) -> str:
        last = self.last
        if last is None:
            return f"intact, {_count(count)}, none of them anchored"
        up_to = f"intact up to {last.checkpoint.words}{self.outside}"
        newer = count - last.entries
        return (
            f"{up_to}; {_count(newer)} not anchored since {last.checkpoint.time}"
            if newer
            else f"{up_to}, {_count(count)}"
        )

    def _signed_words(self, count: int) -> str:
        if not self.signatures:
            return "not signed"
        last: dict[str, int] = {}
        for verified in self.signatures:
            if verified.statement is not None:
                last[self._who(verified.number, verified.statement)] = verified.number - 1
        who = ", ".join(f"{words} up to entry {number}" for words, number in last.items())
        newer = count - self.signed
        return f"signed: {who}" + (f"; {_count(newer)} after the last signature" if newer else "")

    def _who(self, number: int, statement: Statement) -> str:
        before = self.chain.entries[number - 2] if number > 1 else None
        sent_back = before is not None and before.kind is Kind.RETURNED and statement.meaning == "reviewed"
        meaning = "sent back" if sent_back else statement.meaning
        return f"{meaning} by {statement.name} ({statement.person})"

    def _keys_words(self) -> str:
        current = self.lists.current
        return f"; keys of {current.shop}, origin {self.lists.origin}" if current is not None else ""


def _count(number: int) -> str:
    return "1 entry" if number == 1 else f"{number} entries"


def broken(problem: str) -> Integrity:
    """A verdict without a record."""
    return Integrity(chain=Chain(entries=(), head="", problem=problem), lists=KeyLists(), problem=problem)


def verify_record_file(data: bytes, *, origin: str = "", held: CheckpointFile | None = None) -> Integrity:
    """A bundle of any released format. `origin`: the first key list's digest as the verifier knows it; `held`: a
    checkpoint that left the device, kept elsewhere. Never raises."""
    try:
        bundle = read_bundle(data)
    except ValueError as error:
        return broken(f"not a record: {error}")
    return verify_parts(bundle, origin=origin, held=held)


def verify_parts(bundle: Bundle, *, origin: str = "", held: CheckpointFile | None = None) -> Integrity:
    """A bundle's parts. Never raises."""
    lists = follow(bundle.lists)
    if held is not None:
        theirs = follow(held.lists)
        problem = lists.problem or theirs.problem or unlike_lists(lists, theirs)
        if problem:
            return broken(f"the record and the checkpoint that you hold do not go together: {problem}")
        lists = max(lists, theirs, key=lambda known: len(known.versions))
    found = verify_run(bundle.raw, run=bundle.run, head=bundle.head, lists=lists, anchors=bundle.anchors)
    if found.intact and origin and found.lists.origin != origin:
        return _with(found, f"its keys begin with {found.lists.origin or 'nothing'}, expected {origin}")
    if found.intact:
        found = _with(found, _strange_photo(found, bundle.photos))
    return _held_against(found, bundle.run, held) if found.intact and held is not None else found


def unlike_lists(mine: KeyLists, theirs: KeyLists) -> str:
    """Why two readings of a shop's lists cannot be of one shop; one may be longer than the other."""
    both = min(len(mine.digests), len(theirs.digests))
    if not both or mine.digests[0] != theirs.digests[0]:
        return "it is of another shop: its keys begin otherwise"
    if mine.digests[:both] != theirs.digests[:both]:
        return (
            f"the shop's keys were changed in two places: the lists differ within the first {both} versions"
        )
    return ""


def named_photos(found: Chain) -> frozenset[str]:
    """The digests of the pictures that entries name: what was said begins with `sha256:` and 64 hex digits."""
    return frozenset(m.group(1) for e in found.entries if (m := _PICTURE.match(e.said)))


def _strange_photo(found: Integrity, photos: Mapping[str, bytes]) -> str:
    strange = sorted(set(photos) - named_photos(found.chain))
    return f"it carries a picture that no entry names: {strange[0]}" if strange else ""


def verify_run(
    raw: Iterable[bytes],
    *,
    run: str,
    head: str = "",
    lists: KeyLists,
    anchors: Sequence[Anchor] = (),
    pairs: Sequence[tuple[Checkpoint, Leaf]] = (),
) -> Integrity:
    """Exact bytes of one run under lists of keys and checkpoints. Never raises.

    `pairs`: checkpoints and leaves that are known to belong together, as a shop's own diary knows them.
    """
    chain = verify_chain(raw, run=run, head=head)
    if not chain.intact or lists.problem:
        return Integrity(chain=chain, lists=lists, problem=chain.problem or lists.problem)
    without = _begun_without_keys(chain, lists)
    if without:
        return Integrity(chain=chain, lists=lists, problem=without)
    signatures = _signatures(chain, lists)
    wrong = next((v for v in signatures if v.problem), None)
    if wrong is not None:
        problem = f"broken at entry {wrong.number}: {wrong.problem}"
        return Integrity(chain=chain, lists=lists, problem=problem)
    anchored, problem = _anchored(anchors, pairs, run, chain.heads, lists)
    problem = problem or _revoked(signatures, anchored, lists)
    return Integrity(chain=chain, lists=lists, problem=problem, signatures=signatures, anchored=anchored)


def _signatures(chain: Chain, lists: KeyLists) -> tuple[Verified, ...]:
    """Every signature of a chain, each held against what stands before it."""
    parts, found = Parts(), []
    for entry in chain.entries:
        if entry.kind is Kind.SIGNED:
            found.append(verify_signature(entry, parts, lists))
        parts.add(entry)
    return tuple(found)


def _begun_without_keys(chain: Chain, lists: KeyLists) -> str:
    """A real run that began when the shop had keys, and says that it is not signed."""
    first = chain.entries[0]
    since = lists.versions[0].time if lists.versions else ""
    real = first.data.get("rehearsal") is False and first.data.get("signed") is not True
    if not since or not real or first.time < since:
        return ""
    return f"broken at entry 1: a real run of {first.time} that is not to be signed, in a shop that has keys since {since}"


def _anchored(
    anchors: Sequence[Anchor],
    pairs: Sequence[tuple[Checkpoint, Leaf]],
    run: str,
    heads: Sequence[str],
    lists: KeyLists,
) -> tuple[tuple[Anchored, ...], str]:
    found = []
    for anchor in anchors:
        made, leaf, problem = verify_anchor(anchor, run, heads, lists)
        if problem or leaf is None or made is None:
            return (), problem
        if not lapsed(anchor.checkpoint, lists):
            found.append(Anchored(checkpoint=made, entries=leaf.entries))
    for made, leaf in pairs:
        problem = unlike_leaf(made, leaf, run, heads)
        if problem:
            return (), problem
        found.append(Anchored(checkpoint=made, entries=leaf.entries))
    return tuple(found), ""


def _revoked(signatures: Sequence[Verified], anchored: Sequence[Anchored], lists: KeyLists) -> str:
    """A signature whose key or role ended later counts where a checkpoint from before that holds it."""
    for verified in signatures:
        statement = verified.statement
        if statement is None:
            continue
        ends = lists.ends_in(statement.key, statement.meaning, statement.list_version)
        before = any(a.checkpoint.list_version < ends and a.entries >= verified.number for a in anchored)
        if ends and not before:
            return f"broken at entry {verified.number}: signed by {statement.name} ({statement.person}) with a key or role that ended in key list {ends}, and no checkpoint from before holds it"
    return ""


def _held_against(found: Integrity, run: str, held: CheckpointFile) -> Integrity:
    """The record against a checkpoint that was kept elsewhere: every standing of the run that it counts is met."""
    made, problem = verify_checkpoint(held.checkpoint, found.lists)
    if made is None or problem:
        return _with(found, f"the checkpoint that you hold: {problem}")
    if (len(held.leaves), root_of(held.leaves)) != (made.size, made.root):
        return _with(found, "the checkpoint that you hold does not count the leaves beside it")
    try:
        mine = [leaf for leaf in map(read_leaf, held.leaves) if leaf.run == run]
    except ValueError as error:
        return _with(found, f"the checkpoint that you hold: {error}")
    if not mine:
        return _with(
            found, "the checkpoint that you hold does not count this record: it began later, or elsewhere"
        )
    against = next((w for leaf in mine if (w := unlike_leaf(made, leaf, run, found.chain.heads))), "")
    anchored = Anchored(checkpoint=made, entries=max(leaf.entries for leaf in mine))
    return replace(found, problem=against, anchored=(anchored,), outside=" that you hold")


def _with(found: Integrity, problem: str) -> Integrity:
    return replace(found, problem=problem)
