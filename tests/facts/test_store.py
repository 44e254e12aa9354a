"""The store: one contract; acknowledged means durable; faults are told, never papered over."""

import os
import resource
import signal
import sqlite3
import subprocess
import sys
import textwrap
import time

import pytest

from ohmward.errors import MovedOnError, StoreError
from ohmward.record.chain import verify_chain
from ohmward.record.entry import NOTHING, Entry, Kind
from ohmward.store.sqlite import PROVEN, SqliteStore


def entry(run, number, previous, said="x"):
    return Entry(run=run, number=number, previous=previous, time="2026-11-25T10:00:00Z", actor="P", device="d", kind=Kind.NOTED, said=said).to_bytes()


def fill(store, run, count, said="x"):
    head = store.head(run)
    for number in range(1, count + 1):
        head = store.append(run, after=head, data=entry(run, number, head, said))
    return head


def test_what_was_appended_comes_back_in_order(tmp_path):
    store = SqliteStore(tmp_path / "r.db")
    assert store.head("a") == NOTHING
    head = fill(store, "a", 5)
    fill(store, "b", 2)
    assert store.head("a") == head
    assert verify_chain(store.fetch("a"), run="a", head=head).intact
    assert store.runs() == ("a", "b")
    assert store.commits == 7
    store.close()
    assert SqliteStore(tmp_path / "r.db").head("a") == head


def test_of_two_terminals_the_second_is_told(tmp_path):
    first, second = SqliteStore(tmp_path / "r.db"), SqliteStore(tmp_path / "r.db")
    head = fill(first, "a", 1)
    first.append("a", after=head, data=entry("a", 2, head))
    with pytest.raises(MovedOnError, match="somebody else has written"):
        second.append("a", after=head, data=entry("a", 2, head, "other"))
    assert len(list(second.fetch("a"))) == 2


@pytest.mark.parametrize("statement", ["UPDATE entries SET data = x'00'", "DELETE FROM entries"])
def test_entries_are_never_changed_or_removed(tmp_path, statement):
    store = SqliteStore(tmp_path / "r.db")
    fill(store, "a", 2)
    with pytest.raises(sqlite3.IntegrityError):
        store._db.execute(statement)


@pytest.mark.parametrize("journal", ["delete", "truncate", "persist", "memory", "off"])
@pytest.mark.parametrize("sync", ["off", "normal", "full", "extra"])
def test_only_journal_and_sync_pairs_that_keep_what_they_acknowledge_are_used(tmp_path, journal, sync):
    level = {"off": 0, "normal": 1, "full": 2, "extra": 3}[sync]
    if (journal, level) in PROVEN:
        SqliteStore(tmp_path / "r.db", journal=journal, sync=sync).close()
    else:
        with pytest.raises(StoreError, match="can lose an acknowledged entry"):
            SqliteStore(tmp_path / "r.db", journal=journal, sync=sync)


def test_a_store_that_was_tampered_with_is_not_written_to(tmp_path):
    store = SqliteStore(tmp_path / "r.db")
    fill(store, "a", 3)
    store.close()
    raw = sqlite3.connect(tmp_path / "r.db")
    raw.executescript("DROP TRIGGER no_update; UPDATE entries SET digest = 'x' WHERE number = 2;")
    raw.commit()
    raw.close()
    with pytest.raises(StoreError, match="the guard 'no_update' against changes is missing"):
        SqliteStore(tmp_path / "r.db")
    faults = SqliteStore(tmp_path / "r.db", verify=False).faults()
    assert "run a, entry 2: the columns differ from the entry's own bytes" in faults


@pytest.mark.parametrize("change", ["UPDATE entries SET run = 'z' WHERE number = 3", "UPDATE entries SET number = 0 WHERE number = 1", "DELETE FROM entries WHERE number = 1", "UPDATE entries SET data = x'00' WHERE number = 2"])
def test_every_change_of_a_row_is_found(tmp_path, change):
    store = SqliteStore(tmp_path / "r.db")
    fill(store, "a", 3)
    store._db.executescript(f"DROP TRIGGER no_update; DROP TRIGGER no_delete; {change};")
    assert len(store.faults()) > 2 - (change.startswith("x"))


def test_every_flipped_byte_of_a_store_is_told_and_crashes_nothing(tmp_path):
    path = tmp_path / "r.db"
    store = SqliteStore(path)
    fill(store, "a", 4, "abc")
    store.close()
    good = path.read_bytes()
    missed = 0
    for at in range(0, len(good), 97):
        path.write_bytes(good[:at] + bytes([good[at] ^ 0x20]) + good[at + 1 :])
        try:
            opened = SqliteStore(path, verify=False)
            raw = list(opened.fetch("a")) if not opened.faults() else None
        except StoreError:
            continue
        if raw is not None:
            assert verify_chain(raw, run="a").intact
            missed += 1
    assert missed < len(good) / 97  # bytes that hold no content stay unnoticed, content never


def test_a_full_disk_is_told_and_nothing_acknowledged_is_lost(tmp_path):
    code = textwrap.dedent("""
        import resource, signal, sys
        sys.path[:0] = sys.argv[2:]
        from pathlib import Path
        from ohmward.store.sqlite import SqliteStore
        from ohmward.errors import StoreError
        from tests.facts.test_store import entry
        store = SqliteStore(Path(sys.argv[1]))
        signal.signal(signal.SIGXFSZ, signal.SIG_IGN)
        resource.setrlimit(resource.RLIMIT_FSIZE, (60_000, 60_000))
        head, n = store.head("a"), 0
        try:
            while True:
                head = store.append("a", after=head, data=entry("a", n + 1, head, "x" * 500)); n += 1
        except StoreError as error:
            print(n, error.exit_code, "Everything acknowledged before is kept" in str(error))
        try:
            store.append("a", after=head, data=entry("a", n + 1, head))
        except StoreError as error:
            print("nothing more is written" in str(error))
    """)
    path = tmp_path / "r.db"
    out = subprocess.run([sys.executable, "-c", code, str(path), os.getcwd()], capture_output=True, text=True, check=True).stdout.split()
    assert out[1:] == ["3", "True", "True"]
    assert len(list(SqliteStore(path).fetch("a"))) == int(out[0])


def test_after_kill_nothing_acknowledged_is_lost(tmp_path):
    code = textwrap.dedent("""
        import sys
        from pathlib import Path
        from ohmward.store.sqlite import SqliteStore
        from tests.facts.test_store import entry
        store = SqliteStore(Path(sys.argv[1]))
        head, n = store.head("a"), len(list(store.fetch("a")))
        while True:
            head = store.append("a", after=head, data=entry("a", n + 1, head)); n += 1
            print(n, flush=True)
    """)
    path = tmp_path / "r.db"
    for round_ in range(6):
        process = subprocess.Popen([sys.executable, "-c", code, str(path)], stdout=subprocess.PIPE, text=True)
        assert process.stdout is not None
        for _ in range(3 + round_):
            last = int(process.stdout.readline())
        process.send_signal(signal.SIGKILL)
        rest = process.stdout.read().split()
        process.stdout.close()
        process.wait()
        last = int(rest[-1]) if rest else last
        time.sleep(0.01)
        assert len(list(SqliteStore(path).fetch("a"))) >= last


def test_a_read_only_folder_is_told(tmp_path):
    with pytest.raises(StoreError, match="cannot be written. Check its permissions"):
        SqliteStore(tmp_path / "missing" / "r.db")
    (tmp_path / "x.db").write_bytes(b"not a database at all" * 100)
    with pytest.raises(StoreError, match="not kept"):
        SqliteStore(tmp_path / "x.db")
    assert resource.getrlimit(resource.RLIMIT_FSIZE)


def test_after_a_failed_commit_nothing_shows_that_was_not_kept(tmp_path):
    store = SqliteStore(tmp_path / "r.db")
    store._db.execute("PRAGMA busy_timeout = 50")
    head = fill(store, "a", 1)
    reader = sqlite3.connect(tmp_path / "r.db", isolation_level=None)
    reader.execute("BEGIN")
    reader.execute("SELECT count(*) FROM entries").fetchone()
    with pytest.raises(StoreError, match="another program holds the file"):
        store.append("a", after=head, data=entry("a", 2, head))
    assert store.head("a") == head
    reader.close()
    assert SqliteStore(tmp_path / "r.db").head("a") == head
