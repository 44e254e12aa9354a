"""A small shop in memory with people, keys, a signed record and checkpoints, for facts about what is found."""

import base64
import json
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from hashlib import sha256
from pathlib import Path

from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from cryptography.hazmat.primitives.serialization import Encoding, PublicFormat

from ohmward.errors import MovedOnError
from ohmward.record.bundle import Bundle, make_bundle
from ohmward.record.checkpoint import CheckpointFile, SignedCheckpoint, read_checkpoint
from ohmward.record.diary import anchors_for
from ohmward.record.ed25519 import key_id
from ohmward.record.entering import first_list, next_list, with_key, with_person, without_key
from ohmward.record.entry import NOTHING, Entry, Kind, Reading, digest_of
from ohmward.record.merkle import root_of
from ohmward.record.packed import pack
from ohmward.record.signing import Signed, make_statement
from ohmward.shop.keyfile import Unlocked
from ohmward.work.checkpoints import make_checkpoint
from ohmward.work.keydesk import KeyDesk

START = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
PEOPLE = {
    "P-01": ("Ida Brandl", "qualified-person"),
    "P-02": ("Tomas Reyl", "apprentice"),
    "P-03": ("Nuria Falk", "supervisor"),
    "P-04": ("Oskar Lindt-Weiss", "safety-officer"),
}
OTHERS = (Kind.BEGUN, Kind.ANSWERED, Kind.LOST, Kind.REFUSED, Kind.STOPPED, Kind.INTERRUPTED, Kind.CORRECTED, Kind.FOUND, Kind.RELEASED, Kind.NOTED)


class MemoryStore:
    """The contract of a store, in memory."""

    def __init__(self) -> None:
        self.raw: dict[str, list[bytes]] = {}
        self.last: bytes | None = None

    def append(self, run, *, after, data):
        if self.head(run) != after:
            raise MovedOnError("moved on")
        self.raw.setdefault(run, []).append(data)
        self.last = data
        return digest_of(data)

    def head(self, run):
        return digest_of(self.raw[run][-1]) if self.raw.get(run) else NOTHING

    def heads(self):
        return {r: (len(raw), digest_of(raw[-1])) for r, raw in self.raw.items()}

    def newest(self):
        return self.last

    def fetch(self, run):
        return iter(self.raw.get(run, ()))

    def runs(self):
        return tuple(r for r in self.raw if r != "diary")

    def close(self):
        pass


@cache
def key_for(person: str, number: int = 1) -> Unlocked:
    private = Ed25519PrivateKey.from_private_bytes(sha256(f"{person} {number}".encode()).digest())
    public = private.public_key().public_bytes(Encoding.DER, PublicFormat.SubjectPublicKeyInfo)
    return Unlocked(person=person, key=key_id(public), public=public, private=private)


class Small:
    """A shop whose clock goes on by a minute at each look."""

    def __init__(self, shop: str = "Kornmuehle Service", store=None) -> None:
        self.store = MemoryStore() if store is None else store
        self.now = START
        self.desk = KeyDesk(store=self.store, folder=Path("nowhere"), clock=self.tick, device="d")
        made = first_list(shop, self.desk.now())
        for person, (name, role) in PEOPLE.items():
            made = with_key(with_person(made, person, name, role), person, key_for(person).public)
        self.desk.keep_list(made, [key_for("P-04")], "P-04")

    def tick(self) -> datetime:
        self.now += timedelta(minutes=1)
        return self.now

    def entry(self, run: str, kind: Kind, actor: str = "P-02", **fields) -> None:
        time = fields.pop("time", None) or self.desk.now()
        number, head = self.store.heads().get(run, (0, NOTHING))
        entry = Entry(run=run, number=number + 1, previous=head, time=time, actor=actor, device="d", kind=kind, **fields)
        self.store.append(run, after=head, data=entry.to_bytes())

    def open(self, run: str, **data) -> None:
        people = {p: {"name": n, "role": r} for p, (n, r) in PEOPLE.items()}
        self.entry(run, Kind.OPENED, data={"people": people, "table": {"limit": "3 V"}, **data})

    def sign(self, run: str, person: str, meaning: str, key: Unlocked | None = None, *, keys=None, time: str = "") -> None:
        key = key or key_for(person)
        number, head = self.store.heads()[run]
        time = time or self.desk.now()
        made = make_statement(run=run, entries=number, head=head, person=person, meaning=meaning, time=time, keys=keys or self.desk.keys)
        made = made._replace(key=key.key)
        raw = made.to_bytes()
        self.entry(run, Kind.SIGNED, person, said=meaning, data=Signed(statement=raw, signature=key.sign(raw)).plain(), time=time)

    def work(self, run: str, count: int) -> None:
        """Opened, then entries of every kind in turn, a signature after each ten."""
        self.open(run)
        for number in range(count):
            kind = OTHERS[number % len(OTHERS)]
            values = (Reading(point="a", said=f"{number}.0", low=f"{number} V", high=f"{number + 1} V"),) if kind is Kind.ANSWERED else ()
            self.entry(run, kind, said=f"said {number}", step=f"s{number}", outcome="done", instrument="M-07", note="n", trigger=f"t{number}", values=values)
            if number % 10 == 4:
                self.sign(run, "P-01", "supervised")
            if number % 10 == 9:
                self.sign(run, "P-02", "performed")
        self.sign(run, "P-02", "performed")
        self.entry(run, Kind.RETURNED, "P-03", note="what was the wind?")
        self.sign(run, "P-03", "reviewed")

    def point(self, person: str = "P-03"):
        return make_checkpoint(self.desk, key_for(person))

    def revoke(self, person: str, by: str = "P-04", why: str = "lost") -> None:
        self.desk.keep_list(without_key(next_list(self.desk.keys, self.desk.now()), person, why), [key_for(by)], by)

    def renew(self, person: str, number: int = 2) -> None:
        made = with_key(next_list(self.desk.keys, self.desk.now()), person, key_for(person, number).public)
        self.desk.keep_list(made, [key_for("P-04"), key_for(person)], "P-04")

    def change_role(self, person: str, role: str) -> None:
        made = with_person(next_list(self.desk.keys, self.desk.now()), person, PEOPLE[person][0], role)
        self.desk.keep_list(made, [key_for("P-04")], "P-04")

    def bundle(self, run: str, **more) -> Bundle:
        diary = self.desk.diary
        raw = tuple(self.store.fetch(run))
        return Bundle(run=run, raw=raw, head=digest_of(raw[-1]), lists=diary.lists.signed, anchors=anchors_for(diary, run), **more)

    def plain_lists(self) -> list[dict]:
        return [s.plain() for s in self.desk.diary.lists.signed]

    def plain(self, run: str, **more) -> dict:
        return json.loads(make_bundle(self.bundle(run, **more)))


def signed_point(raw: bytes, *people: str) -> SignedCheckpoint:
    """A checkpoint's statement with the signatures of people, each by their own good key."""
    return SignedCheckpoint(raw=raw, signatures=tuple((key_for(p).key, key_for(p).sign(raw)) for p in people))


def counting(held: CheckpointFile, *leaves: bytes) -> CheckpointFile:
    """The checkpoint that P-03 would sign over other leaves."""
    raw = replace(read_checkpoint(held.checkpoint.raw), size=len(leaves), root=root_of(leaves)).to_bytes()
    return replace(held, checkpoint=signed_point(raw, "P-03"), leaves=leaves)


def went_on() -> tuple[Small, CheckpointFile, dict]:
    """A shop, its checkpoint over ten entries, and the record with three more."""
    shop = Small()
    shop.work("r1", 5)
    held = shop.point()
    for number in range(3):
        shop.entry("r1", Kind.NOTED, note=f"later {number}")
    return shop, held, shop.plain("r1")


# -- what is done to a bundle ------------------------------------------------------------------------------


def entries_of(plain: dict) -> list[dict]:
    return [json.loads(base64.b64decode(e)) for e in plain["entries"]]


def raw_of(entry: dict) -> bytes:
    return json.dumps(entry, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def put(plain: dict, entries: list[dict], *, chain: bool, change=lambda number, raw: raw) -> dict:
    """The bundle with these entries; `chain`: numbers, links and head made anew, as somebody would who knows how.

    `change`: what becomes of an entry's bytes.
    """
    raw, head = [], NOTHING
    for number, entry in enumerate(entries, 1):
        one = {**entry, "number": number, "previous": head} if chain else entry
        raw.append(change(number, raw_of(one)))
        head = digest_of(raw[-1])
    return {**plain, "entries": [pack(r) for r in raw], "head": head if chain else plain["head"]}


def spoil(text: str) -> str:
    return f"{text}x" if text else "x"


def edit(field: str, change=spoil):
    def apply(entries: list[dict], at: int) -> list[dict]:
        return [*entries[:at], {**entries[at], field: change(entries[at][field])}, *entries[at + 1 :]]

    return apply


def swapped(entries, at):
    other = at - 1 if at else min(1, len(entries) - 1)
    low, high = sorted((at, other))
    if low == high:
        return entries[:-1]
    return [*entries[:low], entries[high], *entries[low + 1 : high], entries[low], *entries[high + 1 :]]


def back(time: str) -> str:
    return f"2025{time[4:]}"


def forward(time: str) -> str:
    return f"2027{time[4:]}"


LINE = {
    "edit said": edit("said"),
    "edit outcome": edit("outcome"),
    "edit step": edit("step"),
    "edit note": edit("note"),
    "edit trigger": edit("trigger"),
    "edit shown": edit("shown"),
    "edit taken": edit("taken"),
    "edit device": edit("device"),
    "edit instrument": edit("instrument"),
    "edit actor": edit("actor", lambda a: "P-04" if a != "P-04" else "P-01"),
    "edit kind": edit("kind", lambda k: "noted" if k != "noted" else "lost"),
    "edit values": edit("values", lambda v: [{"point": "a", "said": "9.9", "low": "", "high": ""}] if not v else [{**v[0], "said": "9.9"}]),
    "edit units": edit("values", lambda v: [{"point": "a", "said": "9 mV", "low": "", "high": ""}] if not v else [{**v[0], "low": v[0]["low"] + " mV"}]),
    "edit procedure": edit("data", lambda d: {**d, "table": {"limit": "300 V"}}),
    "edit run": edit("run"),
    "back-date": edit("time", back),
    "forward-date": edit("time", forward),
    "delete": lambda e, at: e[:at] + e[at + 1 :],
    "insert": lambda e, at: [*e[:at], {**e[at], "said": "inserted"}, *e[at:]],
    "duplicate": lambda e, at: [*e[: at + 1], e[at], *e[at + 1 :]],
    "swap": swapped,
    "truncate": lambda e, at: e[:at],
    "fork": lambda e, at: [*e[:at], *({**x, "note": "another story"} for x in e[at:])],
}

