"""A new run: everything that stands against it is found before its first entry."""

import secrets
import sys
from collections.abc import Callable
from contextlib import closing
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from ohmward import __version__
from ohmward.account.facts import check_fact
from ohmward.account.fold import NoRecordError, fold
from ohmward.account.history import closings_after_trips, earlier_readings
from ohmward.account.state import Account
from ohmward.approval.consent import decide_work
from ohmward.approval.signed_word import signed_only
from ohmward.approval.statement import digest_of_statement, statement_of
from ohmward.chart.table import Table
from ohmward.errors import RefusedError, StoreError, UsageError
from ohmward.language.library import Source
from ohmward.record.chain import verify_chain
from ohmward.shop.folder import ShopFolder, read_job
from ohmward.shop.models import Job
from ohmward.shop.snapshot import gear_snapshot, job_snapshot, people_snapshot
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import approvals_in, verdict_on
from ohmward.terminal.edge import device_name
from ohmward.terminal.keys import LineReader
from ohmward.terminal.secrets import desk_of
from ohmward.terminal.signers import DeskSigner, Signing
from ohmward.terminal.tables import table_of
from ohmward.trade.quantity import QuantityError, parse_quantity
from ohmward.work.keydesk import verified
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


def open_run(
    folder: ShopFolder,
    job_path: Path,
    procedure: str,
    clock: Clock,
    *,
    rehearsal: bool,
    signing: Signing | None = None,
) -> Session:
    """A new run, its first entry kept. Raises for everything that stands against it, with what to do.

    A real run is signed by key: without `signing`, or where the worker has no key, it does not begin. A rehearsal is
    signed only when `signing` is given.
    """
    job_source = read_job(job_path, folder)
    files, shown = folder.files()
    table = table_of(folder.path, files, shown, procedure)
    proof = "rehearsal: not asked for" if rehearsal else _permit(folder, files, table)
    job = _job_of(job_source, table)
    store = SqliteStore(folder.store_path)
    try:
        signer = _signer(store, folder, clock, signing, job["people"]["worker"], rehearsal=rehearsal)
        fresh = _Fresh(folder=folder, table=table, sheet=job_source.model, job=job, rehearsal=rehearsal, store=store)
        return Session.open(
            store=store,
            run=new_run(clock()),
            data=_data_of(fresh, accounts_of(store), clock(), proof=proof, signed=signer is not None),
            table=table,
            clock=clock,
            device=device_name(),
            actor=job["people"]["worker"],
            signer=signer,
        )
    except BaseException:
        store.close()
        raise


@dataclass(frozen=True, slots=True, kw_only=True)
class _Fresh:
    """A run that is about to begin."""

    folder: ShopFolder
    table: Table
    sheet: Job
    job: dict[str, Any]
    rehearsal: bool
    store: SqliteStore


def must_be_believed(store: SqliteStore, earlier: Account) -> None:
    """What the last run left is taken from its record, which must be what people signed. Raises RefusedError."""
    found = verified(store, earlier.run)
    if not found.intact:
        raise RefusedError(
            f"run {earlier.run} on this machine is {found.problem}: what it left is not known. A qualified person looks at machine and record first"
        )


def _job_of(source: Source[Job], table: Table) -> dict[str, Any]:
    """The job as the run takes it, with what it does not say asked first. Raises FaultyFileError, UsageError."""
    job = job_snapshot(source.model)
    job["facts"], wrong = checked_facts(table, job["facts"])
    for name in asked_by_gates(table):
        job["facts"].pop(name, None)
    for name, problem in wrong.items():
        source.fault(("facts", name), "not-believed", problem, "look at the nameplate again")
    source.faults.stop_if_any()
    _ask_facts(table, job)
    return job


def _data_of(
    fresh: _Fresh, accounts: tuple[Account, ...], now: datetime, *, proof: str, signed: bool
) -> dict[str, Any]:
    """The first entry's data. Raises RefusedError for what stands against the run."""
    folder, table, job, rehearsal = fresh.folder, fresh.table, fresh.job, fresh.rehearsal
    closings = closings_after_trips(accounts, job["equipment"], now, rehearsal=rehearsal)
    job["closings-in-24-h"] = str(closings)
    day = now.date().isoformat()
    must_fit(table, job, day)
    earlier = last_on(job["equipment"], accounts, rehearsal=rehearsal)
    if earlier is not None and not rehearsal:
        must_be_believed(fresh.store, earlier)
    return opening_data(
        table=table,
        job=job,
        people=people_snapshot(folder.roster, fresh.sheet, table.procedure),
        gear=gear_snapshot(folder.register, _out_of_use(folder, accounts, rehearsal=rehearsal), day),
        start=must_accept(table, earlier) | data_conditions(table, job, day),
        locks=earlier.locks if earlier else {},
        rehearsal=rehearsal,
        proof=proof,
        shop=folder.shop.shop,
        version=__version__,
        shift_seconds=int(parse_quantity(folder.shop.shift).base),
        earlier=earlier_readings(accounts, job["equipment"], rehearsal=rehearsal),
        signed=signed,
    )


def _signer(
    store: SqliteStore,
    folder: ShopFolder,
    clock: Clock,
    signing: Signing | None,
    worker: str,
    *,
    rehearsal: bool,
) -> DeskSigner | None:
    if signing is None and rehearsal:
        return None
    if signing is None:
        raise RefusedError("a real run is signed by key, and nobody could be asked for a passphrase here")
    signer = signing.signer(store, folder, clock)
    signer.desk.member(worker)
    listed = {m.person: (m.name, m.role) for m in signer.desk.keys.people}
    unlike = [p for p in folder.roster.people if listed.get(p.id, (p.name, p.role)) != (p.name, p.role)]
    if unlike:
        names = ", ".join(f"{p.name} ({p.id})" for p in unlike)
        raise RefusedError(
            f"roster and list of keys differ in name or role of {names}: a safety officer brings the list up to date with `ohmward enrol PERSON --as OFFICER`, or the roster is put right"
        )
    return signer


def _permit(folder: ShopFolder, files: dict[str, bytes], table: Table) -> str:
    permit = verdict_on(folder, files, table)
    statement = digest_of_statement(statement_of(table, permit))
    with closing(SqliteStore(folder.store_path)) as store:
        lists = desk_of(folder, store).diary.lists
    known = signed_only(approvals_in(folder.path).tables.get(permit.table), lists)
    by = ", ".join(f"{w.name} ({w.person})" for w in decide_work(known, statement, table.procedure).by)
    return f"proved: {permit.positions} positions, rules {permit.rules[:12]}; approved by {by}"


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
