"""The shop's seal under a page: the record attached, then one PAdES B-B signature over the whole file.

The pages stay byte for byte what they were; record and signature follow as one update, so that whoever has the record
can draw the pages again and compare. Source: ETSI EN 319 142-1 (level B-B: signed attributes, no time-stamp).
"""

from io import BytesIO

from asn1crypto import keys, x509
from cryptography.hazmat.primitives.serialization import (
    Encoding,
    NoEncryption,
    PrivateFormat,
    load_pem_private_key,
)
from cryptography.x509 import load_pem_x509_certificates
from pyhanko.pdf_utils.embed import EmbeddedFileObject, FileSpec, embed_file
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.sign import PdfSignatureMetadata, PdfSigner, SimpleSigner
from pyhanko.sign.fields import SigSeedSubFilter
from pyhanko_certvalidator.registry import SimpleCertificateStore

from ohmward.errors import StoreError

FIELD = "Seal"
REASON = "This page left the shop's own installation. Who did what is signed in the record inside."


def attached_name(run: str) -> str:
    """What the record is called inside the page."""
    return f"{run}.ohmward.json"


def seal_page(pages: bytes, bundle: bytes, run: str, *, seal: bytes, authority: bytes) -> bytes:
    """The sealed file: `pages` unchanged, and one update after them. `seal`, `authority`: PEM. Raises StoreError."""
    signer = _signer(seal, authority)
    writer = IncrementalPdfFileWriter(BytesIO(pages))
    embedded = EmbeddedFileObject.from_file_data(
        writer, data=bundle, mime_type="application/json", compress=True
    )
    name = attached_name(run)
    embed_file(
        writer, FileSpec(file_spec_string=name, embedded_data=embedded, description="The record itself")
    )
    meta = PdfSignatureMetadata(
        field_name=FIELD, md_algorithm="sha256", subfilter=SigSeedSubFilter.PADES, reason=REASON
    )
    out = BytesIO()
    PdfSigner(meta, signer=signer).sign_pdf(writer, output=out)
    return out.getvalue()


def _signer(seal: bytes, authority: bytes) -> SimpleSigner:
    try:
        key = load_pem_private_key(seal, password=None)
        leaf = load_pem_x509_certificates(seal)[0]
        root = load_pem_x509_certificates(authority)[0]
    except (ValueError, IndexError, TypeError) as error:
        raise StoreError(
            f"the shop's seal cannot be read ({error}): a safety officer makes another one with `ohmward enrol --seal`"
        ) from None
    store = SimpleCertificateStore()  # type: ignore[no-untyped-call]
    certificate = x509.Certificate.load(leaf.public_bytes(Encoding.DER))
    store.register_multiple([certificate, x509.Certificate.load(root.public_bytes(Encoding.DER))])
    der = key.private_bytes(Encoding.DER, PrivateFormat.PKCS8, NoEncryption())
    return SimpleSigner(
        signing_cert=certificate, signing_key=keys.PrivateKeyInfo.load(der), cert_registry=store
    )
