"""`work` and `resume`."""

import argparse
import os
import signal
import sys
from datetime import datetime
from pathlib import Path
from typing import Any

from rich.console import Console

from ohmward.account.fold import NoRecordError, end_label, fold, open_matters
from ohmward.account.state import Account
from ohmward.errors import DONE, NO, StoreError, UsageError
from ohmward.record.chain import verify_chain
from ohmward.rehearsal.script import CrashNowError, FileAnswers, Line, ScriptClock, read_script
from ohmward.shop.due import due_soon
from ohmward.shop.folder import ShopFolder, keep_picture, open_shop
from ohmward.store.contract import Store
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import INSPECTION, inspections_due
from ohmward.terminal.edge import device_name, utc_now
from ohmward.terminal.keys import HungUpError, LineReader
from ohmward.terminal.opening import open_run
from ohmward.terminal.person import PersonAnswers
from ohmward.terminal.screen import CAUTION, Page, safe_text, say
from ohmward.terminal.signers import signing_of
from ohmward.terminal.watching import Watching, notice, stop_what_was_recalled
from ohmward.work.drive import Answers, drive
from ohmward.work.intents import Stop
from ohmward.work.keydesk import diary_of, verified
from ohmward.work.session import Clock, Session
from ohmward.work.tier import tier_of


def work(options: argparse.Namespace) -> int:
    """A new run: refused unless the table is proved, the job fits, and what was left there is accepted."""
    _need_terminal(options.answers)
    folder = open_shop(options.shop)
    clock: Clock = ScriptClock(utc_now) if options.rehearse and options.answers else utc_now
    lines = _lines(options.answers)
    running_out = (
        *due_soon(folder.roster, folder.register, clock().date()),
        *inspections_due(folder, clock().date()),
    )
    for item in (d for d in running_out if d.days >= 0 or d.what == INSPECTION):
        sys.stderr.write(f"NOTICE: {safe_text(item.words)}\n")
    session = open_run(
        folder,
        Path(options.job),
        options.procedure,
        clock,
        rehearsal=options.rehearse,
        signing=signing_of(options) if not options.rehearse or options.passphrases else None,
    )
    try:
        answers = _answers(session, lines, options.answers, clock, folder=folder.path)
        return work_on(session, Watching(answers, session, folder.path))
    finally:
        session.store.close()


def resume(options: argparse.Namespace) -> int:
    """An open run taken up again where it stands, after reconciling, minus the gates that were lost."""
    _need_terminal(options.answers)
    folder = open_shop(options.shop)
    lines = _lines(options.answers)
    store = SqliteStore(folder.store_path, verify=False)
    try:
        account = _chosen(folder, store, options.run)
        notice(
            f"{fault}. This run is taken up all the same; begin no other before somebody has looked"
            for fault in store.faults()
        )
        last = datetime.fromisoformat(account.time)
        clock: Clock = utc_now
        if account.rehearsal and options.answers:
            clock = ScriptClock(utc_now)
            clock.offset = max(clock.offset, last - utc_now())
        signer = signing_of(options).signer(store, folder, clock) if account.by_key else None
        session = Session.resume(
            store=store, run=account.run, clock=clock, device=device_name(), signer=signer
        )
        notice(_stop_what_does_not_hold(session, store))
        notice(stop_what_was_recalled(folder.path, session))
        crashes = sum(e.note == "taken up again" for e in session.account.entries)
        answers = _answers(
            session, lines, options.answers, clock, folder=folder.path, crashes=crashes, resumed=True
        )
        return work_on(session, Watching(answers, session, folder.path))
    finally:
        store.close()


def _stop_what_does_not_hold(session: Session, store: Store) -> list[str]:
    """A run whose signatures do not hold makes safe before anything else: what was taken for signed was not."""
    account = session.account
    if account.ended or not account.by_key:
        return []
    try:
        diary = diary_of(store)
        problem = diary.problem or verified(store, account.run, diary).problem
    except StoreError as error:
        problem = str(error)
    if not problem:
        return []
    session.apply(Stop(how="unsafe", why="the record's signatures do not hold"))
    return [f"{problem}. Make safe; nothing else is done in this run."]


def _chosen(folder: ShopFolder, store: SqliteStore, run: str | None) -> Account:
    """The run that is named, else the newest open one; other runs that cannot be read stand in nobody's way."""
    if run is not None and run not in store.runs():
        raise UsageError(f"there is no run '{run}' in {folder.path}; `ohmward runs` lists them")
    for name in (run,) if run is not None else reversed(store.runs()):
        try:
            found = fold(verify_chain(store.fetch(name), run=name).entries)
        except NoRecordError as error:
            if run is not None:
                raise StoreError(f"run {run} is no record of a run: {error}") from None
            continue
        if run is not None and found.ended:
            raise UsageError(f"run {found.run} has ended: {end_label(found)}")
        if not found.ended:
            return found
    raise UsageError(f"there is no open run in {folder.path}")


def _need_terminal(answers: str | None) -> None:
    if answers is None and not (sys.stdin.isatty() and sys.stdout.isatty()):
        raise UsageError("this is not a terminal and there is no --answers FILE: nobody could answer")


def _lines(answers: str | None) -> tuple[Line, ...] | None:
    if answers is None:
        return None
    try:
        data = Path(answers).read_bytes()
    except OSError as error:
        raise UsageError(f"{answers}: cannot be read ({error.strerror})") from None
    return read_script(data, answers)


def _answers(
    session: Session,
    lines: tuple[Line, ...] | None,
    file: str | None,
    clock: Clock,
    *,
    folder: Path,
    crashes: int = 0,
    resumed: bool = False,
) -> Answers:
    if lines is not None:
        return FileAnswers(lines, str(file), clock, skip_crashes=crashes)
    console = Console(highlight=False, no_color=bool(os.environ.get("NO_COLOR")) or None)
    answers = PersonAnswers(
        console,
        LineReader().read,
        lambda: session.account,
        keep_picture=lambda picture: keep_picture(folder, picture),
        resumed=resumed,
    )

    def hang_up(_signal: int, _frame: object) -> None:
        raise HungUpError

    signal.signal(signal.SIGHUP, hang_up)
    Page(console).line(CAUTION)
    return answers


def work_on(session: Session, answers: Answers) -> int:
    """Drives a session and says how it ended. 1 when the run stopped, 0 when it ended or takes a break."""
    run = session.account.run
    try:
        ended = drive(session, answers)
    except CrashNowError:
        os._exit(137)
    if not ended:
        for line in left_standing(session.account):
            say(f"WARNING: {line}")
        say(f"Run {run} waits. Go on with:", f"  ohmward resume {run}")
        return DONE
    account = session.account
    say(f"Run {run}: {end_label(account)}. {account.number} entries, head {session.head[:16]}")
    for matter in open_matters(account):
        say(f"  left on the machine: {matter.words}")
    return NO if account.node == "stopped" else DONE


def left_standing(account: Account) -> list[str]:
    """What a break leaves open or live, so that nobody walks away from it."""
    data: Any = account.table.data
    if account.ended:
        return []
    matters = [m.label for m in open_matters(account) if m.kind != "lock"]
    shock = [p["label"] for n, p in data["places"].items() if tier_of(account, n)[0] == "shock"]
    left = [f"left as it stands: {'; '.join(matters)}"] if matters else []
    return (
        [*left, f"may be live within reach: {'; '.join(shock)}. Nobody leaves it unguarded."]
        if shock
        else left
    )
