"""Checkpoints: how every record of the shop stood, as one signed root; leaves, inclusion, what was anchored when."""

from collections.abc import Sequence
from dataclasses import dataclass, fields
from typing import Any

from ohmward.record.authority import may
from ohmward.record.canonical import NotCanonicalError, canonical, read_fields
from ohmward.record.ed25519 import holds
from ohmward.record.keylist import SignedList, plain_signatures, read_signatures, read_signed_list
from ohmward.record.merkle import MOST_PROOF, includes
from ohmward.record.packed import CHECKPOINT, digest, is_digest, pack, read_json, unpack, write_json
from ohmward.record.versions import KeyLists

LEAF, FORMAT, FILE = "ohmward-leaf-1", "ohmward-checkpoint-1", "ohmward-checkpoint-file-1"
MOST_FILE = 64 * 1024 * 1024
_FILE_KEYS = {
    "format",
    "statement",
    "signatures",
    "keys",
    "leaves",
    "earlier",
    "earlier_root",
    "consistency",
    "token",
}


@dataclass(frozen=True, slots=True, kw_only=True)
class Leaf:
    """A record's length and head at one moment."""

    run: str
    entries: int
    head: str

    def to_bytes(self) -> bytes:
        return canonical({"format": LEAF, "run": self.run, "entries": self.entries, "head": self.head})


_LEAF_NAMES = frozenset(f.name for f in fields(Leaf))


def read_leaf(raw: bytes) -> Leaf:
    """Raises ValueError."""
    plain = read_fields(raw, form=LEAF, names=_LEAF_NAMES, whole=frozenset({"entries"}))
    if not is_digest(plain["head"]):
        raise NotCanonicalError("a field of a leaf is of the wrong kind")
    return Leaf(**plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class Checkpoint:
    """What is signed: size and root of the shop's log. `origin`: the first key list's digest; `previous`: the checkpoint before, '' for none."""

    shop: str
    origin: str
    size: int
    root: str
    previous: str
    time: str
    person: str
    name: str
    role: str
    key: str
    list_version: int
    list_digest: str

    def to_bytes(self) -> bytes:
        """The exact bytes that are signed."""
        plain: dict[str, Any] = {f.name: getattr(self, f.name) for f in fields(self)}
        return canonical({"format": FORMAT, **plain})

    @property
    def digest(self) -> str:
        return digest(CHECKPOINT, self.to_bytes())

    @property
    def words(self) -> str:
        """How reports name it."""
        return f"checkpoint {self.size} of {self.time}"


_NAMES = frozenset(f.name for f in fields(Checkpoint))
_WHOLE = frozenset({"size", "list_version"})


def read_checkpoint(raw: bytes) -> Checkpoint:
    """Raises ValueError."""
    plain = read_fields(raw, form=FORMAT, names=_NAMES, whole=_WHOLE)
    if plain["size"] < 1 or not is_digest(plain["root"]):
        raise NotCanonicalError("size or root is none")
    return Checkpoint(**plain)


@dataclass(frozen=True, slots=True, kw_only=True)
class SignedCheckpoint:
    """A checkpoint's exact bytes, its maker's signature first, countersignatures after it."""

    raw: bytes
    signatures: tuple[tuple[str, bytes], ...]

    def plain(self) -> dict[str, Any]:
        return {"statement": pack(self.raw), "signatures": plain_signatures(self.signatures)}


def read_signed_checkpoint(value: Any) -> SignedCheckpoint:  # noqa: ANN401  untrusted
    """Raises ValueError."""
    if not isinstance(value, dict) or set(value) != {"statement", "signatures"}:
        raise ValueError("a checkpoint has a statement and signatures")
    signatures = read_signatures(value["signatures"], "a checkpoint")
    return SignedCheckpoint(raw=unpack(value["statement"], "a checkpoint"), signatures=signatures)


def verify_checkpoint(signed: SignedCheckpoint, lists: KeyLists) -> tuple[Checkpoint | None, str]:
    """The checkpoint, and why it is not to be believed; '' when it is. Whether it still vouches is asked by `lapsed`."""
    try:
        made = read_checkpoint(signed.raw)
    except ValueError as error:
        return None, f"the checkpoint cannot be read: {error}"
    keys = lists.at(made.list_version, made.list_digest)
    if keys is None or made.origin != lists.origin:
        return made, f"{made.words} was signed under another list of keys"
    member = keys.of(made.person)
    key = member.current if member is not None else None
    if (
        member is None
        or key is None
        or (member.name, member.role, key.key) != (made.name, made.role, made.key)
    ):
        return made, f"{made.words}: its maker has no such key in key list {keys.version}"
    if not may(made.role, "checkpoint"):
        return made, f"{made.words}: {made.name} may not make one"
    return made, _unsigned(made, signed, lists)


def _unsigned(made: Checkpoint, signed: SignedCheckpoint, lists: KeyLists) -> str:
    """Every signature under it holds; the first is its maker's."""
    if signed.signatures[0][0] != made.key:
        return f"{made.words}: its first signature is not its maker's"
    for number, (key, signature) in enumerate(signed.signatures):
        held = lists.current.holder(key) if lists.current is not None else None
        if held is None:
            return f"{made.words}: the key {key[:12]} is in no list"
        if number and not _ever_might(lists, key):
            return f"{made.words}: {held[0].name} may not countersign"
        if not holds(held[1].public, signed.raw, signature):
            return f"{made.words}: the signature of {held[0].name} ({held[0].person}) does not hold"
    return ""


def _ever_might(lists: KeyLists, key: str) -> bool:
    """Whether some list has the key holding for somebody who may countersign."""
    found = (made.holder(key) for made in lists.versions)
    return any(h is not None and not h[1].revoked and may(h[0].role, "countersign") for h in found)


def lapsed(signed: SignedCheckpoint, lists: KeyLists) -> bool:
    """Whether nobody who signed a checkpoint has a key that holds and a role that may: it vouches for nothing by itself then."""
    for number, (key, _) in enumerate(signed.signatures):
        held = lists.current.holder(key) if lists.current is not None else None
        action = "countersign" if number else "checkpoint"
        if held is not None and not held[1].revoked and may(held[0].role, action):
            return False
    return True


@dataclass(frozen=True, slots=True, kw_only=True)
class Anchor:
    """A checkpoint with the proof that it holds one leaf."""

    checkpoint: SignedCheckpoint
    leaf: bytes
    index: int
    proof: tuple[str, ...]

    def plain(self) -> dict[str, Any]:
        plain = self.checkpoint.plain()
        return {**plain, "leaf": pack(self.leaf), "index": self.index, "proof": list(self.proof)}


def read_anchor(value: Any) -> Anchor:  # noqa: ANN401  untrusted
    """Raises ValueError."""
    if not isinstance(value, dict) or set(value) != {"statement", "signatures", "leaf", "index", "proof"}:
        raise ValueError("an anchor has statement, signatures, leaf, index and proof")
    return Anchor(
        checkpoint=read_signed_checkpoint({k: value[k] for k in ("statement", "signatures")}),
        leaf=unpack(value["leaf"], "a leaf"),
        index=_index(value["index"]),
        proof=_proof(value["proof"]),
    )


def _index(value: Any) -> int:  # noqa: ANN401  untrusted
    if type(value) is not int or value < 0:
        raise ValueError("an index is a whole number from 0")
    return value


def _proof(value: Any) -> tuple[str, ...]:  # noqa: ANN401  untrusted
    if not isinstance(value, list) or len(value) > MOST_PROOF or not all(map(is_digest, value)):
        raise ValueError(f"a proof is a list of at most {MOST_PROOF} digests")
    return tuple(value)


def verify_anchor(
    anchor: Anchor, run: str, heads: Sequence[str], lists: KeyLists
) -> tuple[Checkpoint | None, Leaf | None, str]:
    """Checkpoint, leaf and why the anchor does not hold for this run; `heads[n]` is the head after n entries."""
    made, problem = verify_checkpoint(anchor.checkpoint, lists)
    if made is None or problem:
        return made, None, problem
    try:
        leaf = read_leaf(anchor.leaf)
    except ValueError as error:
        return made, None, f"{made.words}: its leaf cannot be read: {error}"
    if not includes(anchor.leaf, anchor.index, made.size, anchor.proof, made.root):
        return made, leaf, f"{made.words} does not hold the leaf that is given"
    return made, leaf, unlike_leaf(made, leaf, run, heads)


def unlike_leaf(made: Checkpoint, leaf: Leaf, run: str, heads: Sequence[str]) -> str:
    """Why a run is not as a checkpoint's leaf has it; `heads[n]` is the head after n entries."""
    if leaf.run != run:
        return f"{made.words}: the leaf is of run {leaf.run}"
    found = heads[leaf.entries] if 0 < leaf.entries < len(heads) else ""
    if not found:
        return f"{made.words}: expected {leaf.entries} entries, found {len(heads) - 1}"
    if found != leaf.head:
        return f"{made.words}: expected head {leaf.head} after entry {leaf.entries}, found {found}"
    return ""


@dataclass(frozen=True, slots=True, kw_only=True)
class CheckpointFile:
    """What leaves the device: a checkpoint with every leaf that it counts, the lists to verify it with, the proof that it
    goes on from the one before."""

    checkpoint: SignedCheckpoint
    lists: tuple[SignedList, ...]
    leaves: tuple[bytes, ...]
    earlier: int
    earlier_root: str
    consistency: tuple[str, ...]
    token: bytes = b""

    def to_bytes(self) -> bytes:
        return write_json(
            {
                "format": FILE,
                **self.checkpoint.plain(),
                "keys": [s.plain() for s in self.lists],
                "leaves": [pack(leaf) for leaf in self.leaves],
                "earlier": self.earlier,
                "earlier_root": self.earlier_root,
                "consistency": list(self.consistency),
                "token": pack(self.token),
            }
        )


def read_checkpoint_file(data: bytes) -> CheckpointFile:
    """Raises ValueError."""
    plain = read_json(data, MOST_FILE)
    if not isinstance(plain, dict) or set(plain) != _FILE_KEYS or plain["format"] != FILE:
        raise ValueError(f"the file is not of the format {FILE}")
    if not all(isinstance(plain[w], list) for w in ("keys", "leaves")):
        raise NotCanonicalError("a field is of the wrong kind")
    if not isinstance(plain["earlier_root"], str):
        raise NotCanonicalError("a field is of the wrong kind")
    return CheckpointFile(
        checkpoint=read_signed_checkpoint({k: plain[k] for k in ("statement", "signatures")}),
        lists=tuple(read_signed_list(v, n) for n, v in enumerate(plain["keys"], 1)),
        leaves=tuple(unpack(v, "a leaf") for v in plain["leaves"]),
        earlier=_index(plain["earlier"]),
        earlier_root=plain["earlier_root"],
        consistency=_proof(plain["consistency"]),
        token=unpack(plain["token"], "the token"),
    )
