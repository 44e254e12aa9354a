"""What formats of ours share: strict base64, JSON in which no key stands twice, digests with a byte for their kind."""

import binascii
import json
from hashlib import sha256
from typing import Any

KEYS, CHECKPOINT = b"\x02", b"\x03"  # \x01 is an entry's; so no digest of one kind can be taken for another's


class _TwiceError(ValueError):
    """A key stands twice: two readers could take two different values."""


def digest(kind: bytes, data: bytes) -> str:
    """SHA-256 over the byte of its kind and exact bytes, in hex."""
    return sha256(kind + data).hexdigest()


def pack(data: bytes) -> str:
    """Base64 of RFC 4648 section 4, on one line."""
    return binascii.b2a_base64(data, newline=False).decode("ascii")


def unpack(text: Any, what: str) -> bytes:  # noqa: ANN401  untrusted
    """The bytes of base64 in its one form. Raises ValueError that begins with `what`."""
    try:
        data = binascii.a2b_base64(text, strict_mode=True)
    except (binascii.Error, TypeError, ValueError):
        raise ValueError(f"{what} is not base64") from None
    if pack(data) != text:
        raise ValueError(f"{what} is not base64 in its one form")
    return data


def is_digest(text: Any) -> bool:  # noqa: ANN401  untrusted
    """Whether something is 64 lower-case hex digits."""
    return isinstance(text, str) and len(text) == 64 and not set(text) - set("0123456789abcdef")


def read_json(data: bytes, most: int) -> Any:  # noqa: ANN401  untrusted
    """JSON in ASCII. Raises ValueError for more than `most` bytes, for a key that stands twice, for anything else."""
    if len(data) > most:
        raise ValueError(f"{len(data)} bytes; at most {most} are read")
    try:
        return json.loads(data.decode("ascii"), object_pairs_hook=_unique)
    except _TwiceError:
        raise ValueError("a key stands twice") from None
    except (ValueError, RecursionError):
        raise ValueError("the file is not JSON in ASCII") from None
    except MemoryError:
        raise ValueError("the file is too large for this machine") from None


def write_json(plain: Any) -> bytes:  # noqa: ANN401  our own values
    """The same bytes for the same value."""
    return (json.dumps(plain, indent=1, sort_keys=True) + "\n").encode("ascii")


def _unique(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise _TwiceError
    return made
