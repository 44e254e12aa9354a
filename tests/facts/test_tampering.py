"""Whatever is done to a signed record up to its last checkpoint is found, by us and by the recipe; nothing crashes."""

import base64
import json
import random
import sqlite3
import subprocess
from dataclasses import replace
from functools import cache
from hashlib import sha256

import pytest

from ohmward.record.bundle import make_bundle
from ohmward.record.checkpoint import read_checkpoint
from ohmward.record.entry import Kind
from ohmward.record.integrity import verify_record_file
from ohmward.record.packed import pack
from ohmward.record.signing import Signed, make_statement
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.whole_shop import verify_shop
from tests.sealed import LINE, Small, edit, entries_of, key_for, put, raw_of, signed_point, went_on


@cache
def long_record() -> str:
    """200 entries, all of them in a checkpoint."""
    shop = Small()
    shop.work("r1", 163)
    shop.open("r2")
    shop.point()
    plain = shop.plain("r1")
    assert len(plain["entries"]) >= 199
    return json.dumps(plain)


@cache
def short_record() -> str:
    """Every kind of entry once or twice, anchored."""
    shop = Small()
    shop.work("r1", 10)
    shop.open("r2")
    shop.sign("r2", "P-01", "supervised")
    shop.point()
    shop.renew("P-02")
    shop.point()
    return json.dumps(shop.plain("r1"))


def data(plain: dict) -> bytes:
    return (json.dumps(plain) + "\n").encode()


def spoiled(plain: dict, operator: str, at: int, *, chain: bool) -> bytes | None:
    """The bundle after an operator; None where it changes nothing."""
    entries = entries_of(plain)
    done = put(plain, LINE[operator](entries, at), chain=chain)
    return None if done["entries"] == plain["entries"] and done["head"] == plain["head"] else data(done)


def test_the_untouched_record_is_intact_and_says_up_to_where():
    found = verify_record_file(long_record().encode())
    assert found.intact
    assert found.words.startswith("intact up to checkpoint 3 of 2026-11-25T")
    assert found.signatures


@pytest.mark.long
@pytest.mark.parametrize("chain", [False, True], ids=["as it is", "linked anew"])
@pytest.mark.parametrize("operator", LINE)
def test_every_operator_at_every_entry_of_a_long_record_is_found(operator, chain):
    plain = json.loads(long_record())
    for at in range(0, len(plain["entries"]), 1 if chain else 7):  # as it is, the first broken link is found anyhow
        made = spoiled(plain, operator, at, chain=chain)
        if made is not None:
            found = verify_record_file(made)
            assert not found.intact, (operator, at, found.words)
            assert found.problem


WHOLE = {
    "no anchors and one entry less": lambda p: put({**p, "anchors": []}, entries_of(p)[:-1], chain=True),
    "head": lambda p: {**p, "head": "0" * 64},
    "another run's id": lambda p: {**p, "run": "r2"},
    "key list rolled back": lambda p: {**p, "keys": p["keys"][:-1]},
    "no keys": lambda p: {**p, "keys": []},
    "another shop's keys": lambda p: {**p, "keys": Small("Another").plain_lists()},
    "key lists swapped": lambda p: {**p, "keys": p["keys"][::-1]},
    "leaf": lambda p: {**p, "anchors": [{**p["anchors"][0], "leaf": pack(base64.b64decode(p["anchors"][0]["leaf"]).replace(b'"r1"', b'"r2"'))}]},
    "index": lambda p: {**p, "anchors": [{**p["anchors"][0], "index": p["anchors"][0]["index"] + 1}]},
    "proof": lambda p: {**p, "anchors": [{**p["anchors"][0], "proof": ["0" * 64, *p["anchors"][0]["proof"][1:]]}]},
    "a shorter proof": lambda p: {**p, "anchors": [{**p["anchors"][0], "proof": p["anchors"][0]["proof"][:-1]}]},
    "a longer proof": lambda p: {**p, "anchors": [{**p["anchors"][0], "proof": [*p["anchors"][0]["proof"], "0" * 64]}]},
    "checkpoint": lambda p: {**p, "anchors": [{**p["anchors"][0], "statement": pack(base64.b64decode(p["anchors"][0]["statement"]).replace(b"P-03", b"P-01"))}]},
    "checkpoint's signature": lambda p: {**p, "anchors": [{**p["anchors"][0], "signatures": [{**p["anchors"][0]["signatures"][0], "signature": pack(b"0" * 64)}]}]},
    "a picture of another digest": lambda p: {**p, "photos": {"0" * 64: pack(b"x")}},
    "a field more": lambda p: {**p, "x": 1},
    "base64 in another form": lambda p: {**p, "entries": [p["entries"][0] + "====", *p["entries"][1:]]},
    "the first format": lambda p: {**p, "format": "ohmward-record-1"},
}


@pytest.mark.parametrize("operator", WHOLE)
def test_what_is_done_to_the_file_as_a_whole_is_found(operator):
    plain = json.loads(short_record())
    assert not verify_record_file(data(WHOLE[operator](plain))).intact or operator.startswith("no anchors")


def test_a_key_that_stands_twice_and_bytes_that_are_not_canonical_are_found():
    text = short_record()
    assert verify_record_file(text.replace('"run": "r1"', '"run": "r1", "run": "r1"').encode()).problem == "not a record: a key stands twice"
    plain = json.loads(text)
    spread = [pack(json.dumps(e, indent=1).encode()) for e in entries_of(plain)]
    assert "not in canonical form" in verify_record_file(data({**plain, "entries": spread})).problem


def test_a_tail_cut_after_the_last_checkpoint_reads_as_not_anchored_and_is_found_with_the_next_one():
    shop, first, plain = went_on()
    found = verify_record_file(data(plain))
    assert "; 3 entries not anchored since 2026-11-25T" in found.words
    cut = data(put(plain, entries_of(plain)[:-3], chain=True))
    assert verify_record_file(cut, held=first).words.startswith("intact up to checkpoint 2 of ")
    last = shop.point()
    assert not verify_record_file(cut, held=last).intact
    assert "expected 13 entries, found 10" in verify_record_file(cut, held=last).problem
    assert verify_record_file(data(plain), held=last).words.startswith(f"intact up to checkpoint 4 of {last_time(last)} that you hold, ")


def last_time(held):
    return json.loads(held.checkpoint.raw)["time"]


def test_an_insider_who_links_and_signs_anew_is_found_by_the_checkpoint_only():
    """P-02 holds a good key and writes another story of the whole run."""
    shop, other = Small(), Small()
    for one, said in ((shop, "the true story"), (other, "another story")):
        one.open("r1")
        one.entry("r1", Kind.NOTED, said=said)
        one.sign("r1", "P-02", "performed")
    held = shop.point()
    plain = other.plain("r1")
    assert verify_record_file(data(plain)).intact  # nothing in it speaks against it
    assert not verify_record_file(data(plain), held=held).intact
    forged = {**plain, "anchors": shop.plain("r1")["anchors"]}
    assert "expected head" in verify_record_file(data(forged)).problem


def resigned(shop: Small, meaning: str, person: str, **more) -> str:
    shop.sign("r1", person, meaning, **more)
    return verify_record_file(data(shop.plain("r1"))).problem


def small() -> Small:
    shop = Small()
    shop.open("r1")
    shop.entry("r1", Kind.BEGUN)
    return shop


def test_a_signature_is_held_against_key_list_role_and_work():
    shop = small()
    old = shop.desk.keys
    shop.renew("P-02")
    assert "does not hold for P-02" in resigned(shop, "performed", "P-02", keys=shop.desk.keys)
    shop = small()
    shop.revoke("P-01")
    assert "when key list 2 of 2026-11-25T08:04:00Z stood already" in resigned(shop, "supervised", "P-01", keys=old)
    shop = small()
    old, time = shop.desk.keys, shop.desk.now()
    shop.revoke("P-01")
    assert "with a key or role that ended in key list 2" in resigned(shop, "supervised", "P-01", keys=old, time=time)
    shop = small()
    assert resigned(shop, "supervised", "P-02") == "broken at entry 3: Tomas Reyl is apprentice: 'supervised' is signed by qualified person, supervisor"
    shop = small()
    shop.entry("r1", Kind.BEGUN, "P-01")
    assert "nobody signs 'supervised' under their own work: Ida Brandl (P-01) has a part in it already" in resigned(shop, "supervised", "P-01")
    shop = small()
    shop.sign("r1", "P-03", "supervised")
    assert "under their own work" in resigned(shop, "reviewed", "P-03")
    shop = small()
    assert "before its key list" in resigned(shop, "performed", "P-02", time="2020-01-01T00:00:00Z")


def test_what_a_revoked_key_signed_counts_where_a_checkpoint_from_before_holds_it():
    shop = small()
    shop.sign("r1", "P-02", "performed")
    before = data(shop.plain("r1"))
    shop.point()
    shop.revoke("P-02")
    assert verify_record_file(data(shop.plain("r1"))).intact
    late = small()
    late.sign("r1", "P-02", "performed")
    late.revoke("P-02")
    late.point()
    assert "with a key or role that ended in key list 2, and no checkpoint from before holds it" in verify_record_file(data(late.plain("r1"))).problem
    assert verify_record_file(before).intact


def test_anchored_entries_cannot_be_cut_off_under_a_checkpoint_that_counts_more():
    """The run stood at 3, then at 5 entries; both stand in the same log."""
    shop = small()
    shop.entry("r1", Kind.NOTED)
    shop.point()
    early = shop.plain("r1")
    shop.entry("r1", Kind.NOTED)
    shop.entry("r1", Kind.NOTED)
    held = shop.point()
    assert verify_record_file(data(early)).intact
    assert "expected 5 entries, found 3" in verify_record_file(data(early), held=held).problem


def test_another_history_under_a_second_leaf_is_found_by_the_leaves_of_the_checkpoint():
    """The owner rewrites the run after a checkpoint and has the next one count the new story too."""
    shop, other = small(), small()
    shop.point()
    other.entry("r1", Kind.NOTED, said="another story")
    shop.store.raw["r1"] = other.store.raw["r1"][:1] + other.store.raw["r1"][1:]
    shop.store.raw["r1"] = [*shop.store.raw["r1"][:-1], other.store.raw["r1"][-1]]
    rewritten = entries_of({"entries": [pack(r) for r in shop.store.raw["r1"]]})
    made = put({"head": ""}, edit("said", lambda _: "never happened")(rewritten, 1), chain=True)
    shop.store.raw["r1"] = [base64.b64decode(e) for e in made["entries"]]
    held = shop.point()
    plain = shop.plain("r1")
    assert not verify_record_file(data(plain)).intact
    alone = {**plain, "anchors": plain["anchors"][-1:]}
    assert verify_record_file(data(alone)).intact  # by itself it is whole
    assert "expected head" in verify_record_file(data(alone), held=held).problem


def test_a_list_of_keys_that_is_left_out_is_brought_by_the_checkpoint_that_is_held():
    shop = small()
    old = shop.desk.keys
    shop.revoke("P-02")
    shop.sign("r1", "P-02", "performed", keys=old, time="2026-11-25T08:03:00Z")
    held = shop.point()
    plain = {**shop.plain("r1"), "anchors": []}
    without = {**plain, "keys": plain["keys"][:1]}
    assert verify_record_file(data(without)).intact
    assert "with a key or role that ended in key list 2" in verify_record_file(data(without), held=held).problem
    broken = {**plain, "keys": [plain["keys"][0], {**plain["keys"][1], "signatures": plain["keys"][0]["signatures"]}]}
    assert "do not go together: key list 2: " in verify_record_file(data(broken), held=held).problem
    fork = Small()
    fork.renew("P-03")
    forked = {**without, "keys": fork.plain_lists()}
    assert "the lists differ within the first 2 versions" in verify_record_file(data(forked), held=held).problem


def test_whoever_was_given_another_role_does_not_go_on_under_the_old_list():
    shop = small()
    old = shop.desk.keys
    shop.change_role("P-03", "apprentice")
    assert "when key list 2 of" in resigned(shop, "reviewed", "P-03", keys=old)
    shop = small()
    old, time = shop.desk.keys, shop.desk.now()
    shop.change_role("P-03", "apprentice")
    assert "with a key or role that ended in key list 2" in resigned(shop, "reviewed", "P-03", keys=old, time=time)
    shop = small()
    shop.sign("r1", "P-02", "performed")
    shop.change_role("P-02", "qualified-person")
    assert verify_record_file(data(shop.plain("r1"))).intact  # may still sign that


def test_who_signed_deeds_as_their_own_has_a_part_in_them():
    shop = small()
    shop.sign("r1", "P-01", "performed")
    assert "nobody signs 'supervised' under their own work" in resigned(shop, "supervised", "P-01")


def test_a_picture_that_no_entry_names_is_found():
    shop = small()
    digest = sha256(b"picture").hexdigest()
    assert "a picture that no entry names" in verify_record_file(data(shop.plain("r1", photos={digest: b"picture"}))).problem
    shop.entry("r1", Kind.ANSWERED, said=f"sha256:{digest} board.jpg")
    assert verify_record_file(data(shop.plain("r1", photos={digest: b"picture"}))).intact


def test_a_signature_of_another_run_or_place_is_found():
    shop = small()
    shop.sign("r1", "P-02", "performed")
    shop.open("r2")
    shop.entry("r2", Kind.BEGUN)
    shop.sign("r2", "P-02", "performed")
    one, two = shop.plain("r1"), shop.plain("r2")
    entries = entries_of(one)
    stolen = put(one, [*entries[:-1], {**entries_of(two)[-1], "run": "r1"}], chain=True)
    assert "expected a signature over 2 entries" in verify_record_file(data(stolen)).problem
    moved = put(one, [entries[0], entries[2], entries[1]], chain=True)
    assert "expected a signature over 1 entries" in verify_record_file(data(moved)).problem
    swapped = put(one, edit("actor", lambda _: "P-01")(entries, 2), chain=True)
    assert "expected P-01 'performed', found P-02 'performed'" in verify_record_file(data(swapped)).problem


# -- single bits ------------------------------------------------------------------------------------------


@pytest.mark.long
def test_every_single_bit_of_a_bundle_is_found_or_changes_nothing():
    shop = Small()
    shop.open("r1", people={})
    shop.sign("r1", "P-02", "performed")
    shop.point()
    whole = make_bundle(shop.bundle("r1"))
    value = json.loads(whole)
    for bit in range(len(whole) * 8):
        made = bytearray(whole)
        made[bit // 8] ^= 1 << bit % 8
        found = verify_record_file(bytes(made))
        if found.intact:  # blanks between fields, or letters of a name of an escape
            assert json.loads(made) == value, bit


@pytest.mark.long
def test_bits_of_a_store_are_found_or_change_nothing(tmp_path):
    path = tmp_path / "records.db"
    store = SqliteStore(path)
    shop = Small(store=store)
    shop.work("r1", 20)
    shop.point()
    store.close()
    whole = path.read_bytes()
    content = contents(path)
    chance = random.Random(11)
    for bit in chance.sample(range(len(whole) * 8), 4000):
        made = bytearray(whole)
        made[bit // 8] ^= 1 << bit % 8
        path.write_bytes(bytes(made))
        if not faults(path):
            assert contents(path) == content, bit


def faults(path):
    try:
        store = SqliteStore(path, verify=False)
    except Exception as error:  # noqa: BLE001  whatever it is, it was said
        return [str(error)]
    try:
        return list(store.faults())
    finally:
        store.close()


def contents(path):
    with sqlite3.connect(path) as db:
        rows = db.execute("SELECT run, number, previous, digest, data FROM entries ORDER BY run, number").fetchall()
    db.close()
    return rows


# -- a whole shop -----------------------------------------------------------------------------------------


@pytest.fixture
def shop_folder(tmp_path):
    from tests.facts.shopping import DAY, make_shop

    folder = tmp_path / "s"
    make_shop(folder, DAY.date())
    store = SqliteStore(folder / "records.db")
    shop = Small(store=store)
    for run in ("r1", "r2", "r3"):
        shop.work(run, 6)
    return folder, shop, store


def said(folder, held=None):
    return [f"{name}: {w if isinstance(w, str) else w.words}" for name, w in verify_shop(str(folder), held)]


def without_guards(path, *statements):
    with sqlite3.connect(path) as db:
        guards = db.execute("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'").fetchall()
        for name, _ in guards:
            db.execute(f"DROP TRIGGER {name}")
        for statement in statements:
            db.execute(statement)
        for _, sql in guards:
            db.execute(sql)
    db.close()


def test_a_record_that_is_missing_shows_as_a_changed_one_does(shop_folder):
    folder, shop, store = shop_folder
    held = shop.point()
    store.close()
    assert all(": intact up to checkpoint 4" in line or "agrees" in line for line in said(folder, held))
    without_guards(folder / "records.db", "DELETE FROM entries WHERE run = 'r2'")
    assert any("run r2: a checkpoint holds 11 entries of it, and they are not here" in line for line in said(folder))


def test_a_folder_that_was_set_back_is_found_with_a_checkpoint_from_outside(shop_folder):
    folder, shop, store = shop_folder
    shop.point()
    store.close()
    old = (folder / "records.db").read_bytes()
    store = SqliteStore(folder / "records.db")
    shop.store = shop.desk.store = store
    shop.work("r4", 3)
    held = shop.point()
    store.close()
    (folder / "records.db").write_bytes(old)
    assert not any("broken" in line for line in said(folder))
    assert "does not agree: checkpoint 6 of" in said(folder, held)[-1]
    assert "this folder was set back, or is a copy that was left behind" in said(folder, held)[-1]


def test_a_copy_that_went_on_by_itself_is_found_at_the_first_meeting(shop_folder, tmp_path):
    folder, shop, store = shop_folder
    shop.point()
    copy = tmp_path / "copy"
    store.close()
    subprocess.run(["cp", "-r", str(folder), str(copy)], check=True)
    files = []
    for place, word in ((folder, "here"), (copy, "there")):
        store = SqliteStore(place / "records.db")
        shop.store = shop.desk.store = store
        shop.open(f"r-{word}")
        files.append(shop.point())
        store.close()
    assert "two histories: the first 6 standings have root" in said(folder, files[1])[-1]
    assert "two histories" in said(copy, files[0])[-1]
    assert said(folder, files[0])[-1].startswith("checkpoint: agrees")


@pytest.mark.parametrize("row", range(8))
@pytest.mark.parametrize("change", ["number = number + 100", "previous = 'x'", "digest = previous", "data = X'7b7d'", "run = 'r9'", "data = substr(data, 2)"])
def test_every_column_of_every_row_is_held_against_its_bytes(shop_folder, row, change):
    folder, shop, store = shop_folder
    shop.point()
    store.close()
    where = f"WHERE place = (SELECT place FROM entries ORDER BY place LIMIT 1 OFFSET {row * 4})"
    without_guards(folder / "records.db", f"UPDATE entries SET {change} {where}")
    assert any("broken" in line or "differ" in line or "no entry" in line or "not here" in line for line in said(folder))


def test_a_guard_that_is_missing_is_said(shop_folder):
    folder, _, store = shop_folder
    store.close()
    with sqlite3.connect(folder / "records.db") as db:
        db.execute("DROP TRIGGER no_update")
    db.close()
    assert "the guard 'no_update' against changes is missing" in said(folder)[0]


# -- every refusal of a signature and of a checkpoint, one by one ------------------------------------------


def signed_as(shop: Small, person: str, meaning: str = "performed", *, signature: bytes | None = None, data: dict | None = None, **change) -> str:
    """What is said of a signature whose statement says something else, signed by the person's own good key."""
    number, head = shop.store.heads()["r1"]
    time = shop.desk.now()
    made = make_statement(run="r1", entries=number, head=head, person=person, meaning=meaning, time=time, keys=shop.desk.keys)._replace(**change)
    raw = made.to_bytes()
    whole = Signed(statement=raw, signature=signature or key_for(person).sign(raw)).plain()
    shop.entry("r1", Kind.SIGNED, person, said=meaning, data=whole if data is None else data, time=time)
    return verify_record_file(data_of(shop)).problem


def data_of(shop: Small) -> bytes:
    return data(shop.plain("r1"))


def test_a_signature_whose_statement_says_something_else_is_told_in_words():
    assert signed_as(small(), "P-02", signature=b"0" * 64) == "broken at entry 3: the signature of Tomas Reyl (P-02) does not hold"
    assert signed_as(small(), "P-02", signature=key_for("P-01").sign(b"x")) == "broken at entry 3: the signature of Tomas Reyl (P-02) does not hold"
    assert "P-02 is Tomas Reyl, apprentice in key list 1, not Tomas Reyl, supervisor" in signed_as(small(), "P-02", role="supervisor")
    assert "in key list 1, not Somebody Else, apprentice" in signed_as(small(), "P-02", name="Somebody Else")
    assert "signed under key list 7" in signed_as(small(), "P-02", list_version=7)
    assert "which is not among the 1 here" in signed_as(small(), "P-02", list_digest="0" * 64)
    assert "does not hold for P-02 in key list 1" in signed_as(small(), "P-02", key=key_for("P-01").key)
    assert "expected the time" in signed_as(small(), "P-02", time="2026-11-25T08:59:00Z")
    shop = Small()
    shop.open("r1", people={"P-02": {"name": "Tomas Reyl", "role": "qualified-person"}})
    assert "the first entry has P-02 as Tomas Reyl, qualified-person, the list of keys as Tomas Reyl, apprentice" in signed_as(shop, "P-02")


@pytest.mark.parametrize("bad", [{}, {"statement": "", "signature": ""}, {"statement": "!", "signature": ""}, {"statement": pack(b"{}"), "signature": ""}, {"statement": pack(b"[]"), "signature": ""}, {"statement": 1, "signature": 2}])
def test_a_signature_that_cannot_be_read_is_told_in_words(bad):
    assert signed_as(small(), "P-02", data=bad).startswith("broken at entry 3: its signature cannot be read: ")


def test_a_statement_with_a_field_of_another_kind_cannot_be_read():
    made = json.loads(make_statement(run="r1", entries=2, head="0" * 64, person="P-02", meaning="performed", time="t", keys=Small().desk.keys).to_bytes())
    for change in ({"entries": "2"}, {"entries": True}, {"name": 1}):
        raw = raw_of({**made, **change})
        assert "a field is of the wrong kind" in signed_as(small(), "P-02", data={"statement": pack(raw), "signature": pack(b"0" * 64)})


def test_nobody_signs_without_a_key_in_the_list():
    with pytest.raises(LookupError):
        make_statement(run="r1", entries=1, head="0" * 64, person="P-09", meaning="performed", time="t", keys=Small().desk.keys)


def pointed(shop: Small, person: str = "P-03", *, signers: tuple[str, ...] = (), **change) -> str:
    """What is said of a checkpoint that says something else, signed by its maker's own good key."""
    held = shop.point("P-03")
    made = read_checkpoint(held.checkpoint.raw)
    member = shop.desk.keys.of(person)
    raw = replace(made, person=person, name=member.name, role=member.role, key=key_for(person).key, **change).to_bytes()
    signed = signed_point(raw, *(signers or (person,)))
    plain = shop.plain("r1")
    anchor = {**plain["anchors"][0], **signed.plain()}
    return verify_record_file(data({**plain, "anchors": [anchor]})).problem


def test_every_refusal_of_a_checkpoint_is_told_in_words():
    assert "Tomas Reyl may not make one" in pointed(small(), "P-02")
    assert pointed(small(), "P-01") == ""
    assert "its first signature is not its maker's" in pointed(small(), "P-03", signers=("P-01", "P-03"))
    assert "Ida Brandl may not countersign" in pointed(small(), "P-03", signers=("P-03", "P-01"))
    assert "the key 0000" not in pointed(small(), "P-03", signers=("P-03", "P-04"))
    assert "does not hold the leaf that is given" in pointed(small(), root="0" * 64)
    assert "the checkpoint cannot be read" in pointed(small(), size=0)
    assert "the checkpoint cannot be read" in pointed(small(), root="zz")


def test_a_leaf_that_cannot_be_read_or_is_of_no_entries_is_told():
    shop = small()
    shop.point()
    plain = shop.plain("r1")
    for leaf in (b"{}", b"[]", raw_of({"format": "ohmward-leaf-1", "run": 1, "entries": 1, "head": "0" * 64})):
        assert "its leaf cannot be read" in verify_record_file(data({**plain, "anchors": [{**plain["anchors"][0], "leaf": pack(leaf)}]})).problem
    for change in ({"index": -1}, {"index": "0"}, {"proof": [1]}, {"statement": 1}, {"x": 1}):
        assert verify_record_file(data({**plain, "anchors": [{**plain["anchors"][0], **change}]})).problem.startswith("not a record: ")
