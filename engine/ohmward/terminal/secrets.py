"""Passphrases: typed without echo, or, for scripts, out of a file that nobody else may read."""

import argparse
import stat
import sys
from collections.abc import Callable, Mapping
from pathlib import Path

from ohmward.errors import RefusedError, UsageError
from ohmward.shop.folder import ShopFolder
from ohmward.shop.keyfile import Unlocked, passphrase_problem
from ohmward.store.contract import Store
from ohmward.terminal.edge import device_name, utc_now
from ohmward.terminal.keys import LineReader
from ohmward.terminal.screen import safe_text
from ohmward.work.keydesk import KeyDesk

Ask = Callable[[str, str], str]  # person, prompt


def asks_for_passphrases(options: argparse.Namespace) -> Ask:
    """Where passphrases come from. Raises UsageError where nobody could type one."""
    if getattr(options, "passphrases", None) is not None:
        return _from(read_passphrases(Path(options.passphrases)))
    if not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError(
            "this is not a terminal: nobody could type a passphrase. Scripts give --passphrases FILE"
        )
    return lambda _person, prompt: LineReader().read_secret(prompt)


def read_passphrases(path: Path) -> Mapping[str, str]:
    """Lines such as `P-01: four unrelated words`. Raises UsageError, also where others can read the file."""
    try:
        if stat.S_ISREG(path.stat().st_mode) and path.stat().st_mode & 0o077:
            raise UsageError(
                f"{path}: others can read this file; `chmod 600` it, and remove it when it is done"
            )
        lines = path.read_text(encoding="utf-8").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"{path}: cannot be read ({error})") from None
    found: dict[str, str] = {}
    for number, line in enumerate(lines, 1):
        person, colon, words = line.partition(":")
        if not line.strip() or line.startswith("#"):
            continue
        if not colon or not words.strip() or person.strip() in found:
            raise UsageError(f"{path}:{number}: write `PERSON: passphrase`, each person once")
        found[person.strip()] = words.strip()
    return found


def _from(known: Mapping[str, str]) -> Ask:
    def ask(person: str, _prompt: str) -> str:
        if person not in known:
            raise UsageError(f"the file of passphrases has none for {person}")
        return known[person]

    return ask


def desk_of(folder: ShopFolder, store: Store) -> KeyDesk:
    """The shop's keys, at this terminal."""
    return KeyDesk(store=store, folder=folder.path, clock=utc_now, device=device_name())


def unlocked(desk: KeyDesk, ask: Ask, person: str) -> Unlocked:
    """A person's open key, after their passphrase. Raises RefusedError."""
    member = desk.member(person)
    desk.must_not_be_locked(person)
    prompt = f"Passphrase of {safe_text(member.name)} ({person}), not shown > "
    return desk.unlock(person, ask(person, prompt))


def fresh_passphrase(ask: Ask, person: str, name: str) -> str:
    """A new passphrase, typed twice; asked again where it will not do. Raises RefusedError after the third time."""
    who, problem = f"{safe_text(name)} ({person})", ""
    for _ in range(3):
        again = f"{problem}. " if problem else ""
        first = ask(person, f"{again}New passphrase of {who}, not shown, at least 12 characters > ")
        problem = passphrase_problem(first, person=person, name=name)
        if not problem and ask(person, "The same once more > ") == first:
            return first
        problem = problem or "the two differ"
    raise RefusedError(f"{problem}; nothing was changed")
