"""A record in one file: exact bytes of each entry as base64, lists of keys, anchors, pictures by their digest."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from hashlib import sha256
from typing import Any

from ohmward.record.chain import Chain, verify_chain
from ohmward.record.checkpoint import Anchor, read_anchor
from ohmward.record.keylist import SignedList, read_signed_list
from ohmward.record.packed import is_digest, pack, read_json, unpack, write_json

FORMAT = "ohmward-record-2"
FIRST = "ohmward-record-1"  # entries only; written before people signed
MOST_BYTES = 64 * 1024 * 1024
_LISTS = ("entries", "keys", "anchors")


@dataclass(frozen=True, slots=True, kw_only=True)
class Bundle:
    """A bundle's parts, read and not yet believed."""

    run: str
    head: str
    raw: tuple[bytes, ...]
    lists: tuple[SignedList, ...] = ()
    anchors: tuple[Anchor, ...] = ()
    photos: Mapping[str, bytes] = field(default_factory=dict)


def make_bundle(made: Bundle) -> bytes:
    """The file's bytes, the same for the same parts."""
    return write_json(
        {
            "format": FORMAT,
            "run": made.run,
            "head": made.head,
            "entries": [pack(data) for data in made.raw],
            "keys": [s.plain() for s in made.lists],
            "anchors": [a.plain() for a in made.anchors],
            "photos": {d: pack(p) for d, p in sorted(made.photos.items())},
        }
    )


def read_bundle(data: bytes) -> Bundle:
    """The parts of a bundle of any released format. Raises ValueError, and nothing else."""
    plain = read_json(data, MOST_BYTES)
    if isinstance(plain, dict) and plain.get("format") == FIRST:
        plain = _from_first(plain)
    _shape(plain)
    return Bundle(
        run=plain["run"],
        head=plain["head"],
        raw=tuple(unpack(text, f"entry {n}") for n, text in enumerate(plain["entries"], 1)),
        lists=tuple(read_signed_list(v, n) for n, v in enumerate(plain["keys"], 1)),
        anchors=tuple(read_anchor(v) for v in plain["anchors"]),
        photos={d: _photo(d, text) for d, text in plain["photos"].items()},
    )


def _from_first(plain: Mapping[str, Any]) -> dict[str, Any]:
    """A bundle of the first format as one of this format: it has neither keys nor anchors."""
    if set(plain) != {"format", "run", "head", "entries", "signatures", "keys"}:
        raise ValueError(f"the file is not of the format {FIRST}")
    if plain["signatures"] != [] or plain["keys"] != []:
        raise ValueError(f"the format {FIRST} has no signatures and no keys")
    kept = {k: v for k, v in plain.items() if k != "signatures"}
    return {**kept, "format": FORMAT, "anchors": [], "photos": {}}


def _shape(plain: Any) -> None:  # noqa: ANN401  untrusted
    keys = {"format", "run", "head", *_LISTS, "photos"}
    if not isinstance(plain, dict) or set(plain) != keys or plain["format"] != FORMAT:
        raise ValueError(f"the file is not of the format {FORMAT}")
    if not all(isinstance(plain[k], str) and plain[k] for k in ("run", "head")):
        raise ValueError("run or head is missing")
    if not all(isinstance(plain[k], list) for k in _LISTS) or not isinstance(plain["photos"], dict):
        raise ValueError("entries, keys and anchors must be lists, photos a mapping")


def _photo(digest: str, text: Any) -> bytes:  # noqa: ANN401  untrusted
    data = unpack(text, "a picture")
    if not is_digest(digest) or sha256(data).hexdigest() != digest:
        raise ValueError(f"a picture is not the one with the digest {digest[:64]}")
    return data


def verify_bundle(data: bytes) -> Chain:
    """The chain alone in a bundle. Never raises: whatever is wrong is the chain's problem in words."""
    try:
        made = read_bundle(data)
    except ValueError as error:
        return Chain(entries=(), head="", problem=f"not a record: {error}")
    return verify_chain(made.raw, run=made.run, head=made.head)
