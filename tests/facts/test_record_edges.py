"""What a record, a list of keys, a checkpoint or a diary must not be, each told in its own words."""

from types import SimpleNamespace

import pytest

from ohmward.record.bundle import FIRST, read_bundle
from ohmward.record.canonical import NotCanonicalError, canonical, read_canonical
from ohmward.record.checkpoint import LEAF, read_leaf, read_signed_checkpoint, unlike_leaf, verify_checkpoint
from ohmward.record.diary import faults_of, read_diary
from ohmward.record.ed25519 import PREFIX, holds
from ohmward.record.entering import without_key
from ohmward.record.entry import Kind, read_entry
from ohmward.record.keylist import read_signatures
from ohmward.record.packed import pack, read_json, write_json
from ohmward.record.versions import changed
from tests.sealed import Small, key_for


@pytest.fixture
def small():
    made = Small()
    made.work("r1", 12)
    made.point()
    return made


def test_a_file_of_the_first_format_has_neither_signatures_nor_keys():
    plain = {"format": FIRST, "run": "r1", "head": "0" * 64, "entries": [], "signatures": [{}], "keys": []}
    with pytest.raises(ValueError, match=f"the format {FIRST} has no signatures and no keys"):
        read_bundle(write_json(plain))


class Count(int):
    """A whole number of a kind of its own."""


class Word(str):
    __slots__ = ()


def test_kinds_derived_from_the_plain_ones_are_written_as_those_and_held_to_the_same_bounds():
    mixed = {"a": [None, True, Word("x"), Count(3), ({"b": Word("y")}, ())]}
    assert canonical(mixed) == b'{"a":[null,true,"x",3,[{"b":"y"},[]]]}'
    for value in ({"a": Count(2**53)}, {"a": [Word("x"), 1.5]}, {Word("é"): Count(1)}):
        with pytest.raises(NotCanonicalError):
            canonical(value)


def test_what_stands_in_a_record_twice_is_written_twice():
    part = [["x", ["y"]], {"z": 1}]
    assert canonical({"a": [part, part], "b": part}) == canonical({"a": [list(part), list(part)], "b": list(part)})
    part.append(part)
    with pytest.raises(NotCanonicalError, match="more than 64 levels"):
        canonical(part)


def test_canonical_bytes_with_a_key_that_is_not_ascii_are_told_by_the_key():
    with pytest.raises(NotCanonicalError, match="the key 'é' is not ASCII text"):
        read_canonical('{"é":1}'.encode())


def test_a_number_that_equals_itself_and_not_its_own_text_has_no_canonical_form():
    assert canonical({"a": (1, 2)}) == b'{"a":[1,2]}'
    for value in ({"a": 1.0}, {1: "a"}, {"é": 1}, {"a": {2, 3}}, 2**53):
        with pytest.raises(NotCanonicalError):
            canonical(value)


def test_a_leaf_whose_head_is_no_digest_is_none():
    with pytest.raises(NotCanonicalError, match="a field of a leaf is of the wrong kind"):
        read_leaf(canonical({"format": LEAF, "run": "r1", "entries": 3, "head": "zz"}))


@pytest.mark.parametrize("value", [None, [], {"statement": "x"}, {"statement": "x", "signatures": [], "more": 1}])
def test_a_checkpoint_without_its_two_parts_is_none(value):
    with pytest.raises(ValueError, match="a checkpoint has a statement and signatures"):
        read_signed_checkpoint(value)


def test_a_leaf_of_another_run_does_not_vouch_for_this_one(small):
    diary = small.desk.diary
    made, problem = verify_checkpoint(diary.checkpoints[0], diary.lists)
    assert not problem
    leaf = read_leaf(diary.leaves[0])
    assert unlike_leaf(made, leaf, "r2", ()).endswith(f"the leaf is of run {leaf.run}")


def test_a_countersignature_by_a_key_of_nobody_is_told(small):
    from dataclasses import replace

    diary = small.desk.diary
    signed = diary.checkpoints[0]
    stranger = replace(signed, signatures=(*signed.signatures, ("ab" * 32, b"x" * 64)))
    assert verify_checkpoint(stranger, diary.lists)[1].endswith("the key abababababab is in no list")


def test_nothing_after_a_broken_entry_of_a_diary_is_read_and_no_checkpoint_of_it_counts(small):
    entries = [(read_entry(raw), "0" * 64) for raw in small.store.fetch("diary")]
    broken = entries[0][0]._replace(data={"list": "!", "signatures": []})
    found = read_diary([(broken, "0" * 64), *entries[1:]])
    assert found.problem.startswith("broken at entry 1: ")
    assert found.number == 1
    assert faults_of(found, {}) == (f"the diary is {found.problem}",)


def test_a_run_that_is_gone_or_stands_otherwise_is_told_by_the_diary(small):
    diary = small.desk.diary
    leaf = next(leaf for leaf in map(read_leaf, diary.leaves) if leaf.run == "r1")
    others = {other.run: {other.entries: other.head} for other in map(read_leaf, diary.leaves)}
    assert faults_of(diary, {**others, "r1": {}}) == (f"run r1: a checkpoint holds {leaf.entries} entries of it, and they are not here",)
    (told,) = faults_of(diary, {**others, "r1": {leaf.entries: "ff" * 32}})
    assert told.startswith(f"run r1: expected head {leaf.head} after entry {leaf.entries} by a checkpoint")
    assert faults_of(diary, others) == ()


def test_bytes_that_are_no_point_of_the_curve_hold_nothing():
    off_curve = PREFIX + (2).to_bytes(32, "little")
    assert not holds(off_curve, b"m", b"s" * 64)
    assert not holds(key_for("P-01").public, b"m", b"s" * 63)


def test_nobody_revokes_the_key_of_who_is_not_in_the_list(small):
    with pytest.raises(LookupError, match="P-77"):
        without_key(small.desk.keys, "P-77", "lost")


def test_one_key_signs_once():
    signature = {"key": "ab" * 32, "signature": pack(b"x" * 64)}
    assert len(read_signatures([signature], "w")) == 1
    with pytest.raises(ValueError, match="w: one key signs twice"):
        read_signatures([signature, signature], "w")


def test_a_file_larger_than_is_read_or_too_large_for_the_machine_is_refused(monkeypatch):
    with pytest.raises(ValueError, match="9 bytes; at most 8 are read"):
        read_json(b"123456789", 8)

    def too_large(*_, **__):
        raise MemoryError

    monkeypatch.setattr("ohmward.record.packed.json", SimpleNamespace(loads=too_large))
    with pytest.raises(ValueError, match="too large for this machine"):
        read_json(b"{}", 8)


def test_a_revoked_key_that_holds_again_is_a_key_that_was_taken_out(small):
    from dataclasses import replace

    before = small.desk.keys
    small.revoke("P-02")
    revoked = small.desk.keys
    again = replace(revoked, people=tuple(next(m for m in before.people if m.person == p.person) for p in revoked.people))
    assert ("lost", "P-02") in changed(revoked, again)
    assert ("revoked", "P-02") in changed(before, revoked)
    other = replace(before, people=tuple(replace(m, keys=(replace(m.keys[0], since="2020-01-01T00:00:00Z"),)) if m.person == "P-02" else m for m in before.people))
    assert ("lost", "P-02") in changed(before, other)


def test_an_entry_of_a_kind_that_the_diary_does_not_know_changes_nothing_in_it(small):
    (first, *_) = (read_entry(raw) for raw in small.store.fetch("diary"))
    noted = first._replace(kind=Kind.NOTED, number=2, data={})
    assert read_diary([(first, "0" * 64), (noted, "1" * 64)]).lists == read_diary([(first, "0" * 64)]).lists
