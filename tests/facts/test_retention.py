"""What earlier versions wrote is opened and verified by this one. One store and one record file for each format."""

import gzip
import shutil

import pytest

from ohmward.account.fold import fold
from ohmward.record.bundle import read_bundle
from ohmward.record.canonical import SHORT
from ohmward.record.checkpoint import read_checkpoint_file
from ohmward.record.entry import read_entry
from ohmward.record.integrity import verify_record_file
from ohmward.shop.folder import make_shop
from ohmward.terminal.whole_shop import verify_shop
from tests.conftest import ROOT
from tests.facts.shopping import DAY

GOLDEN = ROOT / "tests" / "golden"
RECORDS = sorted(GOLDEN.glob("record-*.gz"))
STORES = sorted(GOLDEN.glob("store-*.gz"))


def opened(path):
    return gzip.decompress(path.read_bytes())


def test_there_is_one_of_each_format():
    assert [p.name for p in RECORDS] == ["record-1.ohmward.json.gz", "record-2.ohmward.json.gz"]
    assert [p.name for p in STORES] == ["store-1.db.gz", "store-2.db.gz"]


@pytest.mark.parametrize("path", RECORDS, ids=lambda p: p.name)
def test_a_record_of_an_earlier_format_verifies_and_is_possible(path):
    found = verify_record_file(opened(path))
    assert found.intact, found.words
    account = fold(found.chain.entries)
    assert account.impossible == ""
    assert account.ended
    assert bool(found.signatures) is ("record-1" not in path.name)


def test_a_long_entry_that_is_kept_for_the_next_reader_is_as_it_was_read():
    """Who folds, judges and verifies gets the same entry: what one of them changed in it the next would believe."""
    for path in RECORDS:
        data = opened(path)
        long = [r for r in read_bundle(data).raw if len(r) >= SHORT]
        assert long
        fold(verify_record_file(data).chain.entries)
        assert [read_entry(r).to_bytes() for r in long] == long


@pytest.mark.parametrize("path", STORES, ids=lambda p: p.name)
def test_a_store_of_an_earlier_version_opens_verifies_and_goes_on(path, tmp_path):
    folder = tmp_path / "s"
    make_shop(folder, DAY.date())
    (folder / "records.db").write_bytes(opened(path))
    found = list(verify_shop(str(folder), None))
    assert found
    assert all(one.intact for _, one in found)
    shutil.rmtree(folder)


def test_a_checkpoint_of_an_earlier_version_still_vouches():
    held = read_checkpoint_file(opened(GOLDEN / "checkpoint-1.json.gz"))
    found = verify_record_file(opened(GOLDEN / "record-2.ohmward.json.gz"), held=held)
    assert "that you hold, 92 entries" in found.words
