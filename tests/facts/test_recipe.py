"""Whoever has only openssl, jq, base64 and sha256sum comes to the same verdict as we do: the recipe of the format document."""

import json
import re
import subprocess
from concurrent.futures import ThreadPoolExecutor
from dataclasses import replace
from hashlib import sha256

import pytest

from ohmward.record.canonical import canonical
from ohmward.record.checkpoint import LEAF, CheckpointFile
from ohmward.record.entry import Kind
from ohmward.record.format import FORMAT_DOCUMENT
from ohmward.record.integrity import verify_record_file
from ohmward.record.packed import pack
from tests.facts.test_tampering import WHOLE, data, short_record, small, spoiled
from tests.sealed import LINE, Small, counting, entries_of, put, raw_of, went_on


@pytest.fixture(scope="module")
def recipe(tmp_path_factory):
    path = tmp_path_factory.mktemp("recipe") / "verify.sh"
    text = FORMAT_DOCUMENT.read_text(encoding="utf-8")
    path.write_text(re.search(r"<!-- recipe -->\n```bash\n(.*?)```", text, re.DOTALL).group(1), encoding="utf-8")
    return path


def by_hand(recipe, folder, number, made: bytes, held=None) -> bool:
    path, point = folder / f"{number}.json", folder / f"{number}.checkpoint"
    path.write_bytes(made)
    point.write_bytes(held.to_bytes() if held else b"")
    done = subprocess.run(["bash", str(recipe), str(path), *([str(point)] if held else [])], capture_output=True, text=True, check=False)
    assert done.returncode in {0, 1}, done.stderr
    assert not done.stderr
    assert done.stdout.strip()
    assert done.stdout.startswith("good: ") is (done.returncode == 0), done.stdout
    return done.returncode == 0


def tampered() -> list[tuple[str, bytes]]:
    """Every operator at one entry of each kind, as it is and linked anew; what is done to the whole; good ones."""
    plain = json.loads(short_record())
    kinds = {e["kind"]: at for at, e in enumerate(entries_of(plain))}
    made = []
    for number, operator in enumerate(LINE):
        for kind, at in kinds.items():
            one = spoiled(plain, operator, at, chain=(number + at) % 3 != 0)
            made += [(f"{operator} at {kind}", one)] if one is not None else []
    made += [(name, data(change(plain))) for name, change in WHOLE.items()]
    shop = Small()
    shop.work("r1", 4)
    made.append(("good, not anchored", data(shop.plain("r1"))))
    shop.point()
    shop.revoke("P-02")
    made += [("good", short_record().encode()), ("good, revoked later", data(shop.plain("r1", photos={})))]
    late = small()
    late.sign("r1", "P-02", "performed")
    late.revoke("P-02")
    made.append(("revoked, not anchored", data(late.plain("r1"))))
    return made


def opened(run: str, shop: str = "Kornmuehle Service") -> Small:
    made = Small(shop)
    made.open(run)
    return made


def beside_a_checkpoint() -> list[tuple[str, bytes, CheckpointFile]]:
    """Records and the checkpoint that somebody holds: of their history, of a longer one, of another."""
    shop, first, whole = went_on()
    last = shop.point()
    cut = put(whole, entries_of(whole)[:-3], chain=True)
    made = [("whole", whole, first), ("whole, the last", whole, last), ("cut, the first", cut, first), ("cut", cut, last)]
    made += [("leaves of another tree", whole, replace(last, leaves=last.leaves[:-1])), ("its leaves in another order", whole, replace(last, leaves=last.leaves[::-1]))]
    spoiled_one = replace(last.checkpoint, signatures=((last.checkpoint.signatures[0][0], b"0" * 64),))
    made += [("a checkpoint that nobody signed", whole, replace(last, checkpoint=spoiled_one))]
    made += [(f"counting {word}", whole, counting(last, *last.leaves, more)) for word, more in (("another run", canonical({"entries": 0, "format": LEAF, "head": "0" * 64, "run": "r7"})), ("what is no leaf", b"{}"), ("a leaf with a blank", b" " + last.leaves[0]))]
    other = opened("r1")
    made += [("another story", {**other.plain("r1"), "anchors": []}, last), ("another shop", whole, opened("r1", "Another").point())]
    made += [("a checkpoint without it", opened("r1").plain("r1"), opened("r2").point())]
    shop = small()
    old = shop.desk.keys
    shop.revoke("P-02")
    shop.sign("r1", "P-02", "performed", keys=old, time="2026-11-25T08:03:00Z")
    without = {**shop.plain("r1"), "anchors": [], "keys": shop.plain_lists()[:1]}
    fork = Small()
    fork.renew("P-03")
    made += [("a list of keys left out", without, shop.point()), ("other lists", {**without, "keys": fork.plain_lists()}, shop.point())]
    return [(name, data(plain), held) for name, plain, held in made]


def odd_ones() -> list[tuple[str, bytes]]:
    """What lines, blanks and pieces could make of a record in a shell; and a good one with a picture."""
    shop = opened("r1")
    shop.entry("r1", Kind.NOTED, said=f"sha256:{sha256(b'a picture').hexdigest()} plate")
    plain = shop.plain("r1", photos={sha256(b"a picture").hexdigest(): b"a picture"})
    name = next(iter(plain["photos"]))
    anchored = json.loads(short_record())
    anchor = anchored["anchors"][0]
    made = [
        ("good, with a picture", data(plain)),
        ("a picture that nothing names", data({**plain, "photos": {sha256(b"x").hexdigest(): pack(b"x")}})),
        ("a picture's name and more", data({**plain, "photos": {f"{name} x": plain["photos"][name]}})),
        ("a run's name and a line's end", data({**plain, "run": "r1\n"})),
        ("a head and a line's end", data({**plain, "head": plain["head"] + "\n"})),
        ("an entry and a line's end", data(put(plain, entries_of(plain), chain=True, change=lambda n, raw: raw + b"\n" * (n == 2)))),
        ("two values in an entry", data(put(plain, entries_of(plain), chain=True, change=lambda n, raw: raw + b"{}" * (n == 2)))),
        ("an entry is empty", data({**plain, "entries": [*plain["entries"], ""]})),
        ("an entry in two pieces", data({**plain, "entries": [plain["entries"][0], pack(raw_of(entries_of(plain)[1])[:9]), pack(raw_of(entries_of(plain)[1])[9:])]})),
        ("an entry over two lines", data({**plain, "entries": [plain["entries"][0], "\n".join(plain["entries"][1:] * 2)]})),
        ("no leaf", data({**anchored, "anchors": [{**anchor, "leaf": None}]})),
        ("a leaf twice", data({**anchored, "anchors": [anchor, {**anchor, "index": anchor["index"] + 0.5}]})),
        ("no statement", data({**anchored, "anchors": [{**anchor, "statement": ""}]})),
        ("a list over two lines", data({**anchored, "keys": [{**anchored["keys"][0], "list": anchored["keys"][0]["list"][:8] + "\n" + anchored["keys"][0]["list"][8:]}]})),
        ("keys that are none", data({**anchored, "keys": [1]})),
    ]
    return [*made, ("not JSON", b"{"), ("nothing", b""), ("a list", b"[]\n")]


def disagreements(recipe, folder, made) -> list[str]:
    """Of records alone, and of records with a checkpoint that is held."""
    with ThreadPoolExecutor(2) as pool:
        hands = list(pool.map(lambda n: by_hand(recipe, folder, n, *made[n][1:]), range(len(made))))
    assert sum(hands) >= 1
    assert not all(hands)
    found = [verify_record_file(one, held=held[0] if held else None).intact for _, one, *held in made]
    return [name for (name, *_), hand, ours in zip(made, hands, found, strict=True) if ours is not hand]


@pytest.mark.long
def test_the_recipe_and_we_agree_on_tampered_records(recipe, tmp_path):
    made = tampered()
    assert len(made) >= 300
    assert not disagreements(recipe, tmp_path, made)


@pytest.mark.long
def test_the_recipe_and_we_agree_beside_a_checkpoint_that_is_held(recipe, tmp_path):
    assert not disagreements(recipe, tmp_path, beside_a_checkpoint())


@pytest.mark.long
def test_the_recipe_and_we_agree_on_what_is_odd_to_a_shell(recipe, tmp_path):
    assert not disagreements(recipe, tmp_path, odd_ones())
