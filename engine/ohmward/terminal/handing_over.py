"""`ohmward ready`: what stands against handing a machine over - what was seen, what was read, what its records leave open."""

import argparse
import json
from dataclasses import replace
from pathlib import Path

from rich.console import Console

from ohmward.account.fold import open_matters
from ohmward.account.state import Account
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.shop.as_left import EMPTY, read_sheet
from ohmward.shop.folder import open_shop, read_bytes
from ohmward.terminal.opening import every_account
from ohmward.terminal.screen import CAUTION, Page
from ohmward.trade.return_to_service import AsLeft, NotReady, not_ready
from ohmward.work.start import last_on


def ready(options: argparse.Namespace) -> int:
    """Exit 0 when nothing stands against it, 1 when something does, 2 for a wrong sheet or an unknown machine."""
    if options.sheet is None:
        print(EMPTY, end="")
        return DONE
    machine, left = read_sheet(read_bytes(Path(options.sheet)), options.sheet)
    last = _last_run(options.shop, machine)
    found = (*_of_the_record(last), *not_ready(_with_record(left, last)))
    if options.json:
        made = [{"what": n.what, "why": n.why} for n in found]
        print(json.dumps({"machine": machine, "run": last.run, "ready": not found, "against": made}, indent=2))
    else:
        _show(machine, last, found)
    return NO if found else DONE


def _last_run(shop: str | None, machine: str) -> Account:
    """The newest real run on the machine. Raises UsageError where there is none: a name spelled otherwise hides what is open."""
    runs = [a for a in every_account(open_shop(shop)) if not a.rehearsal]
    last = last_on(machine, runs, rehearsal=False)
    if last is None:
        known = sorted({a.opened["job"]["equipment"] for a in runs})
        raise UsageError(
            f"no real run was worked on '{machine}'; {remedy_for(machine, known, what='machines')}"
        )
    return last


def _of_the_record(last: Account) -> tuple[NotReady, ...]:
    """What only the record tells: a run that has not ended, a record that cannot be, a lock that is on."""
    found = [] if last.ended else [NotReady("open run", f"{last.run} stands at {last.node}")]
    found += [NotReady("record", last.impossible)] if last.impossible else []
    locks = [m.words for m in open_matters(last) if m.kind == "lock"]
    return (*found, *(NotReady("lock", words) for words in locks))


def _with_record(left: AsLeft, last: Account) -> AsLeft:
    """What the record leaves open stands beside what was seen: neither takes the other away."""
    open_now = open_matters(last)
    temporaries = tuple(f"{m.label}, by the record" for m in open_now if m.kind == "temporary")
    trips = tuple(f"{m.label}, by the record" for m in open_now if m.kind == "trip")
    return replace(
        left,
        left_in_place=temporaries + (left.left_in_place or ()) if temporaries else left.left_in_place,
        unanswered_trips=trips + (left.unanswered_trips or ()) if trips else left.unanswered_trips,
    )


def _show(machine: str, last: Account, found: tuple[NotReady, ...]) -> None:
    page = Page(Console(highlight=False, soft_wrap=True))
    head = "Nothing stands against handing over" if not found else "Not handed over yet:"
    page.line(f"{head} {machine} (last run {last.run}, {last.time[:10]})", style="bold")
    for reason in found:
        page.pair(f"  {reason.what}", reason.why, room=24)
    page.line()
    page.line(CAUTION)
