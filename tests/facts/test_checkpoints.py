"""The tree of RFC 9162, checkpoints made, countersigned, met again; a token of a time-stamping authority."""

import contextlib
import json
import subprocess
from dataclasses import replace
from hashlib import sha256

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import DONE, NO, WRONG, RefusedError, UsageError
from ohmward.record.checkpoint import (
    SignedCheckpoint,
    read_checkpoint,
    read_checkpoint_file,
    verify_checkpoint,
)
from ohmward.record.diary import anchors_for, read_diary
from ohmward.record.entry import Kind, read_entry
from ohmward.record.integrity import verify_parts
from ohmward.record.merkle import EMPTY, consistency, extends, includes, inclusion, root_of
from ohmward.shop.seal import new_seal
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.main import main
from ohmward.terminal.stamping import stamped_words
from ohmward.work.checkpoints import countersign, file_of, make_checkpoint, meet
from tests.facts.shopping import DAY, desk_in, enrolled, key_of, make_shop, words_file
from tests.sealed import Small, key_for

# Inputs and roots of the Certificate Transparency test vectors (from memory; that they fit the definition is shown here).
LEAVES = [bytes.fromhex(h) for h in ("", "00", "10", "2021", "3031", "40414243", "5051525354555657", "606162636465666768696a6b6c6d6e6f")]
ROOTS = [
    "6e340b9cffb37a989ca544e6bb780a2c78901d3fb33738768511a30617afa01d",
    "fac54203e7cc696cf0dfcb42c92a1d9dbaf70ad9e621f4bd8d98662f00e3c125",
    "aeb6bcfe274b70a14fb067a5e5578264db0fa9b51af5e0ba159158f329e06e77",
    "d37ee418976dd95753c1c73862b9398fa2a2cf9b4ff0fdfe8b30cd95209614b7",
    "4e3bbb1f7b478dcfe71fb631631519a3bca12c9aefca1612bfce4c13a86264d4",
    "76e67dadbcdf1e10e1b74ddc608abd2f98dfb16fbce75277b5232a127f2087ef",
    "ddb89be403809e325750d3d263cd78929c2942b7942a34b77e122c9594a74c8c",
    "5dc9da79a70659a9ad559cb701ded9a2ab9d823aad2f4960cfe370eff4604328",
]


@pytest.mark.parametrize("size", range(1, 9))
def test_roots_are_those_of_the_published_vectors(size):
    assert root_of(LEAVES[:size]) == ROOTS[size - 1]
    assert root_of([]) == EMPTY == sha256(b"").hexdigest()


def slow_root(leaves):
    """The definition of RFC 9162, 2.1.1, written out by pairing upwards: full trees side by side, then joined from the right."""
    level = [sha256(b"\x00" + d).digest() for d in leaves]
    peaks = []
    while level:
        size = 1
        while size * 2 <= len(level):
            size *= 2
        whole, level = level[:size], level[size:]
        while len(whole) > 1:
            whole = [sha256(b"\x01" + a + b).digest() for a, b in zip(whole[::2], whole[1::2], strict=True)]
        peaks.append(whole[0])
    while len(peaks) > 1:
        peaks[-2:] = [sha256(b"\x01" + peaks[-2] + peaks[-1]).digest()]
    return peaks[0].hex()


@pytest.mark.parametrize("size", [1, 2, 3, 5, 7, 8, 13, 31, 32, 33])
def test_every_inclusion_and_consistency_proof_holds_and_no_other(size):
    leaves = [f"leaf {n}".encode() for n in range(size)]
    root = root_of(leaves)
    assert root == slow_root(leaves)
    for index in range(size):
        proof = inclusion(leaves, index)
        assert includes(leaves[index], index, size, proof, root)
        assert not includes(b"another", index, size, proof, root)
        assert not includes(leaves[index], (index + 1) % size, size, proof, root) or size == 1
        assert not includes(leaves[index], index, size, (*proof, "0" * 64), root)
        assert not proof or not includes(leaves[index], index, size, proof[:-1], root)
    for earlier in range(1, size + 1):
        old, proof = root_of(leaves[:earlier]), consistency(leaves, earlier)
        assert extends(earlier, old, size, root, proof)
        assert not extends(earlier, "0" * 64, size, root, proof)
        assert not extends(earlier, old, size, "0" * 64, proof)
        assert earlier == size or not extends(earlier, old, size, root, [*proof, root])
        assert not extends(earlier, old, size, root, (*proof, "0" * 64))
        assert not proof or not extends(earlier, old, size, root, proof[:-1])


@given(st.lists(st.binary(max_size=8), min_size=1, max_size=40), st.data())
def test_a_tree_over_other_leaves_is_no_longer_the_same(leaves, data):
    index = data.draw(st.integers(0, len(leaves) - 1))
    other = [*leaves[:index], leaves[index] + b"x", *leaves[index + 1 :]]
    assert root_of(other) != root_of(leaves)
    assert root_of(leaves) == slow_root(leaves)
    assert not includes(other[index], index, len(leaves), inclusion(leaves, index), root_of(leaves))


def test_what_is_outside_a_tree_has_no_proof():
    with pytest.raises(IndexError):
        inclusion([b"a"], 1)
    with pytest.raises(IndexError):
        consistency([b"a"], 2)
    assert not includes(b"a", 1, 1, (), root_of([b"a"]))
    assert not includes(b"a", 0, 1, ("0" * 64,) * 64, root_of([b"a"]))
    assert not extends(0, EMPTY, 1, root_of([b"a"]), ())
    assert not extends(2, "0" * 64, 3, "0" * 64, ())


# -- checkpoints ------------------------------------------------------------------------------------------


def test_each_checkpoint_goes_on_from_the_one_before_and_says_so_to_whoever_holds_that():
    shop = Small()
    shop.work("r1", 3)
    first = shop.point()
    shop.work("r2", 3)
    second = shop.point("P-01")
    one, two = read_checkpoint(first.checkpoint.raw), read_checkpoint(second.checkpoint.raw)
    assert (second.earlier, second.earlier_root, two.previous) == (one.size, one.root, one.digest)
    assert extends(one.size, one.root, two.size, two.root, second.consistency)
    again = read_checkpoint_file(second.to_bytes())
    assert again == second
    assert [meet(shop.desk.diary, f).problem for f in (first, second)] == ["", ""]
    assert "of another shop" in meet(Small("Another").desk.diary, first).problem


def test_who_may_make_and_countersign_a_checkpoint():
    shop = Small()
    shop.open("r1")
    with pytest.raises(RefusedError, match="is apprentice: this is for qualified person, supervisor, safety officer"):
        make_checkpoint(shop.desk, key_for("P-02"))
    first = shop.point()
    with pytest.raises(RefusedError, match="has signed it already"):
        countersign(shop.desk, key_for("P-03"), first)
    with pytest.raises(RefusedError, match="this is for supervisor, safety officer"):
        countersign(shop.desk, key_for("P-01"), first)
    both = countersign(shop.desk, key_for("P-04"), first)
    assert len(both.checkpoint.signatures) == 2
    assert verify_checkpoint(both.checkpoint, shop.desk.diary.lists)[1] == ""
    assert verify_parts(shop.bundle("r1")).words.startswith("intact up to checkpoint 2 of")
    shop.point()
    with pytest.raises(RefusedError, match="not the newest checkpoint"):
        countersign(shop.desk, key_for("P-04"), first)


def test_a_checkpoint_whose_makers_key_was_revoked_vouches_for_nothing_any_more():
    shop = Small()
    shop.open("r1")
    shop.entry("r1", Kind.NOTED)
    shop.point("P-01")
    shop.revoke("P-01")
    assert "by Ida Brandl (P-01) with a key or role that ended" not in verify_parts(shop.bundle("r1")).problem
    assert "none of them anchored" in verify_parts(shop.bundle("r1")).words
    shop.point("P-03")
    assert verify_parts(shop.bundle("r1")).words.startswith("intact up to checkpoint 3 of")


@pytest.mark.parametrize(
    ("change", "why"),
    [
        ({"size": 9}, "does not hold"),
        ({"root": "0" * 64}, "does not hold"),
        ({"origin": "0" * 64}, "another list of keys"),
        ({"list_version": 2}, "another list of keys"),
        ({"name": "Somebody"}, "no such key"),
        ({"role": "safety-officer"}, "no such key"),
    ],
)
def test_a_changed_checkpoint_is_found(change, why):
    shop = Small()
    shop.open("r1")
    signed = shop.point().checkpoint
    other = replace(read_checkpoint(signed.raw), **change).to_bytes()
    assert why in verify_checkpoint(SignedCheckpoint(raw=other, signatures=signed.signatures), shop.desk.diary.lists)[1]


@pytest.mark.parametrize("change", [{"format": "x"}, {"statement": "!"}, {"signatures": []}, {"signatures": [1]}, {"keys": 1}, {"earlier": -1}, {"consistency": ["x"]}, {"token": "x"}, {"leaves": 1}, {"leaves": [1]}, {"x": 1}, {"earlier_root": 1}])
def test_a_file_that_is_no_checkpoint_is_said(change):
    shop = Small()
    shop.open("r1")
    plain = json.loads(shop.point().to_bytes())
    with pytest.raises(ValueError, match=r"\w"):
        read_checkpoint_file(json.dumps({**plain, **change}).encode())


def test_a_countersignature_by_a_key_that_holds_keeps_a_checkpoint_alive():
    shop = Small()
    shop.open("r1")
    countersign(shop.desk, key_for("P-03"), shop.point("P-01"))
    shop.revoke("P-01")
    assert verify_parts(shop.bundle("r1")).words.startswith("intact up to checkpoint 2 of")


def test_a_checkpoint_file_whose_leaves_are_others_says_so():
    shop = Small()
    shop.work("r1", 3)
    held = shop.point()
    bundle = shop.bundle("r1")
    assert verify_parts(bundle, held=held).intact
    assert "does not count the leaves beside it" in verify_parts(bundle, held=replace(held, leaves=held.leaves[:-1])).problem
    shop.open("r2")
    assert "does not count this record" in verify_parts(shop.bundle("r2"), held=held).problem
    other = Small("Another")
    other.work("r1", 3)
    assert "of another shop" in verify_parts(other.bundle("r1"), held=held).problem
    bad = replace(held, checkpoint=SignedCheckpoint(raw=b"{}", signatures=held.checkpoint.signatures))
    assert "the checkpoint that you hold: the checkpoint cannot be read" in verify_parts(bundle, held=bad).problem


def test_a_diary_whose_checkpoint_counts_otherwise_is_broken():
    shop = Small()
    shop.open("r1")
    shop.point()
    raw = list(shop.store.fetch("diary"))
    entries = [json.loads(r) for r in raw]
    entries[-1]["data"]["leaves"] = entries[-1]["data"]["leaves"][:-1]


    spoiled = [read_entry(json.dumps(e, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()) for e in entries]
    diary = read_diary((e, "0" * 64) for e in spoiled)
    assert diary.problem.startswith("broken at entry 2: expected a checkpoint of 1 leaves")
    for data in ({}, {"leaves": ["!"]}, {"list": 1}):
        bad = spoiled[0]._replace(data=data)
        assert read_diary([(bad, "0" * 64)]).problem.startswith("broken at entry 1")


def test_a_bundle_carries_the_first_checkpoint_of_each_standing_and_the_newest_ones():
    shop = Small()
    shop.work("r1", 2)
    for number in range(25):
        shop.point()
        if number == 3:
            shop.entry("r1", Kind.NOTED, note="later")
    anchors = anchors_for(shop.desk.diary, "r1")
    assert len(anchors) == 22
    assert verify_parts(shop.bundle("r1")).intact


# -- the doors --------------------------------------------------------------------------------------------


def say(capsys, shop, *arguments):
    code = main([*arguments, "--shop", str(shop)])
    got = capsys.readouterr()
    return code, got.out, got.err


def test_a_checkpoint_leaves_the_device_is_countersigned_and_held_against_the_shop(tmp_path, capsys):
    shop, words = tmp_path / "s", ("--passphrases", str(words_file(tmp_path)))
    make_shop(shop, DAY.date())
    enrolled(shop)
    point, both = str(tmp_path / "c.json"), str(tmp_path / "b.json")
    code, out, _ = say(capsys, shop, "checkpoint", "-o", point, "--as", "P-01", *words)
    assert (code, "checkpoint 1 of" in out) == (DONE, True)
    code, out, _ = say(capsys, shop, "checkpoint", "--countersign", point, "-o", both, "--as", "P-03", *words)
    assert (code, "Signatures: 2" in out) == (DONE, True)
    assert say(capsys, shop, "checkpoint", "-o", point, "--as", "P-02", *words)[0] == NO
    code, out, _ = say(capsys, shop, "verify", "--checkpoint", both)
    assert (code, "agrees: this folder goes on from checkpoint 1" in out) == (DONE, True)
    (tmp_path / "bad.json").write_text("{}")
    assert say(capsys, shop, "verify", "--checkpoint", str(tmp_path / "bad.json"))[0] == WRONG
    assert say(capsys, shop, "checkpoint", "--countersign", str(tmp_path / "bad.json"), "-o", both, "--as", "P-03", *words)[0] == WRONG
    with contextlib.closing(SqliteStore(shop / "records.db")) as store:
        diary = desk_in(shop, store).diary
        assert file_of(diary, 0).checkpoint.signatures[0][0] == key_of("P-01")[1].key


def openssl(*arguments, cwd):
    subprocess.run(["openssl", *arguments], cwd=cwd, check=True, capture_output=True)


TSA = """
[ tsa ]
default_tsa = one
[ one ]
serial = ./serial
signer_digest = sha256
default_policy = 1.2.3.4.1
digests = sha256
[ root ]
basicConstraints = critical, CA:true
keyUsage = critical, keyCertSign
[ leaf ]
extendedKeyUsage = critical, timeStamping
"""


@pytest.fixture
def authority(tmp_path):
    """A time-stamping authority of our own, on openssl."""
    folder = tmp_path / "tsa"
    folder.mkdir()
    (folder / "c.cnf").write_text(TSA)
    (folder / "serial").write_text("01")
    for name in ("root", "leaf"):
        openssl("genpkey", "-algorithm", "EC", "-pkeyopt", "ec_paramgen_curve:P-256", "-out", f"{name}.key", cwd=folder)
        openssl("req", "-new", "-key", f"{name}.key", "-subj", f"/CN={name}", "-out", f"{name}.csr", cwd=folder)
    openssl("x509", "-req", "-in", "root.csr", "-signkey", "root.key", "-days", "9", "-extfile", "c.cnf", "-extensions", "root", "-out", "root.pem", cwd=folder)
    openssl("x509", "-req", "-in", "leaf.csr", "-CA", "root.pem", "-CAkey", "root.key", "-CAcreateserial", "-days", "9", "-extfile", "c.cnf", "-extensions", "leaf", "-out", "leaf.pem", cwd=folder)
    return folder


def test_a_time_stamping_authority_is_asked_and_its_reply_kept_and_verified(tmp_path, authority, capsys):
    """Source: RFC 3161; the authority is `openssl ts`."""
    shop = Small()
    shop.open("r1")
    point, other = tmp_path / "c.json", tmp_path / "o.json"
    point.write_bytes(shop.point().to_bytes())
    other.write_bytes(shop.point().to_bytes())
    stamped, query, reply = tmp_path / "s.json", tmp_path / "q.tsq", tmp_path / "r.tsr"
    assert say(capsys, tmp_path, "checkpoint", "--query", str(point), "-o", str(query))[0] == DONE
    openssl("ts", "-reply", "-config", "c.cnf", "-queryfile", str(query), "-signer", "leaf.pem", "-inkey", "leaf.key", "-out", str(reply), cwd=authority)
    assert say(capsys, tmp_path, "checkpoint", "--token", str(point), str(reply), "-o", str(stamped))[0] == DONE
    code, _, err = say(capsys, tmp_path, "checkpoint", "--token", str(other), str(reply), "-o", str(stamped))
    assert (code, "the time-stamp is about something else" in err) == (NO, True)
    code, _, err = say(capsys, tmp_path, "checkpoint", "--token", str(point), str(query), "-o", str(stamped))
    assert (code, "none of a time-stamping authority" in err) == (NO, True)
    held = read_checkpoint_file(stamped.read_bytes())
    assert "existed at 20" in stamped_words(held, authority / "root.pem")
    with pytest.raises(RefusedError, match="time-stamp"):
        stamped_words(held, enrolled_elsewhere(tmp_path))
    with pytest.raises(UsageError, match="no certificate"):
        stamped_words(held, query)
    spoiled = bytearray(held.token)
    spoiled[-5] ^= 1
    with pytest.raises(RefusedError, match="hold"):
        stamped_words(replace(held, token=bytes(spoiled)), authority / "root.pem")


def enrolled_elsewhere(folder):
    """A certificate that has nothing to do with the authority."""
    seal = new_seal("other", DAY)
    path = folder / "other.pem"
    path.write_bytes(seal.authority_certificate)
    return path
