"""Keys in use: passphrases and their tries, versions of the list, the diary. Effects are handed in.

Authority is looked up in the list as it stands at each use; a sitting only spares the passphrase, for a minute.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any

from ohmward.errors import RefusedError, StoreError, UsageError
from ohmward.record.authority import may, who_may
from ohmward.record.chain import Links
from ohmward.record.diary import DIARY, RIGHT, TRIES, UNLOCKED, WRONG, Diary, pairs_for, read_diary
from ohmward.record.entry import Entry, Kind, read_entry
from ohmward.record.integrity import Integrity, verify_run
from ohmward.record.keylist import KeyList, Member, SignedList
from ohmward.record.versions import follow
from ohmward.shop.keyfile import Unlocked, key_path, unlock_key
from ohmward.store.contract import Store
from ohmward.work.draft import stamp

AHEAD = timedelta(minutes=10)  # how far a time may be ahead of the clock and still be believed
IDLE = 60.0  # seconds without a signature after which the passphrase is asked again


def diary_of(store: Store) -> Diary:
    """The diary as it stands in a store. Raises StoreError when its chain is broken."""
    links = Links(DIARY)

    def followed() -> Any:  # noqa: ANN401  pairs of entry and head
        for raw in store.fetch(DIARY):
            entry = links.add(raw)
            if isinstance(entry, str):
                raise StoreError(f"the diary is {entry}. Nothing is signed; keep the store as it is.")
            yield entry, links.head

    return read_diary(followed())


def verified(store: Store, run: str, diary: Diary | None = None) -> Integrity:
    """A run's record under the lists of keys and the checkpoints of its store. Raises StoreError for a broken diary."""
    diary = diary_of(store) if diary is None else diary
    return verify_run(store.fetch(run), run=run, lists=diary.lists, pairs=pairs_for(diary).get(run, ()))


@dataclass(slots=True)
class Sitting:
    """Keys that are open at one terminal, each until it was idle for a minute or was handed over."""

    ticks: Callable[[], float]
    _open: dict[str, tuple[Unlocked, float]] = field(default_factory=dict)

    def of(self, person: str) -> Unlocked | None:
        """The person's open key, if it signed within the last minute; asking for it does not make that longer."""
        unlocked, used = self._open.get(person, (None, 0.0))
        if unlocked is None or not 0 <= self.ticks() - used < IDLE:
            self._open.pop(person, None)
            return None
        return unlocked

    def keep(self, unlocked: Unlocked) -> None:
        """One key at a time: whoever signs next ends the other's sitting."""
        self._open = {unlocked.person: (unlocked, self.ticks())}

    def end(self) -> None:
        self._open.clear()


class KeyDesk:
    """The shop's keys and diary, over one store."""

    def __init__(self, *, store: Store, folder: Path, clock: Callable[[], datetime], device: str) -> None:
        self.store, self.folder, self.clock, self.device = store, folder, clock, device
        self._diary = Diary()

    @property
    def diary(self) -> Diary:
        """Read anew whenever somebody has written to it. Raises StoreError for one that is not to be believed."""
        if self.store.head(DIARY) != self._diary.head:
            self._diary = diary_of(self.store)
        if self._diary.problem:
            raise StoreError(
                f"the diary is {self._diary.problem}. Nothing is signed; keep the store as it is."
            )
        return self._diary

    @property
    def keys(self) -> KeyList:
        """The current list. Raises RefusedError when nobody has a key here yet."""
        current = self.diary.lists.current
        if current is None:
            raise RefusedError(
                "nobody has a key here yet: a safety officer begins with `ohmward enrol PERSON`, by their id in the roster"
            )
        return current

    def member(self, person: str) -> Member:
        """Somebody whose key holds now. Raises RefusedError."""
        found = self.keys.of(person)
        if found is None or found.current is None:
            why = "their key was revoked" if found is not None else "they are not in the list of keys"
            raise RefusedError(
                f"{person} cannot sign: {why}. A safety officer enters a key with `ohmward enrol {person} --as OFFICER`"
            )
        return found

    def write(
        self,
        kind: Kind,
        actor: str,
        *,
        said: str = "",
        note: str = "",
        data: Mapping[str, Any] | None = None,
        time: str = "",
    ) -> None:
        """One entry of the diary, durable. Raises MovedOnError, StoreError."""
        diary = self.diary
        entry = Entry(
            run=DIARY,
            number=diary.number + 1,
            previous=diary.head,
            time=time or self.now(),
            actor=actor,
            device=self.device,
            kind=kind,
            said=said,
            note=note,
            data=data or {},
        )
        self.store.append(DIARY, after=diary.head, data=entry.to_bytes())

    def now(self) -> str:
        """The time of the next entry: the clock's, and never before what the diary says last. Raises RefusedError."""
        clock, diary = self.clock(), self.diary.time
        if diary > stamp(clock + AHEAD):
            raise RefusedError(
                f"the device's clock says {stamp(clock)}, and the diary's last entry is of {diary}: put the clock right"
            )
        return max(stamp(clock), diary)

    def time_of_list(self) -> str:
        """The time of the next list of keys: not before a signature that was given just now, by whatever clock."""
        newest = self.store.newest()
        last = read_entry(newest).time if newest is not None else ""
        now = self.now()
        return max(now, last) if last <= stamp(self.clock() + AHEAD) else now

    def must_have_role(self, person: str, action: str) -> Member:
        """Somebody whose role in the current list may do it. Raises RefusedError."""
        member = self.member(person)
        if not may(member.role, action):
            raise RefusedError(
                f"{member.name} ({person}) is {member.role.replace('-', ' ')}: this is for {who_may(action)}"
            )
        return member

    def must_not_be_locked(self, person: str) -> None:
        """Raises RefusedError."""
        if self.diary.locked(person, self.now()):
            raise RefusedError(
                f"the key of {person} is locked after {TRIES} wrong passphrases. It opens again an hour after the last one, or when a supervisor or safety officer takes the lock off: `ohmward unlock {person} --as PERSON`"
            )

    def unlock(self, person: str, passphrase: str) -> Unlocked:
        """The person's open key. Each wrong passphrase is an entry before it is told. Raises RefusedError, UsageError."""
        member = self.member(person)
        self.must_not_be_locked(person)
        key = member.current.key if member.current is not None else ""
        path = key_path(self.folder, person, key)
        try:
            data = path.read_bytes()
        except OSError as error:
            raise UsageError(
                f"{path}: cannot be read ({error.strerror}); the key lies on the device where it was made"
            ) from None
        unlocked = unlock_key(data, str(path), person, passphrase)
        if unlocked is None:
            self._count(person)
            raise RefusedError(self._tries_left(person))
        if unlocked.key != key:
            raise RefusedError(f"{path} holds another key of {person} than the list of keys names")
        if self.diary.wrong.get(person, 0):
            self.write(Kind.TRIED, person, said=RIGHT)
        return unlocked

    def _count(self, person: str) -> None:
        number = self.diary.wrong.get(person, 0) + 1
        self.write(Kind.TRIED, person, said=WRONG, note=f"wrong passphrase, {number} of {TRIES}")

    def _tries_left(self, person: str) -> str:
        left = TRIES - self.diary.wrong.get(person, 0)
        if left > 0:
            return f"that is not the passphrase of {person}; {left} {'try' if left == 1 else 'tries'} left"
        return f"that is not the passphrase of {person}; the key is locked now, and the diary says so"

    def take_lock_off(self, person: str, by: str) -> None:
        """Takes the lock off a key, after `by` has shown their own. Raises RefusedError."""
        if not self.diary.locked(person, self.now()):
            raise RefusedError(f"the key of {person} is not locked")
        self.write(Kind.TRIED, by, said=UNLOCKED, note=person)

    def keep_list(self, fresh: KeyList, signers: Sequence[Unlocked], by: str) -> None:
        """Signs a version and keeps it. Raises RefusedError when it does not follow the one before."""
        raw = fresh.to_bytes()
        signed = SignedList(raw=raw, signatures=tuple((s.key, s.sign(raw)) for s in signers))
        problem = follow((*self.diary.lists.signed, signed)).problem
        if problem:
            raise RefusedError(f"the list of keys was not changed: {problem}")
        self.write(Kind.KEYS, by, data=signed.plain(), time=fresh.time)
