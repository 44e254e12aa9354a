"""`work` and `resume`."""

import argparse
import os
import secrets
import signal
import socket
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

from rich.console import Console

from ohmward import __version__
from ohmward.account.facts import check_fact
from ohmward.account.fold import NoRecordError, end_label, fold, open_matters
from ohmward.account.history import closings_after_trips, earlier_readings
from ohmward.account.state import Account
from ohmward.approval.consent import decide_work
from ohmward.approval.statement import digest_of_statement, statement_of
from ohmward.chart.table import Table
from ohmward.errors import DONE, NO, StoreError, UsageError
from ohmward.record.chain import verify_chain
from ohmward.rehearsal.script import CrashNowError, FileAnswers, Line, ScriptClock, read_script
from ohmward.shop.due import due_soon
from ohmward.shop.folder import ShopFolder, keep_picture, open_shop, read_job
from ohmward.shop.snapshot import gear_snapshot, job_snapshot, people_snapshot
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import INSPECTION, approvals_in, inspections_due, verdict_on
from ohmward.terminal.keys import HungUpError, LineReader
from ohmward.terminal.person import PersonAnswers
from ohmward.terminal.screen import CAUTION, Page, safe_text
from ohmward.terminal.tables import table_of
from ohmward.trade.quantity import QuantityError, parse_quantity
from ohmward.work.drive import Answers, drive
from ohmward.work.intents import Happened, Stop
from ohmward.work.session import Clock, Session
from ohmward.work.start import (
    asked_by_gates,
    checked_facts,
    data_conditions,
    last_on,
    missing_facts,
    must_accept,
    must_fit,
    opening_data,
)
from ohmward.work.tier import tier_of


def utc_now() -> datetime:
    """The clock, read at the edge."""
    return datetime.now(UTC)


def accounts_of(store: SqliteStore) -> tuple[Account, ...]:
    """Every run of a store, folded, oldest first. Raises StoreError for a run that is none."""
    found = []
    for run in store.runs():
        try:
            found.append(fold(verify_chain(store.fetch(run), run=run).entries))
        except NoRecordError as error:
            raise StoreError(
                f"{store.path}: run {run} is no record of a run ({error}); `ohmward verify` tells more"
            ) from None
    return tuple(found)


def every_account(folder: ShopFolder) -> tuple[Account, ...]:
    """Every run of a shop, oldest first; the store is closed again. Raises StoreError."""
    store = SqliteStore(folder.store_path)
    try:
        return accounts_of(store)
    finally:
        store.close()


def found_bad(accounts: tuple[Account, ...], *, rehearsal: bool) -> dict[str, str]:
    """What runs of this shop found bad, and on which day last."""
    found: dict[str, str] = {}
    for account in accounts:
        if account.rehearsal == rehearsal:
            found |= {e.said: e.time[:10] for e in account.entries if e.said in account.bad}
    return found


def _out_of_use(folder: ShopFolder, accounts: tuple[Account, ...], *, rehearsal: bool) -> dict[str, str]:
    """What was found bad or recalled, and on which day last."""
    found = found_bad(accounts, rehearsal=rehearsal)
    for number, word in approvals_in(folder.path).gear.items():
        found[number] = max(found.get(number, ""), word.time[:10])
    return found


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
    session = open_run(folder, Path(options.job), options.procedure, clock, rehearsal=options.rehearse)
    try:
        return work_on(session, _answers(session, lines, options.answers, clock, folder=folder.path))
    finally:
        session.store.close()


def open_run(folder: ShopFolder, job_path: Path, procedure: str, clock: Clock, *, rehearsal: bool) -> Session:
    """A new run, its first entry kept. Raises for everything that stands against it, with what to do."""
    job_source = read_job(job_path, folder)
    files, shown = folder.files()
    table = table_of(folder.path, files, shown, procedure)
    proof = "rehearsal: not asked for" if rehearsal else _permit(folder, files, table)
    job = job_snapshot(job_source.model)
    job["facts"], wrong = checked_facts(table, job["facts"])
    for name in asked_by_gates(table):
        job["facts"].pop(name, None)
    for name, problem in wrong.items():
        job_source.fault(("facts", name), "not-believed", problem, "look at the nameplate again")
    job_source.faults.stop_if_any()
    _ask_facts(table, job)
    worker = job["people"]["worker"]
    store = SqliteStore(folder.store_path)
    try:
        accounts = accounts_of(store)
        closings = closings_after_trips(accounts, job["equipment"], clock(), rehearsal=rehearsal)
        job["closings-in-24-h"] = str(closings)
        must_fit(table, job, clock().date().isoformat())
        earlier = last_on(job["equipment"], accounts, rehearsal=rehearsal)
        data = opening_data(
            table=table,
            job=job,
            people=people_snapshot(folder.roster, job_source.model, procedure),
            gear=gear_snapshot(folder.register, _out_of_use(folder, accounts, rehearsal=rehearsal)),
            start=must_accept(table, earlier) | data_conditions(table, job, clock().date().isoformat()),
            locks=earlier.locks if earlier else {},
            rehearsal=rehearsal,
            proof=proof,
            shop=folder.shop.shop,
            version=__version__,
            shift_seconds=int(parse_quantity(folder.shop.shift).base),
            earlier=earlier_readings(accounts, job["equipment"], rehearsal=rehearsal),
        )
        return Session.open(
            store=store,
            run=new_run(clock()),
            data=data,
            table=table,
            clock=clock,
            device=device_name(),
            actor=worker,
        )
    except BaseException:
        store.close()
        raise


def _permit(folder: ShopFolder, files: dict[str, bytes], table: Table) -> str:
    permit = verdict_on(folder, files, table)
    statement = digest_of_statement(statement_of(table, permit))
    known = approvals_in(folder.path).tables.get(permit.table)
    by = ", ".join(f"{w.name} ({w.person})" for w in decide_work(known, statement, table.procedure).by)
    return f"proved: {permit.positions} positions, rules {permit.rules[:12]}; approved by {by}"


def resume(options: argparse.Namespace) -> int:
    """An open run taken up again where it stands, after reconciling, minus the gates that were lost."""
    _need_terminal(options.answers)
    folder = open_shop(options.shop)
    lines = _lines(options.answers)
    store = SqliteStore(folder.store_path)
    try:
        account = _chosen(folder, store, options.run)
        last = datetime.fromisoformat(account.time)
        clock: Clock = utc_now
        if account.rehearsal and options.answers:
            clock = ScriptClock(utc_now)
            clock.offset = max(clock.offset, last - utc_now())
        session = Session.resume(store=store, run=account.run, clock=clock, device=device_name())
        for line in _stop_what_was_recalled(folder, session):
            sys.stderr.write(f"NOTICE: {safe_text(line)}\n")
        crashes = sum(e.note == "taken up again" for e in session.account.entries)
        return work_on(
            session,
            _answers(
                session, lines, options.answers, clock, folder=folder.path, crashes=crashes, resumed=True
            ),
        )
    finally:
        store.close()


def _stop_what_was_recalled(folder: ShopFolder, session: Session) -> list[str]:
    """A run of a recalled table makes safe before anything else; recalled gear is out of use in it from here on."""
    known, said = approvals_in(folder.path), []
    account = session.account
    consent = known.tables.get(account.table_digest)
    if consent is not None and consent.recalled is not None and not account.ended:
        said.append(f"this procedure was recalled: {consent.recalled.why}. Make safe.")
        session.apply(Stop(how="unsafe", why=f"recalled: {consent.recalled.why}"))
    for slot, item in account.slots.items():
        if item in known.gear and item not in account.bad and not session.account.ended:
            said.append(f"{item} was recalled: {known.gear[item].why}. Put it away and tag it.")
            session.apply(Happened(event=f"{slot} found bad"))
    return said


def _chosen(folder: ShopFolder, store: SqliteStore, run: str | None) -> Account:
    accounts = accounts_of(store)
    if run is not None:
        found = next((a for a in accounts if a.run == run), None)
        if found is None:
            raise UsageError(f"there is no run '{run}' in {folder.path}; `ohmward runs` lists them")
    else:
        found = next((a for a in reversed(accounts) if not a.ended), None)
        if found is None:
            raise UsageError(f"there is no open run in {folder.path}")
    if found.ended:
        raise UsageError(f"run {found.run} has ended: {end_label(found)}")
    return found


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
            print(f"WARNING: {line}")
        print(f"Run {run} waits. Go on with: ohmward resume {run}")
        return DONE
    account = session.account
    print(f"Run {run}: {end_label(account)}. {account.number} entries, head {session.head[:16]}")
    for matter in open_matters(account):
        print(f"  left on the machine: {matter.words}")
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


def device_name() -> str:
    """The computer's own claim of its name."""
    return "".join(c if c.isalnum() or c in "-." else "-" for c in socket.gethostname())[:40]


def new_run(now: datetime) -> str:
    """A fresh run id: the day and six random hex digits."""
    return f"r{now:%Y%m%d}-{secrets.token_hex(3)}"


def _ask_facts(table: Table, job: dict[str, Any]) -> None:
    """What the job sheet does not say and the procedure needs is asked first."""
    missing = missing_facts(table, job)
    if missing and not sys.stdin.isatty():
        listed = "; ".join(f"{n} ({q})" for n, q in missing)
        raise UsageError(f"the job sheet does not say: {listed}. Write it there under facts:")
    read: Callable[[str], str] = LineReader().read if missing else str
    for name, question in missing:
        while name not in job["facts"]:
            try:
                job["facts"][name] = check_fact(table, name, read(f"{question} > "))
            except QuantityError as error:
                print(f"  {error}")
