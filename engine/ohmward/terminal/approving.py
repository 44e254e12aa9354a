"""`approve`, `recall`, `inspect`: what people answer for before and after a procedure is worked."""

import argparse
import sys
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path
from typing import Any

from ohmward.account.state import Account
from ohmward.approval.consent import (
    Approvals,
    Consent,
    Inspection,
    Word,
    decide_consent,
    must_inspect_another,
)
from ohmward.approval.inspected import months_between
from ohmward.approval.signed_word import approval_bytes, counting, inspection_bytes, signed_only, to_sign
from ohmward.approval.statement import digest_of_statement, lines_of, statement_of
from ohmward.chart.document import (
    NotATableError,
    canonical_bytes,
    checked_document,
    to_document,
)
from ohmward.chart.table import Table
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.proof.bounds import Weight
from ohmward.proof.difference import Difference, difference
from ohmward.proof.standing import rules_among
from ohmward.record.entry import Kind
from ohmward.record.packed import pack
from ohmward.record.versions import KeyLists
from ohmward.shop.folder import ShopFolder, open_shop
from ohmward.shop.keyfile import Unlocked
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import TABLES, approvals_in, change_approvals, verdict_on
from ohmward.terminal.comparing import lines_of as lines_of_difference
from ohmward.terminal.edge import utc_now
from ohmward.terminal.keys import LineReader
from ohmward.terminal.opening import every_account
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import say
from ohmward.terminal.secrets import Ask, asks_for_passphrases, desk_of, unlocked
from ohmward.terminal.tables import table_of
from ohmward.trade.shock import months_after
from ohmward.work.keydesk import verified

SIGNS = 8


def _word(folder: ShopFolder, person: str, why: str = "") -> Word:
    """What a person of the roster says now. Raises UsageError for somebody who is not in it, RefusedError past their date."""
    known = next((p for p in folder.roster.people if p.id == person), None)
    if known is None:
        remedy = remedy_for(person, [p.id for p in folder.roster.people], what="people")
        raise UsageError(f"'{person}' is not in the roster; {remedy}")
    now = utc_now()
    if known.until is not None and not now.date().isoformat() <= known.until:
        raise RefusedError(f"the training of {known.name} ({person}) ended on {known.until}")
    time = now.strftime("%Y-%m-%dT%H:%M:%SZ")
    return Word(person=person, name=known.name, role=known.role, time=time, why=why)


# -- approve ----------------------------------------------------------------------------------------------


def approve(options: argparse.Namespace) -> int:
    """One person's word for exactly this table, after reading back what changed. Without a procedure: how all stand."""
    folder = open_shop(options.shop)
    if options.procedure is None:
        say(*_standing(folder))
        return DONE
    if options.person is None:
        raise UsageError("--as PERSON is missing: say who approves, by the id in the roster")
    word = _word(folder, options.person)
    files, shown = folder.files()
    table = table_of(folder.path, files, shown, options.procedure)
    verdict = verdict_on(folder, files, table)
    statement = statement_of(table, verdict)
    fresh = Consent(
        table=verdict.table,
        procedure=table.procedure,
        revision=table.revision,
        statement=digest_of_statement(statement),
    )
    standing = approvals_in(folder.path)
    known = signed_only(standing.tables.get(fresh.table), _lists(folder))
    decide_consent(known, fresh, word)
    ask = asks_for_passphrases(options)
    changed = _since_last(folder, standing, table)
    say(*_changes(changed, table.procedure), *lines_of(statement))
    _read_back(_code(fresh, changed), options.read_back)
    word, by, lists = _with_key(folder, ask, word, "approve")
    word = replace(word, signature=pack(by.sign(approval_bytes(fresh, word))))
    _keep(folder.path, table, fresh.table)
    made = change_approvals(
        folder.path,
        lambda a: a.put(decide_consent(signed_only(a.tables.get(fresh.table), lists), fresh, word)),
    )
    say(_words_of(made.tables[fresh.table]))
    return DONE


def _with_key(folder: ShopFolder, ask: Ask, word: Word, action: str) -> tuple[Word, Unlocked, KeyLists]:
    """The word under the list of keys as it stands, the speaker's open key, and the lists. Raises RefusedError."""
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        desk.must_have_role(word.person, action)
        by = unlocked(desk, ask, word.person)
        now = replace(word, time=max(word.time, desk.keys.time))
        return to_sign(now, desk.keys), by, desk.diary.lists


def _lists(folder: ShopFolder) -> KeyLists:
    with closing(SqliteStore(folder.store_path)) as store:
        return desk_of(folder, store).diary.lists


def _since_last(folder: ShopFolder, standing: Approvals, table: Table) -> Difference | None:
    """What changed since the table that was approved last; None where none was, or it is not kept any more."""
    last = standing.last_whole(table.procedure)
    if last is None:
        return None
    try:
        old = checked_document(_kept(folder.path, last.table))
    except NotATableError as error:
        raise RefusedError(
            f"the table approved last cannot be read ({error}): nobody can tell what changed. Put back the folder '{TABLES}'"
        ) from None
    return difference(old, table)


def _kept(shop: Path, digest: str) -> Any:  # noqa: ANN401  untrusted
    import json

    try:
        return json.loads((shop / TABLES / f"{digest}.json").read_bytes())
    except (OSError, ValueError, RecursionError):
        return None


def _keep(shop: Path, table: Table, digest: str) -> None:
    (shop / TABLES).mkdir(exist_ok=True)
    write_file(shop / TABLES / f"{digest}.json", canonical_bytes(to_document(table)))


def _changes(changed: Difference | None, name: str) -> list[str]:
    if changed is None:
        return [
            f"No revision of this procedure was approved here before: read all of it. `ohmward draw {name} -o FILE.svg` draws every step, `ohmward print --blank {name} -o FILE.pdf` writes it out.",
            "",
        ]
    return ["Since the revision that was approved last:", *lines_of_difference(changed), ""]


def _code(fresh: Consent, changed: Difference | None) -> str:
    """What is read back: how many looser changes were shown, and the first signs of the table."""
    looser = len(changed.of(Weight.LOOSER)) if changed is not None else 0
    return f"{looser} {fresh.table[:SIGNS]}"


def _read_back(code: str, given: str | None) -> None:
    """Approval is no tick: whoever approves reads back what they saw. Raises RefusedError."""
    ask = f"Read back, with a blank between: how many changes are LOOSER, and the first {SIGNS} signs of the table."
    if given is None:
        if not (sys.stdin.isatty() and sys.stdout.isatty()):
            raise UsageError(f'this is not a terminal: give --read-back "N TABLE". {ask}')
        say(ask)
        given = LineReader().read("> ")
    if " ".join(given.split()) != code:
        raise RefusedError(f"'{given[:40]}' is not what stands above; nothing was approved")


def _words_of(consent: Consent) -> str:
    head = f"{consent.procedure} revision {consent.revision}, table {consent.table[:12]}"
    by = ", ".join(f"{w.name} ({w.person}) {w.time[:10]}" for w in consent.by)
    if consent.recalled is not None:
        return f"{head}: RECALLED by {consent.recalled.name} {consent.recalled.time[:10]}: {consent.recalled.why}"
    if not consent.whole:
        return f"{head}: approved by {by}; a second person must look before it is worked"
    inspected = f"; last inspection {consent.since}" if consent.inspections else ""
    return f"{head}: approved by {by}{inspected}"


def _standing(folder: ShopFolder) -> list[str]:
    standing = approvals_in(folder.path)
    lists = _lists(folder)
    made = [
        _words_of(counting(c, lists))
        for name in sorted({c.procedure for c in standing.tables.values()})
        for c in standing.of(name)
    ]
    made += [f"{n}: RECALLED by {w.name} {w.time[:10]}: {w.why}" for n, w in standing.gear.items()]
    return made or ["nothing is approved here yet"]


# -- recall -----------------------------------------------------------------------------------------------


def recall(options: argparse.Namespace) -> int:
    """Takes a procedure or a thing out of use, and tells every run that used it. Raises UsageError for what is not there to recall."""
    folder = open_shop(options.shop)
    why = " ".join(options.why.split())
    if not why:
        raise UsageError("--why is empty: say what is wrong with it")
    word = _word(folder, options.person, why)
    gear = {g.id for g in folder.register.gear}
    known = approvals_in(folder.path)
    procedures = {c.procedure for c in known.tables.values()}
    if options.what in gear:
        change_approvals(folder.path, lambda a: replace(a, gear={**a.gear, options.what: word}))
        _keep_recall(folder, [options.what], word)
        used = [a for a in every_account(folder) if options.what in _used(a)]
    elif options.what in procedures:
        made = change_approvals(folder.path, lambda a: _without(a, options.what, options.revision, word))
        _keep_recall(folder, [c.table for c in made.of(options.what) if c.recalled == word], word)
        used = [
            a
            for a in every_account(folder)
            if a.table.procedure == options.what and options.revision in {None, a.table.revision}
        ]
    else:
        remedy = remedy_for(options.what, sorted(gear | procedures), what="things that can be recalled")
        raise UsageError(
            f"'{options.what}' is no gear of the register and nothing that was approved; {remedy}"
        )
    say(f"{options.what}: recalled. {len(used)} runs used it{':' if used else ''}", *map(_use, used))
    return DONE


def _keep_recall(folder: ShopFolder, what: list[str], word: Word) -> None:
    """The recall in the shop's diary, where it cannot be taken back by writing a file."""
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        desk.write(Kind.RECALLED, word.person, said=word.name, note=word.why, data={"what": what})


def _without(known: Approvals, procedure: str, revision: int | None, word: Word) -> Approvals:
    """Every approved table of a procedure, or of one revision of it, recalled. Raises UsageError for none."""
    found = [c for c in known.of(procedure) if revision in {None, c.revision} and c.recalled is None]
    if not found:
        raise UsageError(f"no approved revision of '{procedure}' is left to recall")
    for consent in found:
        known = known.put(replace(consent, recalled=word))
    return known


def _used(account: Account) -> set[str]:
    """Everything that ever filled a slot of a run or took one of its readings."""
    picked = {e.said for e in account.entries if account.steps.get(e.step, {}).get("kind") == "gear"}
    return picked | {e.instrument for e in account.entries if e.instrument}


def _use(account: Account) -> str:
    job = account.opened["job"]
    state = "ended" if account.ended else "OPEN: call them; it makes safe when it is taken up again"
    mark = ", a rehearsal" if account.rehearsal else ""
    return f"  {account.run}  {account.opened_at[:10]}  {account.table.procedure}  {job['equipment']}  {account.worker}  {state}{mark}"


# -- inspect ----------------------------------------------------------------------------------------------


def inspect(options: argparse.Namespace) -> int:
    """Keeps that a run was inspected by someone who did not work it, signed with their key. Source: 29 CFR 1910.147(c)(6)."""
    folder = open_shop(options.shop)
    word = _word(folder, options.person)
    ask = asks_for_passphrases(options)
    account = next((a for a in every_account(folder) if a.run == options.run), None)
    if account is None:
        raise UsageError(f"there is no run '{options.run}' in {folder.path}; `ohmward runs` lists them")
    if account.rehearsal or not account.ended:
        raise RefusedError(
            f"run {account.run} is {'a rehearsal' if account.rehearsal else 'still open'}: inspect one that was worked to its end"
        )
    _must_be_worth_inspecting(folder, account)
    workers = tuple(sorted({e.actor for e in account.entries}))
    must_inspect_another(word, workers, {p.id: p.name for p in folder.roster.people})
    consent = approvals_in(folder.path).tables.get(account.table_digest)
    if consent is None:
        raise RefusedError(
            f"the table of run {account.run} is not on file here: it was approved elsewhere or never"
        )
    word, by, lists = _with_key(folder, ask, word, "inspect")
    seen = Inspection(
        run=account.run, equipment=account.opened["job"]["equipment"], employees=workers, by=word
    )
    word = replace(word, signature=pack(by.sign(inspection_bytes(consent, seen))))
    made = change_approvals(folder.path, lambda a: _with_inspection(a, account, replace(seen, by=word)))
    counted = counting(made.tables[account.table_digest], lists)
    say(f"{_words_of(counted)} ({len(counted.inspections)} so far)")
    return DONE


def _must_be_worth_inspecting(folder: ShopFolder, account: Account) -> None:
    """A run of the last interval whose record is what people signed. Raises RefusedError."""
    with closing(SqliteStore(folder.store_path)) as store:
        found = verified(store, account.run)
    problem = found.problem or account.impossible
    if problem:
        raise RefusedError(f"run {account.run} is {problem}: nothing is inspected by it")
    months = months_between(rules_among(folder.files()[0]))
    last = months_after(date.fromisoformat(account.time[:10]), months)
    today = utc_now().date()
    if not date.fromisoformat(account.time[:10]) <= today <= last:
        raise RefusedError(
            f"run {account.run} is of {account.time[:10]}: an inspection looks at one of the last {months} months"
        )


def _with_inspection(known: Approvals, account: Account, seen: Inspection) -> Approvals:
    """The file with one more inspection of a run's table, which is on it."""
    consent = known.tables[account.table_digest]
    return known.put(replace(consent, inspections=(*consent.inspections, seen)))
