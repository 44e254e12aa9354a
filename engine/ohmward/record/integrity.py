"""Whether a record is what people signed: chain, signatures, lists of keys, checkpoints. One verdict in words."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

from ohmward.record.bundle import Bundle, read_bundle
from ohmward.record.chain import Chain, verify_chain
from ohmward.record.checkpoint import Anchor, Checkpoint, CheckpointFile, Leaf, unlike_leaf, verify_anchor
from ohmward.record.entry import Kind
from ohmward.record.keylist import SignedList
from ohmward.record.signing import Verified, verify_signature
from ohmward.record.versions import KeyLists, follow


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
        return f"{self._anchored_words(count)}; {self._signed_words(count)}; head {self.chain.head}"

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
        found = (v.statement for v in self.signatures if v.statement is not None)
        who = ", ".join(dict.fromkeys(f"{s.meaning} by {s.name} ({s.person})" for s in found))
        newer = count - self.signed
        return f"signed: {who}" + (f"; {_count(newer)} after the last signature" if newer else "")


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
    found = verify_run(
        bundle.raw, run=bundle.run, head=bundle.head, lists=_lists(bundle.lists), anchors=bundle.anchors
    )
    if found.intact and origin and found.lists.origin != origin:
        return _with(found, f"its keys begin with {found.lists.origin or 'nothing'}, expected {origin}")
    return _held_against(found, bundle.anchors, held) if found.intact and held is not None else found


def _lists(signed: Sequence[SignedList]) -> KeyLists:
    return follow(signed)


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
    signatures = tuple(
        verify_signature(entry, chain.entries[: entry.number - 1], lists)
        for entry in chain.entries
        if entry.kind is Kind.SIGNED
    )
    wrong = next((v for v in signatures if v.problem), None)
    if wrong is not None:
        problem = f"broken at entry {wrong.number}: {wrong.problem}"
        return Integrity(chain=chain, lists=lists, problem=problem)
    anchored, problem = _anchored(anchors, pairs, run, chain.heads, lists)
    problem = problem or _revoked(signatures, anchored, lists)
    return Integrity(chain=chain, lists=lists, problem=problem, signatures=signatures, anchored=anchored)


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
        found.append(Anchored(checkpoint=made, entries=leaf.entries))
    for made, leaf in pairs:
        problem = unlike_leaf(made, leaf, run, heads)
        if problem:
            return (), problem
        found.append(Anchored(checkpoint=made, entries=leaf.entries))
    return tuple(found), ""


def _revoked(signatures: Sequence[Verified], anchored: Sequence[Anchored], lists: KeyLists) -> str:
    """A signature with a key revoked later counts where a checkpoint from before the revocation holds it."""
    for verified in signatures:
        statement = verified.statement
        version = lists.revoked_in(statement.key) if statement is not None else 0
        before = any(a.checkpoint.list_version < version and a.entries >= verified.number for a in anchored)
        if statement is not None and version and not before:
            return f"broken at entry {verified.number}: signed by {statement.name} ({statement.person}) with a key revoked in key list {version}, and no checkpoint from before holds it"
    return ""


def _held_against(found: Integrity, anchors: Sequence[Anchor], held: CheckpointFile) -> Integrity:
    """The record against a checkpoint that was kept elsewhere: it must be one of its own."""
    for anchor, anchored in zip(anchors, found.anchored, strict=True):
        if anchor.checkpoint.raw == held.checkpoint.raw:
            return Integrity(
                chain=found.chain,
                lists=found.lists,
                problem="",
                signatures=found.signatures,
                anchored=(anchored,),
                outside=" that you hold",
            )
    return _with(
        found,
        "the checkpoint that you hold is none of those in the record: export the record again, or ask for a checkpoint made after it",
    )


def _with(found: Integrity, problem: str) -> Integrity:
    return Integrity(chain=found.chain, lists=found.lists, problem=problem)
