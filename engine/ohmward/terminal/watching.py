"""What the employer takes out of use while somebody works: seen when a run is taken up, and before each next deed."""

import sys
from collections.abc import Iterable, Mapping
from pathlib import Path

from ohmward.approval.consent import Word
from ohmward.errors import OhmwardError, StoreError
from ohmward.shop.folder import open_shop
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
    """A run of a recalled table makes safe before anything else; recalled or withdrawn gear is out of use from here on."""
    account = session.account
    if account.ended:
        return []
    try:
        known = approvals_in(folder)
    except StoreError as error:
        if not account.rehearsal:
            session.apply(Stop(how="unsafe", why="whether it was recalled is not known"))
        return [f"{error}. Whether this procedure was recalled is not known. Make safe."]
    said: list[str] = []
    consent = known.tables.get(account.table_digest)
    if consent is not None and consent.recalled is not None:
        said.append(f"this procedure was recalled: {consent.recalled.why}. Make safe.")
        session.apply(Stop(how="unsafe", why=f"recalled: {consent.recalled.why}"))
    return said + _put_away(session, _out_of_use(folder, known.gear, said))


def _out_of_use(folder: Path, recalled: Mapping[str, Word], said: list[str]) -> dict[str, str]:
    """Gear that was recalled and not returned since, or that the register calls withdrawn now.

    A register that cannot be read leaves the gear as it was when the run began, and returns nothing.
    """
    try:
        register = {g.id: g for g in open_shop(str(folder)).register.gear}
    except OhmwardError:
        said.append(f"{folder / GEAR} or a file beside it cannot be read now: whether gear was withdrawn is not known")
        register = {}
    out = {i: "is withdrawn from service now" for i, g in register.items() if g.withdrawn != "no"}
    for item, word in recalled.items():
        back = register[item].returned if item in register else None
        if back is None or back < word.time[:10]:
            out[item] = f"was recalled: {word.why}"
    return out


def _put_away(session: Session, out: dict[str, str]) -> list[str]:
    said = []
    for slot, item in dict(session.account.slots).items():
        if item in out and item not in session.account.bad and not session.account.ended:
            said.append(f"{item} {out[item]}. Put it away and tag it.")
            session.apply(Happened(event=f"{slot} found bad"))
    return said


class Watching:
    """Answers from within, with an eye on what is taken out of use: no deed is begun before it was looked at.

    An answer that was given is taken first: a reported deed is never refused.
    """

    def __init__(self, within: Answers, session: Session, folder: Path) -> None:
        self.within, self.session, self.folder = within, session, folder
        self._seen = self._stamp()

    def next(self, view: View) -> Intent | None:
        if self._looked():
            return None
        intent = self.within.next(view)
        return None if isinstance(intent, Begin) and self._looked() else intent

    def told(self, told: Told) -> None:
        self.within.told(told)

    def _looked(self) -> bool:
        """Whether something changed what stands now."""
        fresh = self._stamp()
        if fresh == self._seen:
            return False
        self._seen = fresh
        said = stop_what_was_recalled(self.folder, self.session)
        notice(said)
        return bool(said)

    def _stamp(self) -> Stamp:
        """By what a file system tells of a file that was replaced; one that is not there is a stamp too."""
        found = []
        for name in (APPROVALS, GEAR):
            try:
                now = (self.folder / name).stat()
                found.append((now.st_mtime_ns, now.st_size, now.st_ino))
            except OSError:
                found.append((0, 0, 0))
        return tuple(found)
