"""Sealed pages: what ordinary tools say of them, and what ours refuses that was done to them."""

import random
import subprocess
from io import BytesIO

import pytest
from pyhanko.pdf_utils import generic
from pyhanko.pdf_utils.incremental_writer import IncrementalPdfFileWriter
from pyhanko.pdf_utils.reader import PdfFileReader
from pypdf import PdfReader

from ohmward.account.fold import fold
from ohmward.record.bundle import make_bundle
from ohmward.record.integrity import verify_parts, verify_record_file
from ohmward.shop.seal import new_seal, seal_paths
from ohmward.terminal.printing import sealed_record
from ohmward.terminal.records import bundle_in
from ohmward.work.checkpoints import make_checkpoint
from ohmward_printouts import seal_pdf
from ohmward_printouts.opened_seal import verify_page
from ohmward_printouts.record_pdf import render_record
from ohmward_printouts.seal_pdf import seal_page
from tests.facts.shopping import DAY, Bench, desk_in, good, key_of


@pytest.fixture(scope="module")
def sealed(tmp_path_factory):
    """A real run, signed, in a checkpoint, printed under the shop's seal."""
    folder = tmp_path_factory.mktemp("sealed") / "s"
    bench = Bench(folder, rehearsal=False)
    bench.play(good())
    store = bench.session.store
    make_checkpoint(desk_in(folder, store, bench.clock), key_of("P-03")[1])
    bundle, _ = bundle_in(store, folder, bench.account.run)
    account = fold(verify_parts(bundle).chain.entries)
    return folder, bundle, account, sealed_record(folder, bundle)


def run(*arguments):
    return subprocess.run(arguments, capture_output=True, text=True, check=False)


def test_ordinary_tools_say_valid_trusted_whole_and_sound(sealed, tmp_path):
    folder, bundle, _, page = sealed
    (tmp_path / "p.pdf").write_bytes(page)
    (tmp_path / "nss").mkdir()
    base = f"sql:{tmp_path / 'nss'}"
    assert run("certutil", "-N", "-d", base, "--empty-password").returncode == 0
    assert run("certutil", "-A", "-d", base, "-n", "shop", "-t", "C,C,C", "-i", str(seal_paths(folder)[1])).returncode == 0
    told = run("pdfsig", "-nssdir", base, str(tmp_path / "p.pdf")).stdout
    for words in ("Signature is Valid.", "Certificate is Trusted.", "Total document signed", "ETSI.CAdES.detached"):
        assert words in told
    assert told.count("Signature #") == 1
    checked = run("qpdf", "--check", str(tmp_path / "p.pdf"))
    assert checked.returncode == 0, checked.stdout
    assert "WARNING" not in checked.stdout + checked.stderr
    assert list(PdfReader(BytesIO(page)).attachments) == [f"{bundle.run}.ohmward.json"]


def test_the_page_verifies_and_the_record_inside_is_the_exported_one(sealed):
    _, bundle, _, page = sealed
    found = verify_page(page)
    assert found.intact, found.words
    assert found.words.startswith("intact up to checkpoint 2 of ")
    (inside,) = PdfReader(BytesIO(page)).attachments.values()
    assert inside[0] == make_bundle(bundle)
    assert page.startswith(render_record(fold(found.chain.entries), verify_parts(bundle)))
    assert verify_page(page, origin="0" * 64).problem.startswith("the record inside the page is its keys begin with")


def test_every_page_shows_the_checkpoint_and_every_signature_name_time_and_meaning(sealed):
    _, bundle, account, page = sealed
    reader = PdfReader(BytesIO(page))
    point = verify_parts(bundle).last.checkpoint
    for number in range(len(reader.pages)):
        assert point.root[:32] in reader.pages[number].extract_text()
    text = " ".join("".join(p.extract_text() for p in reader.pages).split())
    signed = [e for e in account.entries if e.kind.value == "signed"]
    assert {e.said for e in signed} == {"performed", "supervised"}
    for entry in signed:
        assert f"by key, over entries 1 to {entry.number - 1}" in text
        assert entry.time.replace("T", " ") in text


def updated(page: bytes, change) -> bytes:
    writer = IncrementalPdfFileWriter(BytesIO(page))
    change(writer)
    out = BytesIO()
    writer.write(out)
    return out.getvalue()


def annotate(writer):
    page = writer.root["/Pages"]["/Kids"][0]
    note = generic.DictionaryObject({generic.pdf_name("/Type"): generic.pdf_name("/Annot"), generic.pdf_name("/Subtype"): generic.pdf_name("/FreeText"), generic.pdf_name("/Rect"): generic.ArrayObject(generic.FloatObject(n) for n in (50, 50, 300, 90)), generic.pdf_name("/Contents"): generic.TextStringObject("held off")})
    places = page.setdefault(generic.pdf_name("/Annots"), generic.ArrayObject())
    places.append(writer.add_object(note))
    writer.mark_update(page.container_ref)
    writer.update_container(places)


def overlay(writer):
    page = writer.root["/Pages"]["/Kids"][0]
    drawn = writer.add_object(generic.StreamObject(stream_data=b"BT /F1 30 Tf 60 500 Td (dead) Tj ET"))
    page[generic.pdf_name("/Contents")] = generic.ArrayObject([page.raw_get("/Contents"), drawn])
    writer.update_container(page)


def script(writer):
    writer.root[generic.pdf_name("/OpenAction")] = generic.DictionaryObject({generic.pdf_name("/S"): generic.pdf_name("/JavaScript"), generic.pdf_name("/JS"): generic.TextStringObject("1")})
    writer.update_root()


def other_content(writer):
    ref = writer.root["/Pages"]["/Kids"][0].raw_get("/Contents")
    writer.objects[(0, ref.idnum)] = generic.StreamObject(stream_data=b"BT ET")


ATTACKS = {"an annotation": annotate, "an overlay": overlay, "a script": script, "other content": other_content, "an empty update": lambda w: w.update_root()}


@pytest.mark.parametrize("attack", ATTACKS)
def test_an_update_after_the_seal_is_refused(sealed, attack):
    page = updated(sealed[3], ATTACKS[attack])
    assert not verify_page(page).intact
    assert verify_page(page).problem.startswith(("the page: ", "not a page of ours"))


@pytest.mark.parametrize("attack", ATTACKS)
def test_whoever_holds_the_seal_cannot_seal_other_pages_either(sealed, attack, monkeypatch):
    """The device's owner puts the change into the update before the seal, and seals with the shop's own key."""
    folder, bundle, account, _ = sealed
    seal, authority = (p.read_bytes() for p in seal_paths(folder))
    whole = seal_pdf.embed_file

    def with_attack(writer, spec):
        whole(writer, spec)
        ATTACKS[attack](writer)

    if attack != "an empty update":
        monkeypatch.setattr(seal_pdf, "embed_file", with_attack)
        page = seal_page(render_record(account, verify_parts(bundle)), make_bundle(bundle), bundle.run, seal=seal, authority=authority)
        assert verify_page(page).problem.startswith("the page: the update "), verify_page(page).words
    pages = render_record(account, verify_parts(bundle)).replace(b"/Producer", b"/Producex")
    page = seal_page(pages, make_bundle(bundle), bundle.run, seal=seal, authority=authority)
    assert "its pages are not those that this version of ohmward draws" in verify_page(page).problem


def test_another_seal_another_record_or_none_is_refused(sealed):
    folder, bundle, account, page = sealed
    pages = render_record(account, verify_parts(bundle))
    other = new_seal("Another", DAY)
    forged = seal_page(pages, make_bundle(bundle), bundle.run, seal=other.key + other.certificate, authority=other.authority_certificate)
    assert verify_page(forged).problem == "the page: its seal is of an authority that the shop's lists of keys do not name"
    seal, authority = (p.read_bytes() for p in seal_paths(folder))
    mixed = seal_page(pages, make_bundle(bundle), bundle.run, seal=other.key + other.certificate, authority=authority)
    assert "the seal does not hold" in verify_page(mixed).problem
    cut = seal_page(pages, b"{}", bundle.run, seal=seal, authority=authority)
    assert verify_page(cut).problem.startswith("the record inside the page is not a record")
    assert verify_page(pages).problem.startswith("not a page of ours")
    assert verify_page(b"%PDF-1.4").problem.startswith("not a page of ours")
    assert verify_page(page + b"\n%%EOF\n").problem.startswith(("the page: something was added", "not a page"))
    assert verify_record_file(page).problem.startswith("not a record")


@pytest.mark.long
def test_flipped_bits_of_a_page_are_found_or_change_nothing_that_is_seen(sealed):
    page = sealed[3]
    chance = random.Random(4)
    silent = 0
    for _ in range(40):
        at = chance.randrange(len(page))
        made = bytearray(page)
        made[at] ^= 1 << chance.randrange(8)
        if verify_page(bytes(made)).intact:
            silent += 1
            reader = PdfFileReader(BytesIO(page))
            start, end = reader.embedded_signatures[0].byte_range[1], reader.embedded_signatures[0].byte_range[2]
            assert start <= at < end, at  # the padding of the signature's own place
    assert silent < 10


def test_a_shop_without_a_seal_prints_without_one(sealed, tmp_path):
    _, bundle, account, _ = sealed
    assert sealed_record(tmp_path, bundle) == render_record(account, verify_parts(bundle))
