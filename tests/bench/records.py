"""What verification costs beside the bare calls of the same digests and signatures, and what memory it takes."""

import base64
import json
import sqlite3
import tracemalloc
from hashlib import sha256

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PublicKey

from ohmward.record.entry import NOTHING, Entry, Kind, digest_of
from ohmward.record.integrity import verify_run
from ohmward.record.versions import follow
from ohmward.shop.folder import make_shop
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.whole_shop import verify_shop
from tests.facts.shopping import DAY
from tests.sealed import Small


def verification(say, clocked):
    """A record of 200 entries with a signature after each fifth, and in a checkpoint."""
    shop = Small()
    shop.work("r1", 163)
    shop.point()
    bundle = shop.bundle("r1")
    lists = follow(bundle.lists)
    signed = [json.loads(r)["data"] for r in bundle.raw if json.loads(r)["kind"] == "signed"]
    known = {k.key: k.public[12:] for m in lists.current.people for k in m.keys}
    calls = [(base64.b64decode(d["statement"]), base64.b64decode(d["signature"])) for d in signed]
    keys = [known[json.loads(statement)["key"]] for statement, _ in calls]

    def bare():
        for raw in bundle.raw:
            sha256(b"\x01" + raw).hexdigest()
        for key, (statement, signature) in zip(keys, calls, strict=True):
            Ed25519PublicKey.from_public_bytes(key).verify(signature, statement)

    def whole():
        verify_run(bundle.raw, run="r1", head=bundle.head, lists=lists, anchors=bundle.anchors)

    say(f"verification of {len(bundle.raw)} entries, {len(calls)} signed, against bare calls", clocked(whole, 9) / clocked(bare, 9), "<= 1.5")


def memory(folder, say):
    """Peak memory of verifying a store with ten times the entries, against that of the smaller one."""
    peaks = []
    for count in (10_000, 100_000):
        shop = folder / f"m{count}"
        make_shop(shop, DAY.date())
        SqliteStore(shop / "records.db").close()
        with sqlite3.connect(shop / "records.db") as db:
            db.executemany("INSERT INTO entries (run, number, previous, digest, data) VALUES (?, ?, ?, ?, ?)", rows(count))
        db.close()
        tracemalloc.start()
        assert all(not isinstance(w, str) and w.intact for _, w in verify_shop(str(shop), None))
        peaks.append(tracemalloc.get_traced_memory()[1])
        tracemalloc.stop()
    say("memory to verify 100,000 entries, against 10,000", peaks[1] / peaks[0], "about 1")


def rows(count):
    for number in range(count // 200):
        head, run = NOTHING, f"r{number}"
        for n in range(1, 201):
            entry = Entry(run=run, number=n, previous=head, time="2026-11-25T10:00:00Z", actor="P-02", device="d", kind=Kind.NOTED, note="x" * 200)
            raw = entry.to_bytes()
            yield run, n, head, digest_of(raw), raw
            head = digest_of(raw)
