"""YAML with places: what could cut, hide or smuggle text is a fault; nothing else ever escapes."""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library, load_one
from ohmward.language.models import Gate, Procedure
from ohmward.language.nodes import Fields, Text, inert
from ohmward.language.reader import read_node, read_tree

FAULTS = [
    (b"a: 1\na: 2\n", "2:1: duplicate-key"),
    (b"a: &x 1\n", "1:4: alias"),
    (b"a: &x 1\nb: *x\n", "1:4: alias"),
    (b"a: !!python/object:os.system 1\n", "1:4: tag"),
    (b"<<: {a: 1}\n", "1:1: merge-key"),
    (b"a: 1\n---\nb: 2\n", "2:1: several-documents"),
    (b"a: [b(c, d)]\n", "1:5: cut-at-comma"),
    (b"a: {b: c, d}\n", "1:11: cut-at-comma"),
    (b"a:\n", "1:1: no-value"),
    (b"a: keep your hands off # the live part\n", "1:4: cut-at-hash"),
    (b"a: [1\n", "2:1: not-yaml"),
    (b"- a\n", "1:1: no-mapping"),
    (b"", "1:1: no-mapping"),
    (b"a: \xff\n", "1:1: not-utf-8"),
    ("a: x\u202ey\n".encode(), "1:5: hidden-character"),
    (b"a: x\x07y\n", "1:5: hidden-character"),
    (b'a: "\\u202e"\n', "1:4: hidden-character"),
    (b'a: "\\e[31m"\n', "1:4: hidden-character"),
    (b"? [a]\n: 1\n", "1:3: key-not-text"),
    (b"a: " + b"[" * 25 + b"]" * 25 + b"\n", "1:23: too-deep"),
    (b"a: [" + b"1," * 10001 + b"]\n", "1:19999: too-many-values"),
    (b"a" * (256 * 1024 + 1), "1:1: too-large"),
]


@pytest.mark.parametrize(("data", "place"), FAULTS, ids=[p.split(": ")[1] + str(i) for i, (_, p) in enumerate(FAULTS)])
def test_each_fault_has_its_place_and_a_remedy(data, place):
    with pytest.raises(FaultyFileError) as caught:
        read_tree(data, "f.yaml")
    first = caught.value.diagnostics[0]
    assert f"{first.line}:{first.column}: {first.code}" == place
    assert first.remedy
    assert f"f.yaml:{first.line}:{first.column}" in str(caught.value)


@pytest.mark.parametrize("word", ["no", "off", "on", "12:30", "010", "1.10", "~", "null", "0x1F", ".inf"])
def test_scalars_are_what_they_look_like(word):
    root, _ = read_tree(f"a: {word}\n".encode(), "f.yaml")
    node = root.get("a")
    assert isinstance(node, Text)
    assert node.text == word
    assert root.get("b") is None


def test_block_style_prose_may_hold_a_hash():
    root, _ = read_tree(b"a: >\n  keep hands off # here\n", "f.yaml")
    assert isinstance(root, Fields)


@given(st.binary(max_size=400))
def test_any_bytes_are_read_or_are_faults(data):
    for read in (lambda: read_tree(data, "f.yaml"), lambda: read_node(data, "f.yaml"), lambda: load_one(data, "f.yaml", Procedure), lambda: load_one(data, "f.yaml", Gate)):
        try:
            read()
        except FaultyFileError as error:
            assert all(d.line >= 1 and d.column >= 1 for d in error.diagnostics)


@given(st.text(max_size=200))
def test_what_a_person_typed_is_inert(text):
    shown = inert(text)
    assert not any(ord(c) < 32 and c != "\n" for c in shown)
    assert "\x1b" not in shown
    assert "\u202e" not in shown


def test_one_id_has_one_file_and_files_have_their_folder():
    good = b"group: a\ntitle: t\nsteps:\n  s: {confirm: x, by: y}\n"
    with pytest.raises(FaultyFileError, match="duplicate-id: the group 'a' is there already"):
        load_library({"groups/a.yaml": good, "own/groups/a.yaml": good})
    with pytest.raises(FaultyFileError, match="wrong-folder"):
        load_library({"zz/groups/a.yaml": good})
    with pytest.raises(FaultyFileError, match="name-differs"):
        load_library({"groups/b.yaml": good})
    with pytest.raises(FaultyFileError, match="empty: 'steps' is empty"):
        load_library({"groups/a.yaml": b"group: a\ntitle: t\nsteps: {}\n"})
