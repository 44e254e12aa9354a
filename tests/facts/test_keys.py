"""People, their keys and what each role may sign: the list, its versions, passphrases, sittings, the whole table."""

import base64
import json
from dataclasses import replace
from datetime import timedelta
from itertools import product

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from hypothesis import given
from hypothesis import strategies as st

from ohmward.errors import DONE, NO, WRONG, RefusedError, StoreError
from ohmward.record.authority import MAY, MEANINGS, ROLES, may, one_alphabet, same_person
from ohmward.record.diary import TRIES
from ohmward.record.ed25519 import PREFIX, holds, is_sound
from ohmward.record.entering import first_list, next_list, with_key, with_person, without_key
from ohmward.record.keylist import SignedList, read_key_list
from ohmward.record.parts import Parts
from ohmward.record.signing import may_not_sign
from ohmward.record.versions import follow, why_not_next
from ohmward.shop.keyfile import Cost, make_key, passphrase_problem, unlock_key
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.main import main
from ohmward.work.keydesk import IDLE, Sitting
from tests.facts.shopping import CHEAP, DAY, WORDS, chance, desk_in, enrolled, key_of, make_shop, words_file
from tests.sealed import PEOPLE, Small, key_for

# -- the role x action table: every cell, allowed and refused --------------------------------------------

ALLOWED = {
    ("apprentice", "performed"), ("apprentice", "witnessed"),
    ("qualified-person", "performed"), ("qualified-person", "supervised"), ("qualified-person", "witnessed"), ("qualified-person", "released"), ("qualified-person", "checkpoint"), ("qualified-person", "inspect"), ("supervisor", "inspect"), ("safety-officer", "inspect"),
    ("supervisor", "performed"), ("supervisor", "supervised"), ("supervisor", "witnessed"), ("supervisor", "reviewed"), ("supervisor", "released"),
    ("supervisor", "approve"), ("supervisor", "revoke"), ("supervisor", "unlock"), ("supervisor", "second a new key"), ("supervisor", "checkpoint"), ("supervisor", "countersign"),
    ("safety-officer", "performed"), ("safety-officer", "witnessed"), ("safety-officer", "reviewed"), ("safety-officer", "approve"), ("safety-officer", "enrol"), ("safety-officer", "revoke"),
    ("safety-officer", "unlock"), ("safety-officer", "second a new key"), ("safety-officer", "checkpoint"), ("safety-officer", "countersign"),
}


@pytest.mark.parametrize(("role", "action"), list(product(ROLES, MAY)))
def test_each_cell_of_the_table_of_roles_and_actions(role, action):
    assert may(role, action) is ((role, action) in ALLOWED)
    if action in MEANINGS:
        keys = Small().desk.keys
        why = may_not_sign(person="P-09", name="Somebody Else", role=role, meaning=action, parts=Parts(), list_names=keys)
        assert bool(why) is ((role, action) not in ALLOWED)


def test_what_is_not_in_the_table_may_not_be_done():
    assert not may("safety-officer", "everything")
    assert not may("owner", "performed")
    keys = Small().desk.keys
    assert "is not a meaning" in may_not_sign(person="P-01", name="x", role="supervisor", meaning="blessed", parts=Parts(), list_names=keys)


# -- one person stays one person --------------------------------------------------------------------------

ALIKE = [("P-02", "Tomas Reyl"), ("p-02", "Somebody"), ("P-07", "tomas  reyl"), ("P-07", "TOMÁS REYL"), ("P-07", "T\u043emas Reyl"), ("P-07", "Tomas Rey1"), ("P-07", "Tomas\u200bReyl"), ("P-07", "Tomas-Reyl"), ("P-07", "\uff34omas Reyl")]


@pytest.mark.parametrize("other", ALIKE)
def test_a_second_person_is_not_the_first_one_renamed(other):
    assert same_person(("P-02", "Tomas Reyl"), other)
    assert not same_person(("P-02", "Tomas Reyl"), ("P-07", "Tomasz Reyle"))


@given(st.sampled_from(list(PEOPLE.values())), st.data())
def test_no_change_of_case_accents_blanks_or_alphabet_makes_another_person(known, data):
    name = known[0]
    drawn = {"a": "\u0430\u00e1\uff41", "o": "\u043e\u03bf0", "e": "\u0435\u00e9", "i": "\u0456\u03b91l", "c": "\u0441", "p": "\u0440", "x": "\u0445"}
    made = "".join(data.draw(st.sampled_from([c, c.upper(), *drawn.get(c.lower(), "")])) + data.draw(st.sampled_from(["", "", " ", "-", "\u200d"])) for c in name)
    assert same_person(("P-02", name), ("P-55", made))


def test_a_name_is_written_in_one_alphabet_a_word():
    assert one_alphabet("Tomas Reyl")
    assert one_alphabet("\u0422\u043e\u043c\u0430\u0441 Reyl")
    assert not one_alphabet("T\u043emas Reyl")


# -- versions of the list ---------------------------------------------------------------------------------


def signed(made, *people, number=1):
    raw = made.to_bytes()
    keys = [key_for(p, number) for p in people]
    return SignedList(raw=raw, signatures=tuple((k.key, k.sign(raw)) for k in keys))


def after(change, *signers):
    """Why a changed second version does not follow the first one, signed by these."""
    desk = Small().desk
    made = change(next_list(desk.keys, "2026-11-26T08:00:00Z"))
    return follow((*desk.diary.lists.signed, signed(made, *signers))).problem.removeprefix("key list 2: ")


NEW = ("P-09", "Lena Voss", "qualified-person")


def with_new(made):
    return with_key(with_person(made, *NEW), "P-09", key_for("P-09").public)


def renewed(made):
    return with_key(made, "P-02", key_for("P-02", 2).public)


def raised(made):
    return with_person(made, "P-02", "Tomas Reyl", "supervisor")


PERMITTED = [
    (with_new, ("P-04",)),
    (lambda m: without_key(m, "P-02", "lost"), ("P-03",)),
    (lambda m: without_key(m, "P-02", "lost"), ("P-04",)),
    (renewed, ("P-04", "P-02")),
    (renewed, ("P-04", "P-03")),
    (raised, ("P-04", "P-03")),
    (lambda m: with_person(m, "P-02", "Tomas Reyl-Voss", "apprentice"), ("P-04",)),
    (lambda m: replace(m, authority="a" * 64), ("P-04",)),
]
NOT_PERMITTED = [
    (with_new, ("P-03",), "P-09: people and keys are entered by a safety officer"),
    (with_new, ("P-09",), "it is signed with the key"),
    (lambda m: without_key(m, "P-01", "x"), ("P-02",), "P-01: a key is revoked by a supervisor or safety officer"),
    (renewed, ("P-04",), "P-02: another key needs the key that held before, or a second person"),
    (renewed, ("P-02",), "P-02: people and keys are entered by a safety officer"),
    (renewed, ("P-04", "P-01"), "P-02: another key needs the key that held before, or a second person"),
    (raised, ("P-04",), "P-02: another supervisor or safety officer is entered by two of them"),
    (lambda m: with_key(with_person(m, "P-09", "Xaver Noll", "supervisor"), "P-09", key_for("P-09").public), ("P-04",), "P-09: another supervisor or safety officer"),
    (lambda m: without_key(m, "P-04", "x"), ("P-03",), "it would have no safety officer whose key holds"),
    (raised, ("P-02",), "P-02: people and keys are entered by a safety officer"),
    (lambda m: replace(m, people=m.people[1:]), ("P-04",), "P-01 or a key of theirs was taken out"),
    (lambda m: replace(m, people=(replace(m.people[0], keys=(replace(m.people[0].keys[0], since="2020-01-01T00:00:00Z"),)), *m.people[1:])), ("P-04",), "P-01 or a key of theirs was taken out"),
    (lambda m: replace(m, authority="a" * 64), ("P-03",), "another seal is entered by a safety officer"),
    (lambda m: m, ("P-04",), "nothing in it changed"),
    (lambda m: replace(with_new(m), version=3), ("P-04",), "expected version 2"),
    (lambda m: replace(with_new(m), previous="0" * 64), ("P-04",), "expected version 2"),
    (lambda m: replace(with_new(m), shop="Another"), ("P-04",), "it is of another shop, or older"),
    (lambda m: replace(m, time="2020-01-01T00:00:00Z"), ("P-04",), "the key"),
    (lambda m: replace(m, time="2026-11-25T08:00:30Z"), ("P-04",), "the key"),
]


def test_one_officer_alone_never_makes_a_second_one_of_their_own():
    """Revokes or lowers the other one first, then enters somebody, then gives the other one a key of their own making."""
    for first in (lambda s: s.revoke("P-03"), lambda s: s.change_role("P-03", "apprentice")):
        shop = Small()
        first(shop)
        made = with_key(with_person(next_list(shop.desk.keys, shop.desk.now()), "P-09", "Xaver Noll", "supervisor"), "P-09", key_for("P-09").public)
        with pytest.raises(RefusedError, match="is entered by two of them, once there were two"):
            shop.desk.keep_list(made, [key_for("P-04")], "P-04")


@pytest.mark.parametrize(("change", "signers"), PERMITTED)
def test_a_version_that_is_signed_by_whom_it_needs_follows(change, signers):
    assert not after(change, *signers)


@pytest.mark.parametrize(("change", "signers", "why"), NOT_PERMITTED)
def test_a_version_that_is_not_signed_by_whom_it_needs_does_not_follow(change, signers, why):
    assert after(change, *signers).startswith(why)


def test_a_revoked_key_signs_no_version_and_never_holds_again():
    shop = Small()
    shop.revoke("P-03")
    made = without_key(next_list(shop.desk.keys, shop.desk.now()), "P-02", "x")
    assert "does not hold" in why_not_next(shop.desk.keys, made, signed(made, "P-03"))
    again = next_list(shop.desk.keys, shop.desk.now())
    member = again.of("P-03")
    again = replace(again, people=tuple(replace(m, keys=(replace(m.keys[0], revoked="", why=""),)) if m is member else m for m in again.people))
    assert "taken out" in why_not_next(shop.desk.keys, again, signed(again, "P-04"))


def test_a_signature_under_other_bytes_does_not_count():
    before = Small().desk.keys
    made = with_new(next_list(before, "2026-11-26T08:00:00Z"))
    bad = SignedList(raw=made.to_bytes(), signatures=((key_for("P-04").key, key_for("P-04").sign(b"other")),))
    assert why_not_next(before, made, bad) == "the signature of Oskar Lindt-Weiss (P-04) does not hold"


def test_the_first_list_is_signed_by_a_safety_officer_in_it():
    made = with_key(with_person(first_list("s", "2026-11-26T08:00:00Z"), "P-03", "Nuria Falk", "supervisor"), "P-03", key_for("P-03").public)
    assert why_not_next(None, made, signed(made, "P-03")) == "the first list is signed by a safety officer in it"


def test_a_name_that_stood_for_one_person_never_stands_for_another():
    """A lone officer renames one and gives the name to somebody of their own."""
    shop = Small()
    shop.desk.keep_list(with_person(next_list(shop.desk.keys, shop.desk.now()), "P-02", "Tom Anders", "apprentice"), [key_for("P-04")], "P-04")
    made = with_key(with_person(next_list(shop.desk.keys, shop.desk.now()), "P-09", "Tomas Reyl", "apprentice"), "P-09", key_for("P-09").public)
    with pytest.raises(RefusedError, match="reads like another person of an earlier list"):
        shop.desk.keep_list(made, [key_for("P-04")], "P-04")


BAD = [
    ("since", lambda p: p["people"][0]["keys"][0].update(since="2090-01-01T00:00:00Z"), "holds or ends after the time of its own list"),
    ("role", lambda p: p["people"][0].update(role="owner"), "is not a role"),
    ("alike", lambda p: p["people"][0].update(name="Tomas Reyl"), "reads like another person"),
    ("phonetic", lambda p: p["people"][0].update(name="Ida Br\u0251ndl"), "mixes alphabets"),
    ("path", lambda p: p["people"][0].update(person="../x"), "is no id of letters"),
    ("control", lambda p: p["people"][0].update(name="Ida\x1b[2J"), "can be printed"),
    ("alphabets", lambda p: p["people"][0].update(name="Id\u0430 Brandl"), "mixes alphabets"),
    ("no key", lambda p: p["people"][0].update(keys=[]), "has no key"),
    ("two keys", lambda p: p["people"][0]["keys"].append(plain_key("P-01", 2)), "more than one that holds"),
    ("twice", lambda p: p["people"][0]["keys"].append({**p["people"][0]["keys"][0], "revoked": "2026-11-25T08:00:00Z"}), "one key stands twice"),
    ("id", lambda p: p["people"][0]["keys"][0].update(key="0" * 64), "not a sound Ed25519 key under its own id"),
    ("small order", lambda p: p["people"][0]["keys"][0].update(public=base64.b64encode(PREFIX + bytes(32)).decode()), "not a sound Ed25519 key"),
    ("field", lambda p: p.update(x=1), "not of the format"),
    ("person", lambda p: p["people"].append(1), "a person has"),
    ("text", lambda p: p["people"][0].update(name=1), "is no text"),
    ("key", lambda p: p["people"][0]["keys"].append(1), "a key has"),
    ("version", lambda p: p.update(version="1"), "of the wrong kind"),
    ("flag", lambda p: p.update(version=True), "of the wrong kind"),
]


def plain_key(person, number):
    key = key_for(person, number)
    return {"key": key.key, "public": base64.b64encode(key.public).decode(), "since": "2026-11-25T08:00:00Z", "revoked": "", "why": ""}


@pytest.mark.parametrize(("name", "change", "why"), BAD, ids=[b[0] for b in BAD])
def test_a_list_that_is_unsound_by_itself_is_refused(name, change, why):
    plain = json.loads(Small().desk.keys.to_bytes())
    change(plain)
    raw = json.dumps(plain, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()
    with pytest.raises(ValueError, match=why):
        read_key_list(raw)
    assert follow([SignedList(raw=raw, signatures=())]).problem.startswith("key list 1: ")


# -- Ed25519 ----------------------------------------------------------------------------------------------

# RFC 8032 section 7.1, tests 1 to 3 (from memory; the library computes them too).
RFC = [
    ("9d61b19deffd5a60ba844af492ec2cc44449c5697b326919703bac031cae7f60", "d75a980182b10ab7d54bfed3c964073a0ee172f3daa62325af021a68f707511a", "", "e5564300c360ac729086e2cc806e828a84877f1eb8e5d974d873e065224901555fb8821590a33bacc61e39701cf9b46bd25bf5f0595bbe24655141438e7a100b"),
    ("4ccd089b28ff96da9db6c346ec114e0f5b8a319f35aba624da8cf6ed4fb8a6fb", "3d4017c3e843895a92b70aa74d1b7ebc9c982ccf2ec4968cc0cd55f12af4660c", "72", "92a009a9f0d4cab8720e820b5f642540a2b27b5416503f8fb3762223ebdb69da085ac1e43e15996e458f3613d0f11d8c387b2eaeb4302aeeb00d291612bb0c00"),
    ("c5aa8df43f9f837bedb7442f31dcb7b166d38535076f094b85ce3a2e0b4458f7", "fc51cd8e6218a1a38da47ed00230f0580816ed13ba3303ac5deb911548908025", "af82", "6291d657deec24024827e69c3abe01a30ce548a284743a445e3680d7db5ac3ac18ff9b538d16f290ae67f760984dc6594a7c15e9716ed28dc027beceea1ec40a"),
]
_ORDER = 2**252 + 27742317777372353535851937790883648493


@pytest.mark.parametrize(("secret", "public", "message", "signature"), RFC)
def test_the_vectors_of_rfc_8032_hold_and_nothing_near_them_does(secret, public, message, signature):
    known, text, made = PREFIX + bytes.fromhex(public), bytes.fromhex(message), bytes.fromhex(signature)
    private = Ed25519PrivateKey.from_private_bytes(bytes.fromhex(secret))
    assert private.public_key().public_bytes_raw() == known[12:]
    assert private.sign(text) == made
    assert holds(known, text, made)
    assert not holds(known, text + b"x", made)
    assert not holds(known, text, made[:-1])
    larger = int.from_bytes(made[32:], "little") + _ORDER  # S not reduced: RFC 8032 section 5.1.7 refuses it
    assert not holds(known, text, made[:32] + larger.to_bytes(32, "little"))
    assert not holds(known[:-1], text, made)


def test_keys_of_small_order_and_in_another_form_are_none():
    """The eight points of small order, worked out from the curve's own equation; beside them y not reduced."""
    p = 2**255 - 19
    d = -121665 * pow(121666, p - 2, p) % p

    def add(a, b):
        k = d * a[0] * b[0] * a[1] * b[1] % p
        return ((a[0] * b[1] + b[0] * a[1]) * pow(1 + k, p - 2, p) % p, (a[1] * b[1] + a[0] * b[0]) * pow(1 - k, p - 2, p) % p)

    def times(n, a):
        made = (0, 1)
        while n:
            made, a, n = (add(made, a) if n & 1 else made), add(a, a), n >> 1
        return made

    def at(y):
        square = (y * y - 1) * pow(d * y * y + 1, p - 2, p) % p
        x = pow(square, (p + 3) // 8, p)
        x = x if (x * x - square) % p == 0 else x * pow(2, (p - 1) // 4, p) % p
        return (x, y) if (x * x - square) % p == 0 else None

    small = set()
    for y in range(2, 12):
        point = at(y)
        if point is not None:
            torsion = times(_ORDER, point)
            small |= {times(n, torsion)[1] for n in range(8)}
    assert len(small) == 5
    for y, sign in product(small, (0, 1)):
        assert not is_sound(PREFIX + (y | sign << 255).to_bytes(32, "little"))
    assert not is_sound(PREFIX + (p + 3).to_bytes(32, "little"))
    assert is_sound(key_for("P-01").public)


# -- key files --------------------------------------------------------------------------------------------


def test_a_key_opens_with_its_own_passphrase_only():
    data, made = key_of("P-02")
    opened = unlock_key(data, "f", "P-02", WORDS["P-02"])
    assert opened is not None
    assert opened.key == made.key
    assert holds(made.public, b"m", opened.sign(b"m"))
    assert unlock_key(data, "f", "P-02", WORDS["P-02"] + " ") is None
    assert WORDS["P-02"].encode() not in data
    composed, _ = make_key("P-02", "caf\u00e9 four words", chance("c"), CHEAP)
    assert unlock_key(composed, "f", "P-02", "cafe\u0301 four words") is not None  # one passphrase, however it is typed


@pytest.mark.parametrize("change", [{"person": "P-01"}, {"format": "x"}, {"kdf": 1}, {"x": 1}, {"kdf": {"name": "argon2id", "memory_kib": 8, "iterations": 1, "lanes": 1, "salt": ""}}, {"kdf": {"name": "argon2id", "memory_kib": True, "iterations": 3, "lanes": 1, "salt": ""}}, {"wrapped": "!"}])
def test_a_file_that_is_no_key_of_this_person_is_said(change):
    data, _ = key_of("P-02")
    with pytest.raises(StoreError, match="this is not the key of P-02"):
        unlock_key(json.dumps({**json.loads(data), **change}).encode(), "f", "P-02", WORDS["P-02"])


def test_a_public_key_put_in_place_of_another_is_found_by_the_seal_over_it():
    data, _ = key_of("P-02")
    plain = json.loads(data)
    other = json.loads(key_of("P-01")[0])
    assert unlock_key(json.dumps({**plain, "public": other["public"]}).encode(), "f", "P-02", WORDS["P-02"]) is None


@pytest.mark.parametrize("words", ["short", "aaaaaaaaaaaaaaa", "Tomas Reyl", "tomas reyl P-02", "           x"])
def test_a_passphrase_that_anybody_would_try_is_refused(words):
    assert passphrase_problem(words, person="P-02", name="Tomas Reyl")
    assert not passphrase_problem("four plain words here", person="P-02", name="Tomas Reyl")
    assert not Cost(memory_kib=1024).enough


# -- sittings ---------------------------------------------------------------------------------------------


def test_a_sitting_ends_after_a_minute_and_with_another_signer():
    now = [0.0]
    sitting = Sitting(lambda: now[0])
    one, two = key_of("P-01")[1], key_of("P-02")[1]
    sitting.keep(one)
    now[0] = IDLE - 1
    assert sitting.of("P-01") is one
    now[0] += IDLE
    assert sitting.of("P-01") is None
    assert IDLE <= 60
    sitting.keep(one)
    sitting.keep(two)
    assert sitting.of("P-01") is None
    sitting.keep(two)
    sitting.end()
    assert sitting.of("P-02") is None
    sitting.keep(two)
    now[0] -= 5  # a clock that goes back opens nothing
    assert sitting.of("P-02") is None


# -- the doors --------------------------------------------------------------------------------------------


@pytest.fixture
def shop(tmp_path):
    make_shop(tmp_path / "s", DAY.date())
    words_file(tmp_path)
    return tmp_path / "s"


def say(capsys, shop, *arguments):
    code = main([*arguments, "--shop", str(shop)])
    got = capsys.readouterr()
    return code, got.out, got.err


def with_words(shop):
    return ("--passphrases", str(shop.parent / "words.txt"))


def test_keys_are_entered_renewed_revoked_and_listed(shop, capsys):
    code, _, err = say(capsys, shop, "enrol", "P-02", *with_words(shop))
    assert (code, "nobody has a key here yet, and Tomas Reyl is apprentice: a safety officer begins" in err) == (NO, True)
    code, out, _ = say(capsys, shop, "enrol", "P-04", *with_words(shop))
    assert (code, "\norigin " in out) == (DONE, True)
    assert say(capsys, shop, "enrol", "P-02", *with_words(shop))[0] == WRONG  # nobody answers for it
    assert say(capsys, shop, "enrol", "P-77", "--as", "P-04", *with_words(shop))[0] == WRONG
    assert say(capsys, shop, "enrol", "--as", "P-04", *with_words(shop))[0] == WRONG
    for person in ("P-02", "P-03"):
        assert say(capsys, shop, "enrol", person, "--as", "P-04", *with_words(shop))[0] == DONE
    code, _, err = say(capsys, shop, "enrol", "P-01", "--as", "P-03", *with_words(shop))
    assert (code, "Nuria Falk (P-03) is supervisor: this is for safety officer" in err) == (NO, True)
    code, _, err = say(capsys, shop, "enrol", "P-02", "--as", "P-04", *with_words(shop))
    assert (code, "has a key that holds; --renew makes another one" in err) == (NO, True)
    assert say(capsys, shop, "enrol", "P-02", "--renew", "--as", "P-04", *with_words(shop))[0] == DONE
    assert say(capsys, shop, "enrol", "P-02", "--lost", "--as", "P-04", *with_words(shop))[0] == WRONG
    assert say(capsys, shop, "enrol", "P-02", "--lost", "--as", "P-04", "--with", "P-03", *with_words(shop))[0] == DONE
    assert say(capsys, shop, "enrol", "--seal", "--as", "P-04", *with_words(shop))[0] == DONE
    code, out, _ = say(capsys, shop, "keys", "--json")
    listed = {p["person"]: p for p in json.loads(out)["people"]}
    assert (json.loads(out)["version"], len(listed["P-02"]["revoked"])) == (6, 2)
    assert say(capsys, shop, "revoke", "P-02", "--why", " ", "--as", "P-03", *with_words(shop))[0] == WRONG
    code, out, _ = say(capsys, shop, "revoke", "P-02", "--why", "left the shop", "--as", "P-03", *with_words(shop))
    assert (code, "the key of P-02 is revoked: left the shop" in out) == (DONE, True)
    assert "P-02 Tomas Reyl apprentice no key that holds" in " ".join(say(capsys, shop, "keys")[1].split())
    code, _, err = say(capsys, shop, "enrol", "P-02", "--as", "P-04", *with_words(shop))
    assert (code, "had a key before" in err) == (WRONG, True)
    out_file = shop.parent / "keys.json"
    assert say(capsys, shop, "keys", "-o", str(out_file))[0] == DONE
    assert len(json.loads(out_file.read_text())["keys"]) == 7


def test_role_and_name_follow_the_roster_by_an_officer_only(shop, capsys):
    enrolled(shop)
    roster = shop / "roster.yaml"
    roster.write_text(roster.read_text().replace("Tomas Reyl, role: apprentice", "Tomas Reyl, role: qualified-person"))
    code, out, _ = say(capsys, shop, "enrol", "P-02", "--as", "P-04", *with_words(shop))
    assert (code, "P-02), qualified person\n" in out) == (DONE, True)
    roster.write_text(roster.read_text().replace("Tomas Reyl", "Nuria Fa1k"))
    code, _, err = say(capsys, shop, "enrol", "P-02", "--as", "P-04", *with_words(shop))
    assert (code, "reads like another person" in err) == (NO, True)


def test_five_wrong_passphrases_lock_a_key_and_stand_in_the_diary(shop, capsys):
    enrolled(shop)
    with pytest.MonkeyPatch.context() as patch:
        patch.setitem(WORDS, "P-03", "not these words at all")
        words_file(shop.parent)
    for left in range(TRIES - 1, 0, -1):
        code, _, err = say(capsys, shop, "checkpoint", "-o", "x", "--as", "P-03", *with_words(shop))
        assert (code, f"{left} {'try' if left == 1 else 'tries'} left" in err) == (NO, True)
    code, _, err = say(capsys, shop, "checkpoint", "-o", "x", "--as", "P-03", *with_words(shop))
    assert (code, "the key is locked now, and the diary says so" in err) == (NO, True)
    words_file(shop.parent)
    code, _, err = say(capsys, shop, "checkpoint", "-o", "x", "--as", "P-03", *with_words(shop))
    assert (code, "is locked after 5 wrong passphrases" in err) == (NO, True)
    assert "LOCKED" in say(capsys, shop, "keys")[1]
    code, _, err = say(capsys, shop, "unlock", "P-03", "--as", "P-03", *with_words(shop))
    assert (code, "nobody takes the lock off their own key" in err) == (NO, True)
    assert say(capsys, shop, "unlock", "P-03", "--as", "P-01", *with_words(shop))[0] == NO
    assert say(capsys, shop, "unlock", "P-03", "--as", "P-04", *with_words(shop))[0] == DONE
    assert say(capsys, shop, "unlock", "P-03", "--as", "P-04", *with_words(shop))[0] == NO  # it is not locked
    assert say(capsys, shop, "checkpoint", "-o", str(shop.parent / "x"), "--as", "P-03", *with_words(shop))[0] == DONE
    store = SqliteStore(shop / "records.db")
    tried = [json.loads(raw)["said"] for raw in store.fetch("diary") if json.loads(raw)["kind"] == "tried"]
    store.close()
    assert tried == ["wrong"] * 5 + ["unlocked"]


def test_a_lock_ends_by_itself_after_an_hour(shop):
    enrolled(shop)
    now = [DAY]
    store = SqliteStore(shop / "records.db")
    desk = desk_in(shop, store, lambda: now[0])
    for _ in range(TRIES):
        with pytest.raises(RefusedError):
            desk.unlock("P-02", "wrong")
    now[0] += timedelta(minutes=59)
    with pytest.raises(RefusedError, match="It opens again an hour after the last one"):
        desk.unlock("P-02", WORDS["P-02"])
    now[0] += timedelta(minutes=2)
    assert desk.unlock("P-02", WORDS["P-02"]).person == "P-02"
    store.close()


def test_a_right_passphrase_after_wrong_ones_begins_the_count_anew(shop):
    enrolled(shop)
    store = SqliteStore(shop / "records.db")
    desk = desk_in(shop, store)
    for _ in range(2):
        for _ in range(TRIES - 1):
            with pytest.raises(RefusedError, match="left"):
                desk.unlock("P-02", "wrong")
        assert desk.unlock("P-02", WORDS["P-02"]).person == "P-02"
    assert not desk.diary.locked("P-02", desk.now())
    store.close()


def test_a_file_of_passphrases_that_others_can_read_is_refused(shop, capsys):
    (shop.parent / "words.txt").chmod(0o644)
    code, _, err = say(capsys, shop, "enrol", "P-04", *with_words(shop))
    assert (code, "others can read this file" in err) == (WRONG, True)
    (shop.parent / "words.txt").chmod(0o600)
    (shop.parent / "words.txt").write_text("P-04 no colon\n")
    assert "write `PERSON: passphrase`" in say(capsys, shop, "enrol", "P-04", *with_words(shop))[2]
    (shop.parent / "words.txt").write_text("# none\n")
    assert "has none for P-04" in say(capsys, shop, "enrol", "P-04", *with_words(shop))[2]
    code, _, err = say(capsys, shop, "enrol", "P-04")
    assert (code, "nobody could type a passphrase" in err) == (WRONG, True)
    (shop.parent / "words.txt").write_text("P-04: short\n")
    assert "at least 12 characters" in say(capsys, shop, "enrol", "P-04", *with_words(shop))[2]


def test_a_key_that_lies_elsewhere_or_is_older_is_said(shop):
    enrolled(shop)
    store = SqliteStore(shop / "records.db")
    desk = desk_in(shop, store)
    path = next((shop / "keys").glob("P-02-*.json"))
    path.write_bytes(make_key("P-02", WORDS["P-02"], chance("other"), CHEAP)[0])
    with pytest.raises(RefusedError, match="holds another key of P-02"):
        desk.unlock("P-02", WORDS["P-02"])
    path.unlink()
    with pytest.raises(Exception, match="the key lies on the device where it was made"):
        desk.unlock("P-02", WORDS["P-02"])
    with pytest.raises(RefusedError, match="P-09 cannot sign: they are not in the list of keys"):
        desk.unlock("P-09", "x")
    store.close()
