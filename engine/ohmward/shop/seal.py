"""The shop's seal for pages: a P-256 certificate of an authority whose own key is made, used once and thrown away.

The seal says that a page left this shop's installation; who did and saw what is said by the signatures in the record.
P-256 because ordinary PDF tools do not verify Ed25519.
"""

from dataclasses import dataclass
from datetime import datetime, timedelta
from hashlib import sha256
from pathlib import Path

from cryptography import x509
from cryptography.hazmat.primitives import hashes
from cryptography.hazmat.primitives.asymmetric import ec
from cryptography.hazmat.primitives.serialization import Encoding, NoEncryption, PrivateFormat
from cryptography.x509.oid import NameOID

from ohmward.shop.keyfile import keep_secret

YEARS = 10
_USE = x509.KeyUsage


@dataclass(frozen=True, slots=True, kw_only=True)
class Seal:
    """PEM: the key, its certificate, the authority's certificate. `authority`: SHA-256 of that one's DER, in hex."""

    key: bytes
    certificate: bytes
    authority_certificate: bytes
    authority: str

    def keep(self, folder: Path) -> None:
        """Writes the seal for its owner's eyes only, and the authority's certificate for everybody. Raises StoreError."""
        keep_secret(folder / "keys" / "seal.pem", self.key + self.certificate)
        keep_secret(folder / "keys" / "authority.pem", self.authority_certificate)


def seal_paths(folder: Path) -> tuple[Path, Path]:
    """The seal, and the authority's certificate."""
    return folder / "keys" / "seal.pem", folder / "keys" / "authority.pem"


def new_seal(shop: str, now: datetime) -> Seal:
    """A fresh authority and a seal under it, for ten years."""
    authority_key, key = ec.generate_private_key(ec.SECP256R1()), ec.generate_private_key(ec.SECP256R1())
    root = _name(f"{shop[:48]}, authority")
    start, end = now - timedelta(minutes=5), now + timedelta(days=365 * YEARS)
    authority = (
        _builder(root, root, authority_key.public_key(), start, end)
        .add_extension(x509.BasicConstraints(ca=True, path_length=0), critical=True)
        .add_extension(_usage(authority=True), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(authority_key.public_key()), critical=False)
        .sign(authority_key, hashes.SHA256())
    )
    certificate = (
        _builder(_name(f"{shop[:48]}, seal"), root, key.public_key(), start, end)
        .add_extension(x509.BasicConstraints(ca=False, path_length=None), critical=True)
        .add_extension(_usage(authority=False), critical=True)
        .add_extension(x509.SubjectKeyIdentifier.from_public_key(key.public_key()), critical=False)
        .add_extension(
            x509.AuthorityKeyIdentifier.from_issuer_public_key(authority_key.public_key()), critical=False
        )
        .sign(authority_key, hashes.SHA256())
    )
    return Seal(
        key=key.private_bytes(Encoding.PEM, PrivateFormat.PKCS8, NoEncryption()),
        certificate=certificate.public_bytes(Encoding.PEM),
        authority_certificate=authority.public_bytes(Encoding.PEM),
        authority=sha256(authority.public_bytes(Encoding.DER)).hexdigest(),
    )


def _name(text: str) -> x509.Name:
    return x509.Name([x509.NameAttribute(NameOID.COMMON_NAME, text)])


def _builder(
    subject: x509.Name, issuer: x509.Name, public: ec.EllipticCurvePublicKey, start: datetime, end: datetime
) -> x509.CertificateBuilder:
    return (
        x509.CertificateBuilder()
        .subject_name(subject)
        .issuer_name(issuer)
        .public_key(public)
        .serial_number(x509.random_serial_number())
        .not_valid_before(start)
        .not_valid_after(end)
    )


def _usage(*, authority: bool) -> x509.KeyUsage:
    return _USE(
        digital_signature=not authority,
        content_commitment=not authority,
        key_encipherment=False,
        data_encipherment=False,
        key_agreement=False,
        key_cert_sign=authority,
        crl_sign=authority,
        encipher_only=False,
        decipher_only=False,
    )
