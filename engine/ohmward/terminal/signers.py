"""Signatures at a terminal: every line is shown, the passphrase is asked, and nobody signs in another's name."""

import argparse
from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from rich.console import Console

from ohmward.account.lines import asks_who_supervises, attended_words, line_of
from ohmward.account.pair import two_read_now
from ohmward.errors import OhmwardError, RefusedError
from ohmward.record.authority import same_person
from ohmward.record.parts import Parts
from ohmward.record.signing import Signed, Statement, make_statement, may_not_sign
from ohmward.shop.folder import ShopFolder
from ohmward.shop.keyfile import Unlocked
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.edge import device_name, ticks
from ohmward.terminal.keys import BreakKeyError, HungUpError
from ohmward.terminal.screen import Page
from ohmward.terminal.secrets import Ask, asks_for_passphrases, unlocked
from ohmward.work.keydesk import KeyDesk, Sitting
from ohmward.work.signer import Asked

Say = Callable[[str], None]


class DeskSigner:
    """Asks for passphrases as often as there are tries; an empty one leaves it unsigned."""

    def __init__(self, desk: KeyDesk, sitting: Sitting, ask: Ask, say: Say, *, once: bool = False) -> None:
        self.desk, self.sitting, self.ask, self.say, self.once = desk, sitting, ask, say, once
        self._proved: Unlocked | None = None
        self._shown = 0  # how many entries were shown to whoever proved who they are, before they signed
        self._retry = False

    def sign(self, asked: Asked) -> Signed | None:
        """The signature, or None after saying why there is none: nobody is kept from making safe."""
        try:
            return self._sign(asked)
        except OhmwardError as error:
            self.say(str(error))
            return None

    def _sign(self, asked: Asked) -> Signed | None:
        statement = statement_for(self.desk, asked)
        self._show(asked, statement)
        unlocked_key = self._open(asked.person, statement.name, asked.meaning)
        if unlocked_key is None:
            self.say(f"Not signed by {statement.name}. It can be signed later:")
            self.say(f"  ohmward sign {statement.run} --as {statement.person}")
            return None
        raw = statement.to_bytes()
        return Signed(statement=raw, signature=unlocked_key.sign(raw))

    def prove(self, asked: Asked, remark: str) -> bool:
        """Shows what is to be signed and asks for the passphrase; the signature that follows at once needs no other.

        Raises RefusedError for a person who may not sign it.
        """
        self._show(asked, statement_for(self.desk, asked))
        if remark:
            self.say(f"  and then, in your words: {remark}")
        self._proved = self._ask_until(asked.person)
        self._shown = asked.account.number
        return self._proved is not None

    def hand_over(self) -> None:
        self.sitting.end()
        self._proved = None

    def _show(self, asked: Asked, statement: Statement) -> None:
        """Every line that this person has not signed, or, right after they proved who they are, what came since."""
        seen = self._shown if self._proved is not None and self._proved.person == asked.person else 0
        fresh = [e for e in asked.fresh if e.number > seen]
        self.say("")
        if not fresh:
            return
        meaning = f"'{statement.meaning}'"
        if statement.meaning == "supervised":
            meaning += f" ({attended_words(asked.account, asked.person, asked.account.number + 1)})"
        self.say(
            f"TO SIGN: {meaning}, by {statement.name} ({statement.person}), entries {fresh[0].number} to {fresh[-1].number}"
        )
        for entry in fresh:
            number, clock, what, said, actor = line_of(asked.account, entry)
            if said and two_read_now(asked.account, entry, asked.person):
                said = "not shown while two read"
            self.say(f"  {number} {clock} {actor}: {what}" + (f" - {said}" if said else ""))

    def _open(self, person: str, name: str, meaning: str) -> Unlocked | None:
        proved, self._proved = self._proved, None
        if proved is not None and proved.person == person:
            return proved
        kept = (
            self.sitting.of(person) if meaning == "performed" else None
        )  # what others answer for is never spared
        if kept is not None and self._once_more(person, name):
            return kept
        if kept is not None and not self._retry:
            return None
        fresh = self._ask_until(person)
        if fresh is not None and meaning == "performed":
            self.sitting.keep(fresh)
        return fresh

    def _ask_until(self, person: str) -> Unlocked | None:
        """The key by the right passphrase, or None: left, locked, or a script that was wrong."""
        while not self.desk.diary.locked(person, self.desk.now()):
            try:
                return unlocked(self.desk, self._asked_of, person)
            except _LeftUnsignedError:
                return None
            except OhmwardError as error:
                self.say(str(error))
                if self.once:
                    return None
        self.desk.must_not_be_locked(person)  # says so
        return None

    def _asked_of(self, person: str, prompt: str) -> str:
        try:
            given = self.ask(person, prompt)
        except (BreakKeyError, HungUpError):
            raise _LeftUnsignedError from None
        if not given:
            raise _LeftUnsignedError
        return given

    def _once_more(self, person: str, name: str) -> bool:
        """Within a sitting: the person says once more who they are."""
        try:
            given = self._asked_of(person, f"{name}: type your id to sign, Enter to leave it > ")
        except _LeftUnsignedError:
            self._retry = False
            return False
        self._retry = True  # whatever else it was: then by the passphrase
        return self.once or given.casefold() == person.casefold()


class _LeftUnsignedError(Exception):
    """Nobody signs now."""


def statement_for(desk: KeyDesk, asked: Asked) -> Statement:
    """What the person signs, by the list of keys as it stands now. Raises RefusedError when they may not."""
    member = desk.member(asked.person)
    known = asked.account.opened["people"].get(asked.person, {})
    if known and (known.get("name"), known.get("role")) != (member.name, member.role):
        raise RefusedError(
            f"{asked.person} is {known.get('name')}, {known.get('role')} in this record, and {member.name}, {member.role} in the list of keys: a safety officer brings the list up to date with `ohmward enrol {asked.person} --as OFFICER`"
        )
    others = ((o, p.get("name", o)) for o, p in asked.account.opened["people"].items() if o != asked.person)
    twin = next((o for o in others if same_person((asked.person, member.name), o)), None)
    if twin is not None:
        raise RefusedError(
            f"{member.name} ({asked.person}) reads like {twin[1]} ({twin[0]}) in this record: nobody can tell who signs"
        )
    if asked.time < desk.keys.time:
        raise RefusedError(
            f"not signed: the device's clock says {asked.time}, and the list of keys is of {desk.keys.time}. Put the clock right"
        )
    against = may_not_sign(
        person=asked.person,
        name=member.name,
        role=member.role,
        meaning=asked.meaning,
        parts=Parts(asked.account.entries),
        list_names=desk.keys,
    )
    if against:
        raise RefusedError(f"not signed: {against}")
    if asked.meaning == "supervised" and not _supervises(asked):
        raise RefusedError(
            f"{asked.person} was named as supervising at no entry of run {asked.account.run}: there is nothing to sign as supervised"
        )
    return make_statement(
        run=asked.account.run,
        entries=asked.account.number,
        head=asked.head,
        person=asked.person,
        meaning=asked.meaning,
        time=asked.time,
        keys=desk.keys,
    )


def _supervises(asked: Asked) -> bool:
    """Whether somebody was named as supervising, or signs right before the answer that names them."""
    attended = any(a.person == asked.person for a in asked.account.attended)
    return attended or asks_who_supervises(asked.account)


@dataclass(frozen=True, slots=True, kw_only=True)
class Signing:
    """How signatures are asked for at this terminal; `once`: a script, which is not asked again."""

    ask: Ask
    say: Say
    once: bool = False

    def signer(self, store: SqliteStore, folder: ShopFolder, clock: Callable[[], datetime]) -> DeskSigner:
        """Over a store that is open."""
        desk = KeyDesk(store=store, folder=folder.path, clock=clock, device=device_name())
        return DeskSigner(desk, Sitting(ticks), self.ask, self.say, once=self.once)


def signing_of(options: argparse.Namespace) -> Signing:
    """As the command line says. Raises UsageError where nobody could type a passphrase."""
    scripted = options.passphrases is not None
    return Signing(ask=asks_for_passphrases(options), say=_say_line, once=scripted)


def _say_line(text: str) -> None:
    """Free text that wraps stands deeper than any line begins: nothing that was typed looks like an entry of its own."""
    indent = len(text) - len(text.lstrip())
    Page(Console(highlight=False)).line(text, indent=indent, hanging=4 if indent else 0)
