"""What the employer takes out of use while somebody works: seen when a run is taken up, and before each next deed."""

import sys
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from ohmward.approval.consent import Word
from ohmward.errors import OhmwardError, StoreError
from ohmward.shop.folder import open_shop
from ohmward.shop.models import Register
from ohmward.shop.snapshot import came_back, gear_snapshot
from ohmward.terminal.approvals import FILE as APPROVALS
from ohmward.terminal.approvals import approvals_in
from ohmward.terminal.screen import safe_text
from ohmward.work.drive import Answers
from ohmward.work.intents import Begin, Happened, Intent, Stop
from ohmward.work.screenful import View
from ohmward.work.session import Session, Told

GEAR = "gear.yaml"
Stamp = tuple[tuple[int, int, int], ...]


def notice(lines: Iterable[str]) -> None:
    """Says something beside the screen."""
    for line in lines:
        sys.stderr.write(f"NOTICE: {safe_text(line)}\n")


def stop_what_was_recalled(folder: Path, session: Session) -> list[str]:
    """A run of a recalled table makes safe before anything else; gear that is out of use is put away."""
    seen = _look(folder, session)
    return seen.said + _put_away(session, seen.out)


@dataclass(frozen=True, slots=True)
class _Seen:
    """What is out of use now, what is said of it, and whether everything could be read."""

    out: Mapping[str, str] = field(default_factory=dict)
    said: list[str] = field(default_factory=list)
    whole: bool = True


def _look(folder: Path, session: Session) -> _Seen:
    account = session.account
    if account.ended:
        return _Seen()
    try:
        known = approvals_in(folder)
    except StoreError as error:
        if not account.rehearsal:
            session.apply(Stop(how="unsafe", why="whether it was recalled is not known"))
        return _Seen(said=[f"{error}. Whether this procedure was recalled is not known. Make safe."], whole=False)
    said: list[str] = []
    consent = known.tables.get(account.table_digest)
    if consent is not None and consent.recalled is not None:
        said.append(f"this procedure was recalled: {consent.recalled.why}. Make safe.")
        session.apply(Stop(how="unsafe", why=f"recalled: {consent.recalled.why}"))
    try:
        register = open_shop(str(folder)).register
    except OhmwardError:
        said.append(f"{folder / GEAR} or a file beside it cannot be read now: whether gear was withdrawn is not known")
        return _Seen(out=_recalled(known.gear, None, ""), said=said, whole=False)
    today = session.clock().date().isoformat()
    return _Seen(out={**_unlike(register, session), **_recalled(known.gear, register, today)}, said=said)


def _recalled(words: Mapping[str, Word], register: Register | None, today: str) -> dict[str, str]:
    """Gear that was recalled and has not come back since. Without the register nothing has."""
    gear = {g.id: g for g in register.gear} if register is not None else {}
    return {
        item: f"was recalled: {word.why}"
        for item, word in words.items()
        if item not in gear or not came_back(gear[item], word.time[:10], today)
    }


def _unlike(register: Register, session: Session) -> dict[str, str]:
    """Gear that the register withdraws, no longer has, or tells otherwise than when the run began."""
    began, now = session.account.opened["gear"], gear_snapshot(register, {})
    found = {item: "is no longer in the register" for item in began if item not in now}
    for item in began.keys() & now.keys():
        if now[item]["names"].get("withdrawn") == "true":
            found[item] = "is withdrawn from service now"
        elif _bare(now[item]) != _bare(began[item]):
            found[item] = "stands otherwise in the register than when this run began"
    return found


def _bare(item: Mapping[str, Any]) -> dict[str, Any]:
    return {**item, "names": {n: v for n, v in item["names"].items() if n != "withdrawn"}}


def _put_away(session: Session, out: Mapping[str, str]) -> list[str]:
    said = []
    for slot, item in dict(session.account.slots).items():
        if item in out and item not in session.account.bad and not session.account.ended:
            said.append(f"{item} {out[item]}. Put it away and tag it.")
            session.apply(Happened(event=f"{slot} found bad"))
    return said


class Watching:
    """Answers from within, with an eye on what is taken out of use: no deed is begun before it was looked at.

    An answer that was given is taken first: a reported deed is never refused. What is picked later is held against
    what is out of use as well.
    """

    def __init__(self, within: Answers, session: Session, folder: Path) -> None:
        self.within, self.session, self.folder = within, session, folder
        self._stamp: Stamp = ()
        self._seen = _Seen()
        self._told: set[str] = set()
        session.watch = self._looked

    def next(self, view: View) -> Intent | None:
        if self._looked():
            return None
        intent = self.within.next(view)
        return None if isinstance(intent, Begin) and self._looked() else intent

    def told(self, told: Told) -> None:
        self.within.told(told)

    def _looked(self) -> bool:
        """Whether something is said now that was not said before."""
        fresh = self._stamp_now()
        said: list[str] = []
        if fresh != self._stamp:
            self._seen = _look(self.folder, self.session)
            self._stamp = fresh if self._seen.whole else ()
            said = [line for line in self._seen.said if line not in self._told]
        said += _put_away(self.session, self._seen.out)
        self._told.update(said)
        notice(said)
        return bool(said)

    def _stamp_now(self) -> Stamp:
        """By what a file system tells of a file that was replaced; one that is not there is a stamp too."""
        found = []
        for name in (APPROVALS, GEAR):
            try:
                now = (self.folder / name).stat()
                found.append((now.st_mtime_ns, now.st_size, now.st_ino))
            except OSError:
                found.append((0, 0, 0))
        return tuple(found)
