"""A record in one file: each entry's exact bytes as base64, the head, and the place for personal signatures."""

import base64
import binascii
import json
from collections.abc import Sequence
from typing import Any

from ohmward.record.chain import Chain, verify_chain

FORMAT = "ohmward-record-1"
MOST_BYTES = 64 * 1024 * 1024


class _TwiceError(ValueError):
    """A key stands twice: two readers could take two different values."""


def make_bundle(run: str, raw: Sequence[bytes], head: str) -> bytes:
    """The bundle's bytes, the same for the same record. `signatures` and `keys` are empty until people sign."""
    plain = {
        "format": FORMAT,
        "run": run,
        "head": head,
        "entries": [base64.b64encode(data).decode("ascii") for data in raw],
        "signatures": [],
        "keys": [],
    }
    return (json.dumps(plain, indent=1, sort_keys=True) + "\n").encode("ascii")


def verify_bundle(data: bytes) -> Chain:
    """The chain in a bundle. Never raises: whatever is wrong is the chain's problem in words."""
    try:
        plain, raw = _open(data)
    except ValueError as error:
        return Chain(entries=(), head="", problem=f"not a record: {error}")
    if plain["signatures"] or plain["keys"]:
        return Chain(entries=(), head="", problem="it holds signatures, which this version cannot verify")
    return verify_chain(raw, run=plain["run"], head=plain["head"])


def _open(data: bytes) -> tuple[dict[str, Any], list[bytes]]:
    if len(data) > MOST_BYTES:
        raise ValueError(f"{len(data)} bytes; at most {MOST_BYTES} are read")
    try:
        plain = json.loads(data.decode("ascii"), object_pairs_hook=_unique)
    except _TwiceError:
        raise ValueError("a key stands twice") from None
    except (ValueError, RecursionError):
        raise ValueError("the file is not JSON in ASCII") from None
    _shape(plain)
    return plain, [_bytes_of(text, number) for number, text in enumerate(plain["entries"], 1)]


def _shape(plain: Any) -> None:  # noqa: ANN401  untrusted
    keys = {"format", "run", "head", "entries", "signatures", "keys"}
    if not isinstance(plain, dict) or set(plain) != keys or plain["format"] != FORMAT:
        raise ValueError(f"the file is not of the format {FORMAT}")
    if not all(isinstance(plain[k], str) and plain[k] for k in ("run", "head")):
        raise ValueError("run or head is missing")
    if not all(isinstance(plain[k], list) for k in ("entries", "signatures", "keys")):
        raise ValueError("entries, signatures and keys must be lists")


def _bytes_of(text: Any, number: int) -> bytes:  # noqa: ANN401  untrusted
    try:
        data = base64.b64decode(text, validate=True)
    except (binascii.Error, TypeError, ValueError):
        raise ValueError(f"entry {number} is not base64") from None
    if base64.b64encode(data).decode("ascii") != text:
        raise ValueError(f"entry {number} is not base64 in its one form")
    return data


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise _TwiceError
    return made
