"""A person's private key on disk: Ed25519, wrapped by Argon2id (RFC 9106) and AES-256-GCM.

The crypto library's own PKCS#8 encryption has too few rounds. Whoever copies the file can still try passphrases
without limit, so a passphrase is long, and a lost file is a reason to revoke.
"""

import unicodedata
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.ciphers.aead import AESGCM
from cryptography.hazmat.primitives.kdf.argon2 import Argon2id
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat, PublicFormat

from ohmward.errors import StoreError
from ohmward.record.canonical import canonical
from ohmward.record.ed25519 import key_id
from ohmward.record.packed import pack, read_json, unpack, write_json

FORMAT = "ohmward-key-1"
SHORTEST = 12
MOST_BYTES = 65536
Random = Callable[[int], bytes]


@dataclass(frozen=True, slots=True, kw_only=True)
class Cost:
    """What one try costs. Not below 19 MiB and two passes (a published recommendation for Argon2id, from memory)."""

    memory_kib: int = 65536
    iterations: int = 3
    lanes: int = 4

    @property
    def enough(self) -> bool:
        return 19456 <= self.memory_kib <= 2**18 and 2 <= self.iterations <= 8 and 1 <= self.lanes <= 16


USUAL = Cost()


@dataclass(frozen=True, slots=True, kw_only=True)
class Unlocked:
    """A private key in memory, of one person."""

    person: str
    key: str
    public: bytes
    private: Ed25519PrivateKey

    def sign(self, message: bytes) -> bytes:
        return self.private.sign(message)


def passphrase_problem(passphrase: str, *, person: str, name: str) -> str:
    """Why a passphrase will not do; '' when it will."""
    flat = _normal(passphrase).casefold()
    if len(flat) < SHORTEST:
        return f"a passphrase has at least {SHORTEST} characters; four unrelated words will do"
    if len(set(flat)) < 5 or flat in {
        f"{person} {name}".casefold(),
        f"{name} {person}".casefold(),
        name.casefold(),
    }:
        return "this passphrase is the first that anybody would try"
    return ""


def _normal(passphrase: str) -> str:
    return unicodedata.normalize("NFC", passphrase)


def make_key(person: str, passphrase: str, random: Random, cost: Cost = USUAL) -> tuple[bytes, Unlocked]:
    """A fresh key: the bytes of its file, and the key for use now."""
    private = Ed25519PrivateKey.from_private_bytes(random(32))
    public = private.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    kdf = {
        "name": "argon2id",
        "memory_kib": cost.memory_kib,
        "iterations": cost.iterations,
        "lanes": cost.lanes,
        "salt": pack(random(16)),
    }
    plain: dict[str, Any] = {
        "format": FORMAT,
        "person": person,
        "key": key_id(public),
        "public": pack(public),
        "kdf": kdf,
        "nonce": pack(random(12)),
    }
    secret = private.private_bytes(Encoding.Raw, PrivateFormat.Raw, NoEncryption())
    wrapped = AESGCM(_stretch(passphrase, kdf)).encrypt(
        unpack(plain["nonce"], "nonce"), secret, canonical(plain)
    )
    data = write_json({**plain, "wrapped": pack(wrapped)})
    return data, Unlocked(person=person, key=plain["key"], public=public, private=private)


def _stretch(passphrase: str, kdf: dict[str, Any]) -> bytes:
    made = Argon2id(
        salt=unpack(kdf["salt"], "salt"),
        length=32,
        iterations=kdf["iterations"],
        lanes=kdf["lanes"],
        memory_cost=kdf["memory_kib"],
    )
    return made.derive(_normal(passphrase).encode())


def unlock_key(data: bytes, file: str, person: str, passphrase: str) -> Unlocked | None:
    """The key of a file, or None for a wrong passphrase. Raises StoreError for a file that is none, or is another's."""
    try:
        plain = _read(data, person)
        wrapped = unpack(plain.pop("wrapped"), "wrapped")
        secret = AESGCM(_stretch(passphrase, plain["kdf"])).decrypt(
            unpack(plain["nonce"], "nonce"), wrapped, canonical(plain)
        )
        private = Ed25519PrivateKey.from_private_bytes(secret)
    except InvalidTag:
        return None
    except (ValueError, KeyError, TypeError, MemoryError) as error:
        raise StoreError(
            f"{file}: this is not the key of {person} ({error}); put back the file as it was, or have a new key entered"
        ) from None
    public = private.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return Unlocked(person=person, key=key_id(public), public=public, private=private)


def _read(data: bytes, person: str) -> dict[str, Any]:
    plain = read_json(data, MOST_BYTES)
    wanted = {"format", "person", "key", "public", "kdf", "nonce", "wrapped"}
    if not isinstance(plain, dict) or set(plain) != wanted or plain["format"] != FORMAT:
        raise ValueError(f"it is not of the format {FORMAT}")
    kdf = plain["kdf"]
    if not isinstance(kdf, dict) or set(kdf) != {"name", "memory_kib", "iterations", "lanes", "salt"}:
        raise ValueError("its kdf is none")
    numbers = {w: kdf[w] for w in ("memory_kib", "iterations", "lanes")}
    if (
        kdf["name"] != "argon2id"
        or not all(type(n) is int for n in numbers.values())
        or not Cost(**numbers).enough
    ):
        raise ValueError("its passphrase is stretched too little or too much")
    if plain["person"] != person:
        raise ValueError("it is of somebody else")
    return plain


def key_path(folder: Path, person: str, key: str) -> Path:
    """Where a person's key lies; another key of theirs is another file, so that none is ever written over."""
    return folder / "keys" / f"{person}-{key[:12]}.json"


def keep_secret(path: Path, data: bytes) -> None:
    """Writes a file that only its owner reads. Raises StoreError."""
    part = path.with_name(path.name + ".part")
    try:
        path.parent.mkdir(exist_ok=True)
        part.touch(mode=0o600)
        part.chmod(0o600)
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        raise StoreError(f"{path}: could not be written ({error.strerror}); nothing was changed") from None
