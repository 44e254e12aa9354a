"""`enrol`, `revoke`, `unlock`, `keys`: people and their keys."""

import argparse
import json
from contextlib import closing
from dataclasses import dataclass, replace
from pathlib import Path

from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.record.entering import first_list, next_list, with_key, with_person, without_key
from ohmward.record.keylist import Member
from ohmward.shop.folder import ShopFolder, open_shop
from ohmward.shop.keyfile import USUAL, Cost, Unlocked, keep_secret, key_path, make_key
from ohmward.shop.models import Person
from ohmward.shop.seal import new_seal
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.edge import random_bytes
from ohmward.terminal.screen import say
from ohmward.terminal.secrets import (
    Ask,
    asks_for_passphrases,
    desk_of,
    fresh_passphrase,
    unlocked,
)
from ohmward.work.keydesk import KeyDesk


def in_roster(folder: ShopFolder, person: str) -> Person:
    """Somebody of the roster. Raises UsageError."""
    known = next((p for p in folder.roster.people if p.id == person), None)
    if known is None:
        remedy = remedy_for(person, [p.id for p in folder.roster.people], what="people")
        raise UsageError(f"'{person}' is not in the roster; {remedy}")
    return known


def enrol(options: argparse.Namespace) -> int:
    """A key for a person of the roster; another one with --renew or --lost; their name and role as the roster has them now."""
    folder = open_shop(options.shop)
    ask = asks_for_passphrases(options)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        if options.seal:
            say(*_another_seal(folder, desk, _officer(options.person), ask))
            return DONE
        if options.new is None:
            raise UsageError("PERSON is missing: say who gets a key, by the id in the roster")
        known = in_roster(folder, options.new)
        if desk.diary.lists.current is None:
            say(*found_shop(folder, desk, known, ask))
            return DONE
        how = How(renew=options.renew, lost=options.lost, second=options.second)
        say(*enter(folder, desk, known, _officer(options.person), ask, how=how))
    return DONE


@dataclass(frozen=True, slots=True, kw_only=True)
class How:
    """Under which circumstances somebody gets another key."""

    renew: bool = False
    lost: bool = False
    second: str | None = None


FIRST_KEY = How()


def _officer(person: str | None) -> str:
    if person is None:
        raise UsageError("--as OFFICER is missing: people and keys are entered by a safety officer")
    return person


def _another_seal(folder: ShopFolder, desk: KeyDesk, officer: str, ask: Ask) -> list[str]:
    desk.must_have_role(officer, "enrol")
    by = unlocked(desk, ask, officer)
    seal = new_seal(folder.shop.shop, desk.clock())
    desk.keep_list(
        replace(next_list(desk.keys, desk.time_of_list()), authority=seal.authority), [by], officer
    )
    seal.keep(folder.path)
    return [f"another seal for pages; list of keys: version {desk.keys.version}"]


def found_shop(folder: ShopFolder, desk: KeyDesk, known: Person, ask: Ask, cost: Cost = USUAL) -> list[str]:
    """The first list of keys, by a safety officer who signs it. Raises RefusedError."""
    if known.role != "safety-officer":
        raise RefusedError(
            f"nobody has a key here yet, and {known.name} is {known.role.replace('-', ' ')}: a safety officer begins"
        )
    made = with_person(first_list(folder.shop.shop, desk.time_of_list()), known.id, known.name, known.role)
    fresh, data = _fresh_key(known, ask, cost)
    seal = new_seal(folder.shop.shop, desk.clock())
    made = with_key(made, known.id, fresh.public)
    made = replace(made, authority=seal.authority)
    _keep_key(folder, known.id, fresh.key, data)
    seal.keep(folder.path)
    desk.keep_list(made, [fresh], known.id)
    return [
        f"{known.name} ({known.id}), {known.role.replace('-', ' ')}: key {fresh.key[:16]}",
        "This shop's keys begin here. Write the next line down where it does not depend on this device:",
        f"origin {desk.diary.lists.origin}",
    ]


def _fresh_key(known: Person, ask: Ask, cost: Cost) -> tuple[Unlocked, bytes]:
    data, fresh = make_key(known.id, fresh_passphrase(ask, known.id, known.name), random_bytes, cost)
    return fresh, data


def _keep_key(folder: ShopFolder, person: str, key: str, data: bytes) -> None:
    keep_secret(key_path(folder.path, person, key), data)


def enter(
    folder: ShopFolder, desk: KeyDesk, known: Person, officer: str, ask: Ask, *, how: How = FIRST_KEY
) -> list[str]:
    """Another version of the list, by an officer. Raises RefusedError, UsageError."""
    current = desk.keys
    before = current.of(known.id)
    same = before is not None and (before.name, before.role) == (known.name, known.role)
    wants_key = before is None or before.current is None or how.renew or how.lost
    if same and not wants_key:
        raise RefusedError(
            f"{known.name} ({known.id}) has a key that holds; --renew makes another one, --lost does without the old one"
        )
    desk.must_have_role(officer, "enrol")
    signers = [unlocked(desk, ask, officer)]
    signers += _second(desk, ask, known, before, how) if before is not None and wants_key else []
    if how.second is not None and how.second not in {s.person for s in signers}:
        signers.append(unlocked(desk, ask, how.second))
    made = with_person(next_list(current, desk.time_of_list()), known.id, known.name, known.role)
    words = f"{known.name} ({known.id}), {known.role.replace('-', ' ')}"
    if wants_key:
        fresh, data = _fresh_key(known, ask, USUAL)
        made = with_key(made, known.id, fresh.public)
        _keep_key(folder, known.id, fresh.key, data)
        words += f": key {fresh.key[:16]}"
    desk.keep_list(made, _each_once(signers), officer)
    return [words, f"list of keys: version {desk.keys.version}"]


def _second(desk: KeyDesk, ask: Ask, known: Person, before: Member, how: How) -> list[Unlocked]:
    """Who besides the officer answers for another key: the old key, or a second person. Raises UsageError."""
    if before.current is not None and not how.lost:
        return [unlocked(desk, ask, known.id)]
    if how.second is None:
        raise UsageError(
            f"--with PERSON is missing: {known.name} had a key before. Somebody gets another one by their old key (--renew), or by two people, the officer and a second one"
        )
    return [unlocked(desk, ask, how.second)]


def _each_once(signers: list[Unlocked]) -> list[Unlocked]:
    return list({s.key: s for s in signers}.values())


def revoke(options: argparse.Namespace) -> int:
    """A key that no longer holds, from now on. Raises RefusedError."""
    folder = open_shop(options.shop)
    why = " ".join(options.why.split())[:200]
    if not why:
        raise UsageError("--why is empty: say why the key is revoked")
    ask = asks_for_passphrases(options)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        desk.member(options.holder)
        desk.must_have_role(options.person, "revoke")
        by = unlocked(desk, ask, options.person)
        desk.keep_list(
            without_key(next_list(desk.keys, desk.time_of_list()), options.holder, why), [by], options.person
        )
        say(
            f"the key of {options.holder} is revoked: {why}",
            "What it signed before stays good as far as a checkpoint from before holds it.",
        )
    return DONE


def unlock(options: argparse.Namespace) -> int:
    """Takes the lock of five wrong passphrases off. Raises RefusedError."""
    folder = open_shop(options.shop)
    ask = asks_for_passphrases(options)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        desk.must_have_role(options.person, "unlock")
        if options.holder == options.person:
            raise RefusedError("nobody takes the lock off their own key")
        by = unlocked(desk, ask, options.person)
        desk.take_lock_off(options.holder, by.person)
        say(f"the key of {options.holder} is not locked any more")
    return DONE


def keys(options: argparse.Namespace) -> int:
    """Who has a key, and since when; with -o the lists of keys as a file for outsiders."""
    folder = open_shop(options.shop)
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        diary, now = desk.diary, desk.now()
    if options.output is not None:
        from ohmward.record.packed import write_json
        from ohmward.terminal.records import write_file

        plain = {"format": "ohmward-key-lists-1", "keys": [s.plain() for s in diary.lists.signed]}
        write_file(Path(options.output), write_json(plain))
    current = diary.lists.current
    rows = (
        [_row(m, locked=diary.locked(m.person, now)) for m in current.people] if current is not None else []
    )
    if options.json:
        version = current.version if current is not None else 0
        print(json.dumps({"version": version, "origin": diary.lists.origin, "people": rows}, indent=1))
        return DONE
    say(*[_words(row) for row in rows] or ["nobody has a key here yet"])
    if current is not None:
        say(f"list of keys: version {current.version} of {current.time}", f"origin {diary.lists.origin}")
    return DONE


def _row(member: Member, *, locked: bool) -> dict[str, object]:
    key = member.current
    return {
        "person": member.person,
        "name": member.name,
        "role": member.role,
        "key": key.key if key is not None else "",
        "since": key.since if key is not None else "",
        "revoked": [{"key": k.key, "time": k.revoked, "why": k.why} for k in member.keys if k.revoked],
        "locked": locked,
    }


def _words(row: dict[str, object]) -> str:
    key = f"key {str(row['key'])[:16]} since {str(row['since'])[:10]}" if row["key"] else "no key that holds"
    return f"{row['person']}  {row['name']}  {str(row['role']).replace('-', ' ')}  {key}" + (
        "  LOCKED" if row["locked"] else ""
    )
