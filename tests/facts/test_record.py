"""Records: canonical bytes, the chain, the bundle. Whatever is changed is found; nothing crashes the verifier."""

import base64
import json
import random

import pytest
import rfc8785
from hypothesis import given
from hypothesis import strategies as st

from ohmward.record.bundle import Bundle, make_bundle, verify_bundle
from ohmward.record.canonical import (
    LARGEST,
    NotCanonicalError,
    canonical,
    read_any_fields,
    read_canonical,
    read_fields,
)
from ohmward.record.chain import verify_chain
from ohmward.record.entry import NOTHING, Entry, Kind, Reading, digest_of, read_any_entry, read_entry

values = st.recursive(
    st.none() | st.booleans() | st.integers(-LARGEST, LARGEST) | st.text(st.characters(exclude_categories=["Cs"]), max_size=20),
    lambda inner: st.lists(inner, max_size=4) | st.dictionaries(st.text(st.characters(max_codepoint=127), max_size=8), inner, max_size=4),
    max_leaves=12,
)


@given(values)
def test_canonical_bytes_are_those_of_rfc_8785(value):
    # Source: RFC 8785, through an independent library from the registry
    assert canonical(value) == rfc8785.dumps(value)
    assert read_canonical(canonical(value)) == value


def test_the_vector_of_rfc_8785_section_3_2_3_within_our_domain():
    # Source: RFC 8785, 3.2.3 (strings and escapes), from memory; keys limited to ASCII
    value = {"literals": [None, True, False], "string": "\u20ac$\u000f\nA'B\"\\\"/"}
    assert canonical(value) == '{"literals":[null,true,false],"string":"\u20ac$\\u000f\\nA\'B\\"\\\\\\"/"}'.encode()


@pytest.mark.parametrize("value", [1.5, float("nan"), 2**53, {"é": 1}, {1: 1}, "\ud800", b"x", [[[1.0]]]])
def test_what_has_no_one_form_is_refused(value):
    with pytest.raises(NotCanonicalError):
        canonical(value)


@pytest.mark.parametrize("data", [b'{"a": 1}', b'{"b":1,"a":1}', b"1.0", b"NaN", b"\xff", b"[" * 2000, b"1" * 5000, b'{"a":1,"a":1}', b"nul", b" " * 9_000_000])
def test_bytes_that_are_not_canonical_are_refused(data):
    with pytest.raises(NotCanonicalError):
        read_canonical(data)


def nested(levels):
    value = 1
    for _ in range(levels):
        value = [value]
    return value


def test_depth_is_bounded():
    with pytest.raises(NotCanonicalError, match="more than 64 levels"):
        canonical(nested(70))


def chain_of(count):
    raw, head = [], NOTHING
    for number in range(1, count + 1):
        entry = Entry(run="r1", number=number, previous=head, time="2026-11-25T10:00:00Z", actor="P-01", device="d", kind=Kind.OPENED if number == 1 else Kind.NOTED, said=f"n{number}", values=(Reading(point="a", said="1"),))
        raw.append(entry.to_bytes())
        head = digest_of(raw[-1])
    return raw, head


def test_a_whole_chain_is_intact_and_an_entry_comes_back():
    raw, head = chain_of(5)
    chain = verify_chain(raw, run="r1", head=head)
    assert chain.intact
    assert chain.head == head
    assert read_entry(raw[2]).to_bytes() == raw[2]


OPERATORS = {
    "removed": lambda raw: raw[:2] + raw[3:],
    "swapped": lambda raw: [raw[0], raw[2], raw[1], *raw[3:]],
    "doubled": lambda raw: [*raw[:2], raw[1], *raw[2:]],
    "cut": lambda raw: raw[:-1],
    "added": lambda raw: [*raw, raw[-1]],
    "edited": lambda raw: [*raw[:2], read_entry(raw[2])._replace(said="other").to_bytes(), *raw[3:]],
    "renumbered": lambda raw: [*raw[:2], read_entry(raw[2])._replace(number=9).to_bytes(), *raw[3:]],
    "moved to another run": lambda raw: [*raw[:2], read_entry(raw[2])._replace(run="r2").to_bytes(), *raw[3:]],
    "back-dated": lambda raw: [read_entry(raw[0])._replace(time="2020-01-01T00:00:00Z").to_bytes(), *raw[1:]],
    "emptied": lambda _: [],
    "garbled": lambda raw: [*raw[:2], b"{}", *raw[3:]],
}


@pytest.mark.parametrize("operator", OPERATORS)
def test_whatever_is_done_to_a_chain_is_found(operator):
    raw, head = chain_of(6)
    chain = verify_chain(OPERATORS[operator](raw), run="r1", head=head)
    assert not chain.intact
    assert chain.problem


def test_a_broken_link_is_told_with_number_expected_and_found():
    raw, head = chain_of(4)
    assert verify_chain(raw[:2] + raw[3:]).problem == "broken at entry 3: expected number 3, found 4"
    assert verify_chain(raw, run="rX").problem == "broken at entry 1: expected run rX, found r1"
    assert verify_chain(raw, head="0" * 64).problem == f"broken after entry 4: expected head {'0' * 64}, found {head}"


def test_every_flipped_bit_of_a_bundle_is_found_or_changes_nothing():
    raw, head = chain_of(3)
    bundle = make_bundle(Bundle(run="r1", raw=tuple(raw), head=head))
    assert verify_bundle(bundle).intact
    chance = random.Random(5)
    for _ in range(4000):
        at, bit = chance.randrange(len(bundle)), 1 << chance.randrange(8)
        spoiled = bundle[:at] + bytes([bundle[at] ^ bit]) + bundle[at + 1 :]
        chain = verify_bundle(spoiled)
        if chain.intact:  # white space between fields
            assert json.loads(spoiled) == json.loads(bundle)


@pytest.mark.parametrize("change", [{"format": "x"}, {"keys": [1]}, {"anchors": [1]}, {"photos": []}, {"photos": {"00": ""}}, {"signatures": [1]}, {"entries": ["!"]}, {"entries": ["e30"]}, {"entries": [1]}, {"run": ""}, {"head": 1}, {"entries": "x"}, {"extra": 1}, {"entries": [base64.b64encode(b"1" * 5000).decode()]}])
def test_a_bundle_of_another_shape_is_refused_in_words(change):
    raw, head = chain_of(2)
    plain = {**json.loads(make_bundle(Bundle(run="r1", raw=tuple(raw), head=head))), **change}
    chain = verify_bundle(json.dumps(plain).encode())
    assert not chain.intact
    assert chain.problem


@given(st.binary(max_size=300))
def test_any_bytes_are_no_record_and_no_crash(data):
    assert not verify_bundle(data).intact
    assert verify_bundle(b'{"a":1,"a":2}').problem == "not a record: a key stands twice"


@pytest.mark.parametrize("spoil", [{"kind": "x"}, {"number": True}, {"data": []}, {"values": [{"point": 1}]}, {"values": [{"x": "y"}]}, {"said": 1}, {"format": "y"}, {"values": 3}])
def test_an_entry_of_another_shape_is_refused(spoil):
    raw, _ = chain_of(1)
    plain = {**json.loads(raw[0]), **spoil}
    with pytest.raises(NotCanonicalError):
        read_entry(canonical(plain))
    with pytest.raises(NotCanonicalError):
        read_entry(canonical({k: v for k, v in json.loads(raw[0]).items() if k != "note"}))


TEXT = st.text(max_size=8) | st.sampled_from(["", 'a"b', "a\\b", "\x00", "\x7f", "\u20ac", "\U0001f50c", "\ud800"])


def outcome_of(read, data):
    try:
        return read(data)
    except NotCanonicalError:
        return "refused"


VALUES = st.lists(st.builds(Reading, point=TEXT, said=TEXT, low=TEXT, high=TEXT), max_size=3).map(tuple)
DATA = st.just({}) | st.fixed_dictionaries({"signature": st.sampled_from(["", "QUJD", "a=", "+/", "-", "a\\"]), "statement": st.sampled_from(["", "QUJD", "é"])}) | st.just({"statement": "QUJD"}) | st.just({"x": 1})


@given(st.fixed_dictionaries(dict.fromkeys(("run", "previous", "time", "actor", "device", "trigger", "step", "shown", "taken", "said", "outcome", "instrument", "note"), TEXT)), st.integers(1, 9), DATA, VALUES, st.data())
def test_the_short_way_of_reading_an_entry_gives_what_the_long_one_gives(texts, number, more, values, data):
    try:
        raw = Entry(**texts, number=number, kind=Kind.NOTED, data=more, values=values).to_bytes()
    except NotCanonicalError:
        raw = json.dumps({**texts, "number": number}).encode()
    assert outcome_of(read_entry, raw) == outcome_of(read_any_entry, raw)
    made = spoiled(raw, data)
    assert outcome_of(read_entry, made) == outcome_of(read_any_entry, made)


def spoiled(raw, data):
    """The bytes with a few put in or taken out somewhere."""
    at = data.draw(st.integers(0, len(raw) - 1))
    put = data.draw(st.sampled_from([b"", b" ", b'"', b"\\", b"0", b"{}", b"\xff", b"\n", b'"a":1,', b"-", b"\\u0041"]))
    return raw[:at] + put + raw[at + data.draw(st.integers(0, 2)) :]


@given(st.fixed_dictionaries({"who": TEXT, "what": TEXT, "count": st.sampled_from([0, 1, 10, -1, 2**53 - 1, 10**15, 10**14])}), st.data())
def test_the_short_way_of_reading_a_mapping_gives_what_the_long_one_gives(plain, data):
    asked = {"form": "a-form.1", "names": frozenset(plain), "whole": frozenset({"count"})}
    try:
        raw = canonical({**plain, "format": "a-form.1"})
    except NotCanonicalError:
        raw = b'{"count":1}'
    short, long = (lambda given, f=f: f(given, **asked) for f in (read_fields, read_any_fields))
    assert outcome_of(short, raw) == outcome_of(long, raw)
    made = spoiled(raw, data)
    assert outcome_of(short, made) == outcome_of(long, made)
