"""`import`, `due`, `machines`: the shop's people, gear and machines."""

import argparse
import json
from dataclasses import asdict
from pathlib import Path

from ohmward.account.fold import end_label, open_matters
from ohmward.account.history import machine_key, readings_of
from ohmward.account.state import Account
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.shop.csv_import import appended, read_rows, shop_file
from ohmward.shop.due import due_soon
from ohmward.shop.folder import open_shop, read_bytes
from ohmward.terminal.approvals import inspections_due
from ohmward.terminal.edge import utc_now
from ohmward.terminal.opening import every_account
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import say


def import_csv(options: argparse.Namespace) -> int:
    """Rows of a CSV file into the roster or the gear register: all of them, or none."""
    folder = open_shop(options.shop)
    rows = read_rows(read_bytes(Path(options.file)), options.file, options.kind)
    target = shop_file(folder.path, options.kind)
    write_file(target, appended(read_bytes(target), rows, options.file, options.kind))
    print(f"{target}: {len(rows)} added")
    return DONE


def due(options: argparse.Namespace) -> int:
    """What runs out soon; 1 when something has run out already."""
    folder = open_shop(options.shop)
    today = utc_now().date()
    found = (
        *due_soon(folder.roster, folder.register, today, options.within),
        *inspections_due(folder, today, options.within),
    )
    if options.json:
        print(json.dumps([asdict(d) for d in found], indent=1))
    else:
        for item in found:
            say(("OUT OF DATE  " if item.days < 0 else "") + item.words)
        if not found:
            print(f"nothing runs out within {options.within} d")
    return NO if any(d.days < 0 for d in found) else DONE


def machines(options: argparse.Namespace) -> int:
    """Every machine with what stands open on it; one machine with what was read there before."""
    folder = open_shop(options.shop)
    accounts = [a for a in every_account(folder) if not a.rehearsal or options.rehearsals]
    names = {machine_key(a.opened["job"]["equipment"]): a.opened["job"]["equipment"] for a in accounts}
    known: dict[str, list[Account]] = {}
    for account in accounts:
        known.setdefault(names[machine_key(account.opened["job"]["equipment"])], []).append(account)
    wanted = names.get(machine_key(options.machine)) if options.machine is not None else None
    if options.machine is not None and wanted is None:
        remedy = remedy_for(options.machine, known, what="machines")
        raise UsageError(f"no run was worked on '{options.machine}'; {remedy}")
    chosen = [wanted] if wanted is not None else sorted(known)
    if options.json:
        print(json.dumps([_plain(m, known[m]) for m in chosen], indent=1))
        return DONE
    for machine in chosen:
        _show(machine, known[machine], in_full=options.machine is not None)
    if not chosen:
        print("no machine was worked on yet")
    return DONE


def _show(machine: str, runs: list[Account], *, in_full: bool) -> None:
    last = runs[-1]
    state = end_label(last) if last.ended else f"open at {last.node}"
    say(
        f"{machine}  {last.opened['job']['site']}  {len(runs)} runs, last {last.time[:10]} {last.run}: {state}"
    )
    for matter in open_matters(last):
        say(f"  stands open: {matter.words}")
    for account in runs if in_full else ():
        say(f"  {account.opened_at[:10]} {account.run} {account.table.data['title']}")
        for entry, words in readings_of(account):
            say(f"    {entry.time[11:16]} {account.steps[entry.step]['prompt']}: {words}")


def _plain(machine: str, runs: list[Account]) -> dict[str, object]:
    last = runs[-1]
    return {
        "machine": machine,
        "runs": [a.run for a in runs],
        "open": not last.ended,
        "end": end_label(last),
        "left": [m.plain() for m in open_matters(last)],
        "readings": [
            {"run": a.run, "time": e.time, "step": e.step, "values": words}
            for a in runs
            for e, words in readings_of(a)
        ],
    }
