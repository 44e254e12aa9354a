"""A Merkle tree over leaves in their order: root, inclusion, consistency.

Source: RFC 9162 sections 2.1.1 to 2.1.4 (hashing and proofs, from memory; the facts hold it against the published
roots for the seven inputs of the Certificate Transparency test vectors and against the definition written out).
"""

from collections.abc import Sequence
from hashlib import sha256

EMPTY = sha256(b"").hexdigest()
MOST_PROOF = 63  # a tree of 2^63 leaves


def leaf_hash(data: bytes) -> bytes:
    return sha256(b"\x00" + data).digest()


def _node(left: bytes, right: bytes) -> bytes:
    return sha256(b"\x01" + left + right).digest()


def _split(count: int) -> int:
    """The largest power of two below `count`."""
    return 1 << (count - 1).bit_length() - 1


def _root(hashes: Sequence[bytes]) -> bytes:
    if len(hashes) == 1:
        return hashes[0]
    k = _split(len(hashes))
    return _node(_root(hashes[:k]), _root(hashes[k:]))


def root_of(leaves: Sequence[bytes]) -> str:
    """The root over the leaves' exact bytes, in hex."""
    return _root([leaf_hash(d) for d in leaves]).hex() if leaves else EMPTY


def inclusion(leaves: Sequence[bytes], index: int) -> tuple[str, ...]:
    """The path from leaf `index` to the root, in hex. Raises IndexError outside the tree."""
    if not 0 <= index < len(leaves):
        raise IndexError(index)
    return tuple(h.hex() for h in _path([leaf_hash(d) for d in leaves], index))


def _path(hashes: Sequence[bytes], index: int) -> list[bytes]:
    if len(hashes) == 1:
        return []
    k = _split(len(hashes))
    if index < k:
        return [*_path(hashes[:k], index), _root(hashes[k:])]
    return [*_path(hashes[k:], index - k), _root(hashes[:k])]


def consistency(leaves: Sequence[bytes], earlier: int) -> tuple[str, ...]:
    """The proof that the tree over the first `earlier` leaves is a beginning of this one, in hex."""
    if not 0 < earlier <= len(leaves):
        raise IndexError(earlier)
    if earlier == len(leaves):
        return ()
    return tuple(h.hex() for h in _sub([leaf_hash(d) for d in leaves], earlier, whole=True))


def _sub(hashes: Sequence[bytes], earlier: int, *, whole: bool) -> list[bytes]:
    if earlier == len(hashes):
        return [] if whole else [_root(hashes)]
    k = _split(len(hashes))
    if earlier <= k:
        return [*_sub(hashes[:k], earlier, whole=whole), _root(hashes[k:])]
    return [*_sub(hashes[k:], earlier - k, whole=False), _root(hashes[:k])]


def includes(leaf: bytes, index: int, size: int, proof: Sequence[str], root: str) -> bool:
    """Whether `proof` leads from a leaf's exact bytes to `root`. Total: whatever is wrong is no. RFC 9162, 2.1.3.2."""
    if not 0 <= index < size or len(proof) > MOST_PROOF:
        return False
    fn, sn, reached = index, size - 1, leaf_hash(leaf)
    for step in proof:
        if sn == 0:
            return False
        if fn & 1 or fn == sn:
            reached = _node(bytes.fromhex(step), reached)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            reached = _node(reached, bytes.fromhex(step))
        fn, sn = fn >> 1, sn >> 1
    return sn == 0 and reached.hex() == root


def extends(earlier: int, old: str, size: int, root: str, proof: Sequence[str]) -> bool:
    """Whether the tree of `size` with `root` begins with that of `earlier` with `old`. RFC 9162, 2.1.4.2."""
    if not 0 < earlier <= size or len(proof) > MOST_PROOF:
        return False
    if earlier == size:
        return not proof and old == root
    path = [bytes.fromhex(p) for p in proof]
    if earlier & (earlier - 1) == 0:
        path = [bytes.fromhex(old), *path]
    return bool(path) and _climb(earlier - 1, size - 1, path) == (old, root)


def _climb(fn: int, sn: int, path: Sequence[bytes]) -> tuple[str, str] | None:
    while fn & 1:
        fn, sn = fn >> 1, sn >> 1
    old = new = path[0]
    for step in path[1:]:
        if sn == 0:
            return None
        if fn & 1 or fn == sn:
            old, new = _node(step, old), _node(step, new)
            while not fn & 1 and fn:
                fn, sn = fn >> 1, sn >> 1
        else:
            new = _node(new, step)
        fn, sn = fn >> 1, sn >> 1
    return (old.hex(), new.hex()) if sn == 0 else None
