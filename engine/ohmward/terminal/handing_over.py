"""`ohmward ready`: what stands against handing a machine over - what was seen, what was read, what its records leave open."""

import argparse
import json
from collections.abc import Iterator, Sequence
from contextlib import closing
from dataclasses import replace
from pathlib import Path
from typing import Any

from rich.console import Console

from ohmward.account.fold import end_label, open_matters
from ohmward.account.state import Account
from ohmward.approval.consent import Approvals
from ohmward.chart.usual import usual_end
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.suggest import remedy_for
from ohmward.review.standing import ANSWERED, SENT_BACK, standing_of
from ohmward.shop.as_left import EMPTY, read_sheet
from ohmward.shop.folder import open_shop, read_bytes
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import approvals_in
from ohmward.terminal.opening import accounts_of
from ohmward.terminal.screen import CAUTION, Page
from ohmward.trade.quantity import parse_quantity
from ohmward.trade.return_to_service import AsLeft, NotReady, not_ready
from ohmward.work.keydesk import verified
from ohmward.work.start import last_on


def ready(options: argparse.Namespace) -> int:
    """Exit 0 when nothing stands against it, 1 when something does, 2 for a wrong sheet or an unknown machine."""
    if options.sheet is None:
        print(EMPTY, end="")
        return DONE
    machine, left = read_sheet(read_bytes(Path(options.sheet)), options.sheet)
    folder = open_shop(options.shop)
    with closing(SqliteStore(folder.store_path)) as store:
        last = _last_run(accounts_of(store), machine)
        found = verified(store, last.run)
    against = (
        *([] if found.intact else [NotReady("record", found.problem)]),
        *_of_the_record(last, approvals_in(folder.path)),
        *_unlike_job(left, last),
        *not_ready(_with_record(left, last)),
    )
    if options.json:
        made = [{"what": n.what, "why": n.why} for n in against]
        print(json.dumps({"machine": machine, "run": last.run, "ready": not against, "against": made}, indent=2))
    else:
        _show(machine, last, against)
    return NO if against else DONE


def _last_run(accounts: Sequence[Account], machine: str) -> Account:
    """The newest real run on the machine. Raises UsageError where there is none: a name spelled otherwise hides what is open."""
    runs = [a for a in accounts if not a.rehearsal]
    last = last_on(machine, runs, rehearsal=False)
    if last is None:
        known = sorted({a.opened["job"]["equipment"] for a in runs})
        raise UsageError(
            f"no real run was worked on '{machine}'; {remedy_for(machine, known, what='machines')}"
        )
    return last


def _of_the_record(last: Account, known: Approvals) -> Iterator[NotReady]:
    """What only the record tells: how the last run ended, whether it stands, whose lock is on."""
    if not last.ended:
        yield NotReady("open run", f"{last.run} stands at {last.node}")
    if last.impossible:
        yield NotReady("record", last.impossible)
    standing, words = standing_of(last)
    if standing in {SENT_BACK, ANSWERED}:
        yield NotReady("review", words)
    consent = known.tables.get(last.table_digest)
    if consent is not None and consent.recalled is not None:
        yield NotReady("procedure", f"it was recalled: {consent.recalled.why}")
    if last.ended and not _in_order(last):
        yield NotReady("last run", f"it ended: {end_label(last)}")
    for matter in open_matters(last):
        if matter.kind == "lock":
            yield NotReady("lock", matter.words)


def _in_order(last: Account) -> bool:
    """Whether a run came to the end that is its usual one, or to one that leaves the machine in service; not held off."""
    data: Any = last.table.data
    end = data["ends"].get(last.node.removeprefix("end "))
    if end is None or "held off" in end["leaves"].values():
        return False
    start = {n: str(v) for n, v in last.opened["start"].items() if n.startswith("data ")}
    return "live" in end["leaves"].values() or usual_end(last.table, start) == last.node


def _unlike_job(left: AsLeft, last: Account) -> Iterator[NotReady]:
    """The sheet against the job sheet of the last run: another voltage or nameplate is another machine."""
    job = last.opened["job"]
    volts = {v for c in job["circuits"].values() for v in (c.get("to-ground"), c.get("phase-to-phase")) if v}
    if left.nominal is not None and volts and not any(parse_quantity(v).compare(left.nominal) == 0 for v in volts):
        yield NotReady("supply", f"{left.nominal} is none of the voltages of its job sheet: {', '.join(sorted(volts))}")
    plate = job["facts"].get("full-load-current")
    if isinstance(plate, str) and left.full_load is not None and parse_quantity(plate).compare(left.full_load) != 0:
        yield NotReady("running current", f"the job sheet has {plate} on the nameplate, the sheet {left.full_load}")


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
