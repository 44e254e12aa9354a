"""What seldom comes: disks that are full, tables that end early, words that are none; each is told or does what it says."""

import re
import sqlite3
from dataclasses import replace
from datetime import date
from pathlib import Path

import pytest

from ohmward.chart.layout import Layout, Variable
from ohmward.errors import BrokenError, StoreError, UsageError
from ohmward.language.catalogue import catalogue
from ohmward.language.evaluate import Undecided, evaluate
from ohmward.language.expression import parse_expression
from ohmward.proof.obligations import obligations
from ohmward.proof.promela import to_promela
from ohmward.record.ed25519 import PREFIX, holds
from ohmward.record.entry import NOTHING, Kind, digest_of
from ohmward.record.integrity import verify_parts, verify_run
from ohmward.record.versions import changed
from ohmward.shop import shipped
from ohmward.shop.csv_import import Row, entry_of
from ohmward.shop.folder import MOST_PICTURE, find_shop, keep_picture, make_shop, open_shop
from ohmward.shop.keyfile import keep_secret
from ohmward.shop.models import Gear
from ohmward.shop.snapshot import gear_dates
from ohmward.store.sqlite import SqliteStore
from ohmward.store.unkept import Unkept
from ohmward.trade.formula import spoken
from ohmward.trade.quantity import parse_quantity
from ohmward.trade.span import Interval
from ohmward.trade.span import holds as compares
from tests.conftest import shipped as library_of
from tests.conftest import table_of
from tests.facts.shopping import DAY
from tests.sealed import MemoryStore, Small, counting

# -- stores ------------------------------------------------------------------------------------------------


def test_a_store_that_keeps_nothing_answers_as_one_that_did_and_reads_what_the_other_has():
    kept = MemoryStore()
    kept.append("r1", after=NOTHING, data=b"first")
    store = Unkept(kept)
    assert store.append("r1", after=store.head("r1"), data=b"second") == digest_of(b"second")
    assert [*store.fetch("r1")] == [b"first"]
    assert (store.newest(), store.runs(), store.heads()) == (b"first", ("r1",), {"r1": (1, digest_of(b"first"))})
    store.close()
    assert kept.head("r1") == digest_of(b"first")


def test_a_store_whose_table_is_gone_says_so_whatever_is_asked(tmp_path):
    SqliteStore(tmp_path / "records.db").close()
    with sqlite3.connect(tmp_path / "records.db") as db:
        for name in ("entries", "log"):
            db.execute(f"DROP TABLE IF EXISTS {name}")
    db.close()
    store = SqliteStore.__new__(SqliteStore)
    store.path, store._db = tmp_path / "records.db", sqlite3.connect(tmp_path / "records.db")
    for ask in (store.newest, store.heads, store.runs, lambda: store.head("r1"), lambda: [*store.fetch("r1")]):
        with pytest.raises(StoreError, match="records\\.db"):
            ask()
    store._db.close()


def test_a_row_that_is_no_bytes_is_told_by_reading_and_by_looking_through(tmp_path):
    shop = Small(store=SqliteStore(tmp_path / "records.db"))
    shop.open("r1")
    with sqlite3.connect(tmp_path / "records.db") as db:
        guards = [sql for (sql,) in db.execute("SELECT sql FROM sqlite_master WHERE type = 'trigger'")]
        db.executescript("CREATE TABLE loose AS SELECT * FROM entries; DROP TABLE entries; ALTER TABLE loose RENAME TO entries")
        db.execute("UPDATE entries SET data = 'a text' WHERE run = 'r1'")
        for sql in guards:
            db.execute(sql)
    db.close()
    with pytest.raises(StoreError, match="run r1 holds something that is no entry"):
        list(shop.store.fetch("r1"))
    shop.store.close()
    with pytest.raises(StoreError, match="a row of run 'r1' holds something that is no entry"):
        SqliteStore(tmp_path / "records.db")


def test_a_secret_that_cannot_be_written_is_told_and_leaves_the_old_one(tmp_path):
    (tmp_path / "keys").write_text("a file where the folder should be")
    with pytest.raises(StoreError, match="could not be written .*; nothing was changed"):
        keep_secret(tmp_path / "keys" / "P-01-x.json", b"secret")
    assert (tmp_path / "keys").read_text() == "a file where the folder should be"


# -- shops -------------------------------------------------------------------------------------------------


def test_a_folder_that_is_named_and_holds_no_shop_is_told_and_a_shop_is_not_made_twice(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    monkeypatch.delenv("OHMWARD_SHOP", raising=False)
    assert find_shop(None) is None
    for ask in (lambda: find_shop("nowhere"), lambda: open_shop(None)):
        with pytest.raises(UsageError, match="make one with `ohmward new DIR`"):
            ask()
    make_shop(tmp_path / "s", DAY.date())
    assert find_shop("s") == Path("s")
    with pytest.raises(UsageError, match="already holds a shop"):
        make_shop(tmp_path / "s", DAY.date())


def test_a_picture_is_kept_once_and_one_that_is_too_large_never(tmp_path):
    (tmp_path / "plate.jpg").write_bytes(b"picture")
    said = keep_picture(tmp_path, str(tmp_path / "plate.jpg"))
    assert keep_picture(tmp_path, str(tmp_path / "plate.jpg")) == said
    with (tmp_path / "large.jpg").open("wb") as made:
        made.truncate(MOST_PICTURE + 1)
    with pytest.raises(OSError, match="larger than 20971520 bytes"):
        keep_picture(tmp_path, str(tmp_path / "large.jpg"))
    assert len([p for p in (tmp_path / "photos").iterdir() if p.is_file()]) == 1


@pytest.mark.parametrize("text", ["a: [", "a: {what: x}", "- a", "a: b"])
def test_an_installation_whose_catalogue_of_faults_is_broken_is_told(monkeypatch, text):
    monkeypatch.setattr(Path, "read_text", lambda *_, **__: text)
    catalogue.cache_clear()
    try:
        with pytest.raises(BrokenError, match="the catalogue of faults cannot be read"):
            catalogue()
    finally:
        catalogue.cache_clear()


def test_an_installation_without_its_procedures_is_told(monkeypatch):
    monkeypatch.setattr(shipped, "__file__", "/nowhere/a/b/c/d.py")
    with pytest.raises(StoreError, match="the shipped procedures are missing from this installation"):
        shipped.shipped_folder.__wrapped__()


def gloves(**more) -> Gear:
    return Gear.model_validate({"id": "G-1", "label": "Gloves", "slots": ["gloves"], "glove_class": "0", **more})


def test_gloves_are_in_date_from_their_test_until_they_were_worn_bare():
    assert gear_dates(gloves()) == []
    tested = gear_dates(gloves(tested="2026-06-01"))
    assert tested[0] == "2026-06-01"
    assert gear_dates(gloves(tested="2026-06-01", used_bare="2026-05-01")) == tested  # before the test
    assert gear_dates(gloves(tested="2026-06-01", used_bare="2026-07-01")) == ["2026-06-01", "2026-06-30"]
    assert date.fromisoformat(tested[1]) > date(2026, 7, 1)


def test_an_empty_cell_is_left_out():
    assert entry_of(Row(2, {"id": "M-1", "make": ""})) == {"id": "M-1"}


# -- values ------------------------------------------------------------------------------------------------


def test_a_truth_is_spoken_as_yes_or_no_and_an_unknown_comparison_is_none():
    assert [spoken(True), spoken(False), spoken("dead")] == ["yes", "no", "dead"]
    span = Interval(low=parse_quantity("1 V"), high=parse_quantity("2 V"))
    assert compares("<", span, parse_quantity("3 V")) is True
    with pytest.raises(KeyError, match="~"):
        compares("~", span, span)


def test_a_word_outside_a_layout_is_told():
    layout = Layout((Variable("switch", ("open", "closed")),))
    assert layout.bit("switch", "closed") == 2
    for name, value in (("switch", "ajar"), ("lid", "open")):
        with pytest.raises(KeyError):
            layout.bit(name, value)
    assert layout.span("switch") == 3


# -- records -----------------------------------------------------------------------------------------------


def test_what_the_diary_recalls_is_known_with_the_entry_that_says_so():
    shop = Small()
    shop.desk.write(Kind.RECALLED, "P-04", said="recalled", data={"what": ["M-07", "cooling-check 3"]})
    recalled = shop.desk.diary.recalled
    assert set(recalled) == {"M-07", "cooling-check 3"}
    assert recalled["M-07"].actor == "P-04"


def test_a_public_key_that_is_no_point_of_the_curve_holds_nothing():
    for last in range(256):
        assert not holds(PREFIX + bytes([last]) * 31 + bytes([last & 127]), b"message", b"s" * 64)


def test_a_key_that_is_gone_from_a_list_is_lost():
    shop = Small()
    shop.renew("P-02")
    before = shop.desk.keys
    people = tuple(replace(m, keys=m.keys[:1]) if m.person == "P-02" else m for m in before.people)
    assert changed(before, replace(before, people=people)) == (("lost", "P-02"),)
    assert changed(before, before) == ()


def test_a_real_run_that_says_it_is_unsigned_in_a_shop_with_keys_is_broken_at_its_first_entry():
    shop = Small()
    shop.entry("r1", Kind.OPENED, data={"rehearsal": False, "signed": False})
    found = verify_run(shop.store.fetch("r1"), run="r1", lists=shop.desk.diary.lists)
    assert found.problem.startswith("broken at entry 1: a real run of ")
    assert not found.intact
    shop.entry("r2", Kind.OPENED, data={"rehearsal": True, "signed": False})
    assert verify_run(shop.store.fetch("r2"), run="r2", lists=shop.desk.diary.lists).intact


def test_a_checkpoint_that_counts_what_is_no_leaf_is_told():
    shop = Small()
    shop.open("r1")
    held = shop.point()
    assert verify_parts(shop.bundle("r1"), held=held).intact
    found = verify_parts(shop.bundle("r1"), held=counting(held, *held.leaves, b"{}"))
    assert found.problem.startswith("the checkpoint that you hold: ")


# -- limits and models -------------------------------------------------------------------------------------


def test_a_condition_is_no_number_for_a_calculation_and_what_is_undecided_stays_so():
    values = {"a": parse_quantity("3 V"), "sure": True, "open": Undecided("nobody read it")}
    assert evaluate(parse_expression("superheat(sure, a, a)"), values) == Undecided("superheat takes no condition")
    assert evaluate(parse_expression("superheat(open, a, a)"), values) == Undecided("nobody read it")
    assert evaluate(parse_expression("max(a, sure)"), values) == Undecided("max needs numbers")
    assert isinstance(evaluate(parse_expression("max(a, 3 A)"), values), Undecided)


def test_a_model_starts_from_every_condition_that_a_run_may_start_with():
    table = table_of("take-down-what-was-left")
    asked = obligations(table, library_of().rules, frozenset(library_of().gates))
    assert len(asked.orders) > 0
    some = next(s for s in table.data["steps"] if any(r.trigger == f"correct@{s}" for r in table.rows))
    text = to_promela(table, asked, {some: (1 << 3 * len(asked.orders)) - 1})
    assert [name for name in table.free if name.startswith("trip ")]
    assert text.count(" fi;\n") > len(table.free)
    assert re.search(r"if :: o0 < \d+ -> o0 = \d+ :: else fi;", text)
    assert not re.search(r"if :: o0 < \d+ -> o0 = \d+ :: else fi;", to_promela(table, asked, {}))
