"""Ed25519 (RFC 8032) for verification: the library's answer, over keys in one form and of full order only."""

from collections.abc import Callable
from functools import lru_cache
from hashlib import sha256

# SubjectPublicKeyInfo of RFC 8410: SEQUENCE, id-Ed25519, BIT STRING of 32 bytes.
PREFIX = bytes.fromhex("302a300506032b6570032100")
_P = 2**255 - 19
# The y coordinates of the eight points of small order, under which signatures hold for many messages. Computed from the
# curve's equation of RFC 8032 section 5.1; a fact computes them once more.
_SMALL = {
    0,
    1,
    2707385501144840649318225287225658788936804267575313519463743609750303402022,
    55188659117513257062467267217118295137698188065244968500265048394206261417927,
    _P - 1,
}


def key_id(public: bytes) -> str:
    """The id of a public key: SHA-256 of its SubjectPublicKeyInfo, in hex."""
    return sha256(public).hexdigest()


def is_sound(public: bytes) -> bool:
    """Whether these bytes are a key in its one form and not of small order."""
    if len(public) != 44 or not public.startswith(PREFIX):
        return False
    y = int.from_bytes(public[12:], "little") & (2**255 - 1)
    return y < _P and y not in _SMALL


def holds(public: bytes, message: bytes, signature: bytes) -> bool:
    """Whether a signature holds. Never raises."""
    check = _check_of(public) if len(signature) == 64 else None
    return check is not None and check(signature, message)


@lru_cache(maxsize=256)
def _check_of(public: bytes) -> Callable[[bytes, bytes], bool] | None:
    """The check under one key; None for a key that is none. The library is read only where something is verified."""
    if not is_sound(public):
        return None
    from cryptography.exceptions import InvalidSignature
    from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

    try:
        verify = Ed25519PublicKey.from_public_bytes(public[12:]).verify
    except ValueError:
        return None

    def check(signature: bytes, message: bytes) -> bool:
        try:
            verify(signature, message)
        except InvalidSignature:
            return False
        return True

    return check
