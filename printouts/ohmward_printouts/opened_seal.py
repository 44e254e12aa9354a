"""A sealed page opened again: the record inside, whether the pages are those that it draws, whether the seal holds."""

import re
import struct
import zlib
from dataclasses import replace
from hashlib import sha256
from io import BytesIO
from typing import Any

from pyhanko.pdf_utils.misc import PdfError
from pyhanko.pdf_utils.reader import PdfFileReader
from pyhanko.sign.general import SigningError
from pyhanko.sign.validation import SignatureCoverageLevel, validate_pdf_signature
from pyhanko.sign.validation.errors import SignatureValidationError
from pyhanko.sign.validation.status import PdfSignatureStatus
from pyhanko_certvalidator import ValidationContext

from ohmward.account.fold import NoRecordError, fold
from ohmward.record.checkpoint import CheckpointFile
from ohmward.record.integrity import Integrity, broken, verify_record_file
from ohmward_printouts.record_pdf import render_record
from ohmward_printouts.seal_pdf import FIELD, REASON

# What a damaged file makes the libraries raise.
_UNREADABLE = (
    PdfError,
    SigningError,
    SignatureValidationError,
    ValueError,
    LookupError,
    TypeError,
    AttributeError,
    ArithmeticError,
    AssertionError,
    RecursionError,
    NotImplementedError,
    MemoryError,
    OSError,
    struct.error,
    zlib.error,
)
_MOST = 128 * 1024 * 1024
_NEITHER = "Believe neither the pages nor the record in it; ask for another copy"
_MOST_OBJECTS = 100_000
_NEW_IN_CATALOG = {"/AcroForm", "/Names", "/Metadata", "/Version", "/Extensions", "/AF"}


def verify_page(data: bytes, *, origin: str = "", held: CheckpointFile | None = None) -> Integrity:
    """The record inside a sealed page, and why the page is not to be believed. Never raises."""
    if len(data) > _MOST:
        return broken(f"not a page: {len(data)} bytes; at most {_MOST} are read")
    if any(int(n) > _MOST_OBJECTS for n in re.findall(rb"/Size\s+(\d{1,18})", data)):
        return broken(f"not a page: it claims more than {_MOST_OBJECTS} objects")
    try:
        reader = PdfFileReader(BytesIO(data), strict=True)
        bundle = _attached(reader)
    except _UNREADABLE as error:
        return broken(f"not a page of ours: {_first_line(error)}")
    found = verify_record_file(bundle, origin=origin)
    if not found.intact:
        return replace(found, problem=f"the record inside the page is {found.problem}")
    try:
        problem = _unsealed(reader, found) or _unlike_pages(data, reader, found)
    except _UNREADABLE as error:
        problem = _first_line(error)
    if problem:
        return replace(found, problem=f"the page: {problem}")
    whole = found if held is None else verify_record_file(bundle, origin=origin, held=held)
    return replace(whole, sealed="; sealed by the shop, the pages as drawn from this record")


def _first_line(error: BaseException) -> str:
    return f"{type(error).__name__} {str(error)[:120]}".split("\n")[0].strip()


def _attached(reader: PdfFileReader) -> bytes:
    """The one file in the page. Raises ValueError and what the reader raises."""
    names = reader.root["/Names"]["/EmbeddedFiles"]["/Names"]
    if len(names) != 2:
        raise ValueError("it holds another number of files than one")
    stream = names[1]["/EF"]["/F"]
    if int(stream.get("/Length", 0)) > _MOST:
        raise ValueError("the file inside is too large")
    return bytes(_limited(stream.encoded_data) if stream.get("/Filter") == "/FlateDecode" else stream.data)


def _limited(packed: bytes) -> bytes:
    """Unpacked, up to a limit: a small file must not grow without end."""
    opened = zlib.decompressobj()
    data = opened.decompress(packed, _MOST)
    if opened.unconsumed_tail or not opened.eof:
        raise ValueError("the file inside is too large or cut off")
    return data


def _unlike_pages(data: bytes, reader: PdfFileReader, found: Integrity) -> str:
    """Why the pages are not those that this version draws from the record."""
    try:
        account = fold(found.chain.entries)
    except NoRecordError as error:
        return f"its record is none of a run: {error}"
    pages = render_record(account, found)
    if not data.startswith(pages):
        return "it is sealed, and its pages are not those that this version of ohmward draws from the record inside: believe the record, not the pages"
    after = data[len(pages) :]
    if (
        after.count(b"startxref") != 1
        or after.count(b"%%EOF") != 1
        or not after.rstrip(b"\r\n").endswith(b"%%EOF")
    ):
        return "something was added after the seal"
    return _unlike_update(reader, PdfFileReader(BytesIO(pages), strict=True))


def _unlike_update(reader: PdfFileReader, pages: PdfFileReader) -> str:
    """What the update may change: the catalog gets the record and the seal's field, the first page its empty place."""
    size = int(pages.trailer["/Size"])
    first = pages.root["/Pages"]["/Kids"].raw_get(0)
    may_change = {pages.root_ref.idnum, first.idnum, pages.trailer.raw_get("/Info").idnum}
    changed = {ref.idnum for ref in reader.xrefs.explicit_refs_in_revision(reader.xrefs.total_revisions - 1)}
    other = sorted(n for n in changed if n < size and n not in may_change)
    if other:
        return f"the update after the pages changes object {other[0]}"
    old, new = pages.root, reader.root
    kept = [k for k in old if k not in _NEW_IN_CATALOG]
    if set(new) - set(old) - _NEW_IN_CATALOG or any(not _same(old, new, k) for k in kept):
        return "the update changes the catalog"
    if set(reader.root["/Names"]) != {"/EmbeddedFiles"}:
        return "the update names more than the record"
    return _unlike_first_page(pages.root["/Pages"]["/Kids"][0], reader.root["/Pages"]["/Kids"][0])


def _unlike_first_page(old: Any, new: Any) -> str:  # noqa: ANN401
    if set(new) - set(old) != {"/Annots"} or any(
        _plain(old.raw_get(k)) != _plain(new.raw_get(k)) for k in old
    ):
        return "the update changes the first page"
    places = new["/Annots"]
    empty = (
        len(places) == 1
        and places[0]["/FT"] == "/Sig"
        and [float(n) for n in places[0]["/Rect"]] == [0.0] * 4
    )
    return "" if empty and "/AP" not in places[0] else "the update draws something on the first page"


def _same(old: Any, new: Any, key: str) -> bool:  # noqa: ANN401
    return key in new and _plain(old.raw_get(key)) == _plain(new.raw_get(key))


def _plain(value: Any) -> str:  # noqa: ANN401
    out = BytesIO()
    value.write_to_stream(out, None)
    return out.getvalue().decode("latin-1")


def _unsealed(reader: PdfFileReader, found: Integrity) -> str:
    """Why the seal does not hold: one signature, over the whole file, by an authority of the shop's own lists."""
    seals = reader.embedded_signatures
    if len(seals) != 1 or seals[0].field_name != FIELD or seals[0].sig_object.get("/Reason") != REASON:
        return "it has another number of seals than one, or another one"
    seal = seals[0]
    if seal.evaluate_signature_coverage() is not SignatureCoverageLevel.ENTIRE_FILE:
        return f"the seal does not cover the whole file: something was added after it. {_NEITHER}"
    known = {made.authority for made in found.lists.versions if made.authority}
    roots = [c for c in seal.other_embedded_certs if sha256(c.dump()).hexdigest() in known]
    if not roots:
        return "its seal is of an authority that the shop's lists of keys do not name"
    context = ValidationContext(trust_roots=roots, allow_fetching=False, moment=_claimed(seal))
    status = validate_pdf_signature(seal, signer_validation_context=context, skip_diff=True)
    return "" if _holds(status) else f"the seal does not hold ({status.summary()}). {_NEITHER}"


def _claimed(seal: Any) -> Any:  # noqa: ANN401
    """The seal's own time: the certificate must have been good then."""
    return seal.self_reported_timestamp


def _holds(status: PdfSignatureStatus) -> bool:
    return bool(status.intact and status.valid and status.trusted)
