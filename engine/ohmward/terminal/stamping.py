"""RFC 3161: a question to a time-stamping authority about a checkpoint, its reply kept in the checkpoint's file.

The authority is asked by other means (the device is mostly off line): a file goes out, a file comes back.
"""

import asyncio
import secrets
from dataclasses import replace
from hashlib import sha256
from pathlib import Path

from asn1crypto import cms, tsp, x509
from asn1crypto.algos import DigestAlgorithm
from cryptography.hazmat.primitives.serialization import Encoding
from cryptography.x509 import load_pem_x509_certificates
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.generic_cms import validate_tst_signed_data
from pyhanko_certvalidator import ValidationContext
from pyhanko_certvalidator.errors import PathError

from ohmward.errors import RefusedError, UsageError
from ohmward.record.checkpoint import CheckpointFile

_UNREADABLE = (ValueError, KeyError, TypeError, AttributeError, IndexError)


def query_for(held: CheckpointFile) -> bytes:
    """A TimeStampReq over the checkpoint's exact bytes, asking for the certificate too."""
    imprint = tsp.MessageImprint(
        {
            "hash_algorithm": DigestAlgorithm({"algorithm": "sha256"}),
            "hashed_message": sha256(held.checkpoint.raw).digest(),
        }
    )
    asked = tsp.TimeStampReq(
        {"version": "v1", "message_imprint": imprint, "nonce": secrets.randbits(62), "cert_req": True}
    )
    made: bytes = asked.dump()
    return made


def with_token(held: CheckpointFile, reply: bytes) -> CheckpointFile:
    """The checkpoint with the authority's reply. Raises RefusedError when that is about something else."""
    _token_of(reply, held.checkpoint.raw)
    return replace(held, token=reply)


def _token_of(reply: bytes, raw: bytes) -> cms.SignedData:
    """The signed token of a reply that grants one for these bytes. Raises RefusedError."""
    try:
        answer = tsp.TimeStampResp.load(reply, strict=True)
        status = answer["status"]["status"].native
        token = answer["time_stamp_token"]["content"]
        info = token["encap_content_info"]["content"].parsed
        said = info["message_imprint"]["hashed_message"].native
    except _UNREADABLE as error:
        raise RefusedError(f"the reply is none of a time-stamping authority ({error})") from None
    if status not in {"granted", "granted_with_mods"}:
        raise RefusedError(f"the authority did not grant a time-stamp: {status}")
    if said != sha256(raw).digest():
        raise RefusedError("the time-stamp is about something else")
    return token


def stamped_words(held: CheckpointFile, authority: Path) -> str:
    """When the checkpoint existed at the latest, by an authority that is trusted. Raises RefusedError, UsageError."""
    token = _token_of(held.token, held.checkpoint.raw)
    try:
        roots = [
            x509.Certificate.load(c.public_bytes(Encoding.DER))
            for c in load_pem_x509_certificates(authority.read_bytes())
        ]
    except (OSError, ValueError) as error:
        raise UsageError(f"{authority}: this is no certificate ({error})") from None
    context = ValidationContext(trust_roots=roots, allow_fetching=False)
    try:
        status = asyncio.run(
            validate_tst_signed_data(token, context, lambda _: sha256(held.checkpoint.raw).digest())
        )
        good, time = (
            status["intact"] and status["valid"] and status["trust_problem_indic"] is None,
            status["timestamp"],
        )
    except (SignatureValidationError, PathError, *_UNREADABLE) as error:
        raise RefusedError(f"the time-stamp does not hold: {error}") from None
    if not good:
        raise RefusedError(
            "the time-stamp is of an authority that this certificate does not vouch for, or does not hold"
        )
    return f"existed at {time:%Y-%m-%dT%H:%M:%SZ}, by a time-stamping authority"
