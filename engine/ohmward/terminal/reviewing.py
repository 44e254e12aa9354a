"""`review`: which records need a look and why; open one, countersign it, or send it back."""

import argparse
import csv
import io
import json
import sys
import unicodedata
from collections.abc import Sequence
from contextlib import closing
from dataclasses import asdict, dataclass

from ohmward.account.fold import NoRecordError, end_label, fold
from ohmward.account.history import machine_key
from ohmward.account.lines import line_of
from ohmward.account.state import Account
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.record.diary import pairs_for
from ohmward.record.entry import Kind
from ohmward.record.integrity import verify_run
from ohmward.review.reasons import Reason, reasons, weight_of
from ohmward.review.recalled import RECALLED, recalled_since
from ohmward.review.standing import COUNTERSIGNED, SENT_BACK, TO_LOOK, standing_of
from ohmward.shop.folder import open_shop
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import approvals_in
from ohmward.terminal.later import opened_later
from ohmward.terminal.screen import say
from ohmward.terminal.signers import signing_of
from ohmward.work.draft import Draft
from ohmward.work.keydesk import diary_of

SHOWN = 4  # reasons beside a record in the list
MOST_NOTE = 500


@dataclass(frozen=True, slots=True, kw_only=True)
class Looked:
    """A record with what speaks for looking at it."""

    account: Account
    reasons: tuple[Reason, ...]
    integrity: str
    standing: str
    words: str

    @property
    def broken(self) -> bool:
        """Whether it is not intact, not possible, or rests on what was recalled since: such a record never leaves the list."""
        return any(r.kind in {"not intact", "not possible", RECALLED} for r in self.reasons)

    @property
    def weight(self) -> int:
        return weight_of(self.reasons)


def review(options: argparse.Namespace) -> int:
    """The list; one record; or what the reviewer says of it."""
    if options.run is None:
        return _list(options)
    if options.countersign or options.send_back is not None:
        return _say_of(options)
    looked = next((one for one in _looked(options.shop) if one.account.run == options.run), None)
    if looked is None:
        raise UsageError(f"there is no run '{options.run}'; `ohmward review --all --rehearsals` lists them")
    if options.json:
        print(json.dumps(_plain(looked), indent=1))
        return DONE
    _open(looked)
    return DONE


def _looked(shop: str | None) -> list[Looked]:
    """Every record, those that need a look most first, the older first among equals."""
    folder = open_shop(shop)
    known_words = approvals_in(folder.path)
    with closing(SqliteStore(folder.store_path)) as store:
        diary = diary_of(store)
        pairs, known, found = pairs_for(diary), dict[str, list[Account]](), []
        for run in store.runs():
            integrity = verify_run(store.fetch(run), run=run, lists=diary.lists, pairs=pairs.get(run, ()))
            try:
                account = fold(integrity.chain.entries)
            except NoRecordError as error:
                raise RefusedError(f"run {run} is no record of a run: {error}; {integrity.words}") from None
            before = known.setdefault(machine_key(account.opened["job"]["equipment"]), [])
            why = (
                *recalled_since(account, known_words),
                *reasons(account, problem=integrity.problem, earlier=before),
            )
            standing, words = standing_of(account)
            found.append(
                Looked(
                    account=account, reasons=why, integrity=integrity.words, standing=standing, words=words
                )
            )
            before.append(account)
    return sorted(found, key=lambda one: -one.weight)


def _list(options: argparse.Namespace) -> int:
    hidden = set() if options.all else {COUNTERSIGNED, SENT_BACK}
    chosen = [
        one
        for one in _looked(options.shop)
        if (options.rehearsals or not one.account.rehearsal) and (one.standing not in hidden or one.broken)
    ]
    if options.json:
        print(json.dumps([_plain(one) for one in chosen], indent=1))
        return DONE
    if options.csv:
        sys.stdout.write(_csv(chosen))
        return DONE
    for one in chosen:
        say(_head(one), *(f"    {r.words}{_where(r)}" for r in one.reasons[:SHOWN]))
        if len(one.reasons) > SHOWN:
            say(f"    and {len(one.reasons) - SHOWN} more: ohmward review {one.account.run}")
    if not chosen:
        say("no record waits for a look")
    return DONE


def _head(one: Looked) -> str:
    account = one.account
    end = end_label(account) if account.ended else "not ended"
    mark = "  REHEARSAL" if account.rehearsal else ""
    why = "" if one.reasons else "  nothing stands out"
    stands = "" if one.standing == TO_LOOK else f"  [{one.words}]"
    return f"{account.run}  {account.opened_at[:10]}  {account.table.procedure}  {account.opened['job']['equipment']}  {account.worker}  {end}{mark}{stands}{why}"


def _where(reason: Reason) -> str:
    if not reason.entries:
        return ""
    shown = ", ".join(str(n) for n in reason.entries[:6]) + (", …" if len(reason.entries) > 6 else "")
    return f" [entry {shown}]" if len(reason.entries) == 1 else f" [entries {shown}]"


def _open(one: Looked) -> None:
    say(_head(one), f"    {one.integrity}", "")
    if one.reasons:
        say("Look at:", *(f"  {r.words}{_where(r)}" for r in one.reasons), "")
    else:
        say("Nothing stands out.", "")
    marked = {n for r in one.reasons for n in r.entries}
    for entry in one.account.entries:
        number, clock, what, said, actor = line_of(one.account, entry)
        sign = "*" if entry.number in marked else " "
        say(f"{sign} {number} {clock} {actor}: {what}" + (f" - {said}" if said else ""))
    run = one.account.run
    say(
        "",
        f"ohmward review {run} --countersign --as PERSON",
        f'ohmward review {run} --send-back "what is missing" --as PERSON',
    )


def _plain(one: Looked) -> dict[str, object]:
    account = one.account
    return {
        "run": account.run,
        "day": account.opened_at[:10],
        "procedure": account.table.procedure,
        "revision": account.table.revision,
        "equipment": account.opened["job"]["equipment"],
        "worker": account.worker,
        "end": end_label(account),
        "rehearsal": account.rehearsal,
        "standing": one.standing,
        "integrity": one.integrity,
        "weight": one.weight,
        "reasons": [{**asdict(r), "entries": list(r.entries)} for r in one.reasons],
    }


COLUMNS = (
    "run",
    "day",
    "procedure",
    "revision",
    "equipment",
    "worker",
    "end",
    "rehearsal",
    "standing",
    "integrity",
    "weight",
)


def _csv(chosen: Sequence[Looked]) -> str:
    """RFC 4180; no cell begins with what a spreadsheet would take for a formula."""
    out = io.StringIO()
    writer = csv.writer(out, quoting=csv.QUOTE_ALL)
    writer.writerow((*COLUMNS, "reasons"))
    for one in chosen:
        plain = _plain(one)
        cells = [str(plain[c]) for c in COLUMNS] + ["; ".join(r.words + _where(r) for r in one.reasons)]
        writer.writerow([inert_cell(c) for c in cells])
    return out.getvalue()


def inert_cell(text: str) -> str:
    """A cell that no spreadsheet computes and no terminal obeys."""
    shown = "".join(c if c.isprintable() else " " for c in text)
    flat = unicodedata.normalize("NFKC", shown).lstrip()
    hidden = text[:1] in {"\t", "\r", "\n", "\0"}
    return f"'{shown}" if hidden or flat[:1] in {"=", "+", "-", "@"} else shown


def _say_of(options: argparse.Namespace) -> int:
    """Countersigns a record, or sends it back with a note; both are signed by key. Raises RefusedError, UsageError."""
    if options.person is None:
        raise UsageError("--as PERSON is missing: say who reviews, by id")
    note = " ".join((options.send_back or "").split())[:MOST_NOTE]
    if options.send_back is not None and not note:
        raise UsageError("--send-back is empty: say what is missing")
    folder, signing = open_shop(options.shop), signing_of(options)
    with opened_later(folder, signing, options.run) as later:
        later.signer.desk.must_have_role(options.person, "reviewed")
        if not later.session.account.ended:
            raise RefusedError(f"run {options.run} has not ended: it is reviewed when it has")
        remark = Draft(kind=Kind.RETURNED, note=note, actor=options.person) if note else None
        later.sign(options.person, "reviewed", remark)
        account = later.session.account
        say(f"run {options.run}: {standing_of(account)[1]}")
        if note:
            say(f'It is answered with: ohmward sign {options.run} --as {account.worker} --note "…"')
    return DONE
