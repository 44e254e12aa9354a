"""SQLite, one transaction for each entry, with a journal and sync pair that keeps what it acknowledged.

DELETE with FULL, Python's default, can lose the last acknowledged entry at a power cut (measured by listing
the disk states that a cut can leave); TRUNCATE with FULL does not, and costs the same.
"""

import contextlib
import sqlite3
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from pathlib import Path

from ohmward.errors import MovedOnError, StoreError
from ohmward.record.chain import Links
from ohmward.record.diary import DIARY
from ohmward.record.entry import NOTHING, digest_of

PROVEN = {("truncate", 2), ("persist", 2), ("delete", 3)}
_SCHEMA = """
BEGIN IMMEDIATE;
CREATE TABLE IF NOT EXISTS entries (
  place INTEGER PRIMARY KEY,
  run TEXT NOT NULL,
  number INTEGER NOT NULL,
  previous TEXT NOT NULL,
  digest TEXT NOT NULL,
  data BLOB NOT NULL,
  UNIQUE (run, number),
  UNIQUE (run, previous)
) STRICT;
CREATE TRIGGER IF NOT EXISTS no_update BEFORE UPDATE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never changed'); END;
CREATE TRIGGER IF NOT EXISTS no_delete BEFORE DELETE ON entries BEGIN SELECT RAISE(ABORT, 'entries are never removed'); END;
COMMIT;
"""


class SqliteStore:
    """One file. After a write that failed nothing more is written before the file is opened anew and verified."""

    def __init__(
        self, path: Path, *, journal: str = "truncate", sync: str = "full", verify: bool = True
    ) -> None:
        self.path = path
        self.commits = 0
        self._failed = ""
        try:
            self._db = sqlite3.connect(path, isolation_level=None, timeout=5.0)
            self._prepare(journal, sync)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise StoreError(_advice(path, error)) from None
        if verify:
            self._verify()

    def _prepare(self, journal: str, sync: str) -> None:
        self._db.execute("PRAGMA trusted_schema = OFF")
        mode = str(self._db.execute(f"PRAGMA journal_mode = {journal}").fetchone()[0]).lower()
        self._db.execute(f"PRAGMA synchronous = {sync}")
        level = int(self._db.execute("PRAGMA synchronous").fetchone()[0])
        if (mode, level) not in PROVEN:
            self._db.close()
            raise StoreError(
                f"{self.path}: journal {mode} with sync {level} can lose an acknowledged entry; it is not used"
            )
        tables = self._db.execute("SELECT count(*) FROM sqlite_master WHERE name = 'entries'").fetchone()[0]
        if not tables:
            self._db.executescript(_SCHEMA)

    def _verify(self) -> None:
        """Nothing is added to a file with faults."""
        found = self.faults()
        if found:
            raise StoreError(f"{self.path}: {found[0]}. Keep the file; work on a copy of the last good one.")

    def faults(self) -> tuple[str, ...]:
        """What is wrong in the file: every chain followed, every column held against the bytes, no row left over."""
        try:
            guards = {
                str(r[0]) for r in self._db.execute("SELECT name FROM sqlite_master WHERE type = 'trigger'")
            }
            rows = self._db.execute(
                "SELECT run, number, previous, digest, data FROM entries ORDER BY run, number, place"
            )
            wrong = _faults_of(rows)
        except (sqlite3.Error, UnicodeDecodeError) as error:
            return (f"it cannot be read ({error})",)
        missing = [g for g in ("no_update", "no_delete") if g not in guards]
        return (*(f"the guard '{g}' against changes is missing" for g in missing), *wrong)

    def append(self, run: str, *, after: str, data: bytes) -> str:
        if self._failed:
            raise StoreError(
                f"{self.path}: a write failed before ({self._failed}); nothing more is written until it is opened anew"
            )
        digest = digest_of(data)
        try:
            self._db.execute("BEGIN IMMEDIATE")
            number, head = self._last(run)
            if head != after:
                self._db.execute("ROLLBACK")
                raise MovedOnError(
                    f"run {run} has moved on: somebody else has written to it. Resume it to see where it stands."
                )
            self._db.execute(
                "INSERT INTO entries (run, number, previous, digest, data) VALUES (?, ?, ?, ?, ?)",
                (run, number + 1, after, digest, data),
            )
            self._db.execute("COMMIT")
        except sqlite3.Error as error:
            self._failed = str(error)
            with contextlib.suppress(sqlite3.Error):
                if self._db.in_transaction:
                    self._db.execute("ROLLBACK")
            raise StoreError(_advice(self.path, error)) from None
        self.commits += 1
        return digest

    def _last(self, run: str) -> tuple[int, str]:
        row = self._db.execute(
            "SELECT number, digest FROM entries WHERE run = ? ORDER BY number DESC LIMIT 1", (run,)
        ).fetchone()
        return (int(row[0]), str(row[1])) if row else (0, NOTHING)

    def head(self, run: str) -> str:
        try:
            return self._last(run)[1]
        except sqlite3.Error as error:
            raise StoreError(_advice(self.path, error)) from None

    def newest(self) -> bytes | None:
        try:
            row = self._db.execute("SELECT data FROM entries ORDER BY place DESC LIMIT 1").fetchone()
        except sqlite3.Error as error:
            raise StoreError(_advice(self.path, error)) from None
        return bytes(row[0]) if row else None

    def heads(self) -> dict[str, tuple[int, str]]:
        try:
            rows = self._db.execute(
                "SELECT e.run, e.number, e.digest FROM entries e JOIN "
                "(SELECT run, max(number) AS last, min(place) AS first FROM entries GROUP BY run) r "
                "ON e.run = r.run AND e.number = r.last ORDER BY r.first"
            ).fetchall()
        except sqlite3.Error as error:
            raise StoreError(_advice(self.path, error)) from None
        return {str(run): (int(number), str(digest)) for run, number, digest in rows}

    def fetch(self, run: str) -> Iterator[bytes]:
        try:
            for (data,) in self._db.execute("SELECT data FROM entries WHERE run = ? ORDER BY number", (run,)):
                if not isinstance(data, bytes):
                    raise StoreError(
                        f"{self.path}: run {run} holds something that is no entry; `ohmward verify` tells more"
                    )
                yield data
        except (sqlite3.Error, UnicodeDecodeError) as error:
            raise StoreError(_advice(self.path, error)) from None

    def runs(self) -> tuple[str, ...]:
        try:
            rows = self._db.execute(
                "SELECT run FROM entries WHERE run != ? GROUP BY run ORDER BY min(place)", (DIARY,)
            ).fetchall()
        except sqlite3.Error as error:
            raise StoreError(_advice(self.path, error)) from None
        return tuple(str(row[0]) for row in rows)

    def close(self) -> None:
        self._db.close()


def _faults_of(rows: Iterator[tuple[object, ...]]) -> list[str]:
    """Every run's first fault; one row at a time, so that memory does not grow with the file."""
    found = []
    for run, mine in groupby(rows, key=itemgetter(0)):
        links = Links(run) if isinstance(run, str) else None
        problem = ""
        for row in mine:
            problem = problem or _row_problem(links, row)
        found += [problem] if problem else []
    return found


def _row_problem(links: Links | None, row: tuple[object, ...]) -> str:
    """Why a row is not the next entry of its run, or its columns do not say what its bytes say."""
    run, number, previous, digest, data = row
    if links is None or not isinstance(data, bytes):
        return f"a row of run {run!r} holds something that is no entry"
    entry = links.add(data)
    if isinstance(entry, str):
        return f"run {run} is {entry}"
    if (run, number, previous, digest) != (entry.run, entry.number, entry.previous, links.head):
        return f"run {run}, entry {number}: the columns differ from the entry's own bytes"
    return ""


def _advice(path: Path, error: Exception) -> str:
    """What happened, what is kept, what to do: for somebody beside a machine."""
    text = str(error)
    if "full" in text:
        what = "the disk is full. Free some space, then resume"
    elif "readonly" in text or "unable to open" in text:
        what = "the folder or file cannot be written. Check its permissions, then resume"
    elif "locked" in text:
        what = "another program holds the file. Close it, then resume"
    else:
        what = "keep the file as it is and resume on a copy of it"
    return f"{path}: not kept ({text}). Everything acknowledged before is kept. Keep the machine as it stands: {what}."
