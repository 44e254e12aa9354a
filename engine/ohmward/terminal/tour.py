"""`tour`: a demo shop, a rehearsal with its gates, a verified record, a PDF. No input."""

import argparse
from pathlib import Path
from typing import Any

from rich.console import Console

from ohmward.account.fold import end_label, fold
from ohmward.account.words import gate_words
from ohmward.errors import DONE, BrokenError
from ohmward.record.bundle import make_bundle, verify_bundle
from ohmward.rehearsal.bakery import ANSWERS
from ohmward.rehearsal.script import FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import CAUTION, Page
from ohmward.terminal.working import device_name, open_run, utc_now
from ohmward.work.drive import drive
from ohmward.work.intents import Answer, Begin, Happened, Intent, Stop
from ohmward.work.screenful import View
from ohmward.work.session import Session
from ohmward_printouts.record_pdf import render_record


def tour(options: argparse.Namespace) -> int:
    """Everything once. Works a second time in the same folder."""
    directory = Path(options.directory)
    if not (directory / "shop.yaml").exists():
        make_shop(directory, utc_now().date())
    script = directory / "rehearsal-answers.yaml"
    write_file(script, ANSWERS.encode())
    page = Page(Console(highlight=False))
    page.line(f"1. A demo shop: {directory} (invented people, gear and bakery)", style="bold")
    page.line("2. A rehearsal of run-motor-directly, with answers from a file", style="bold")
    session = _rehearse(directory, script, page)
    run = session.account.run
    raw = list(session.store.fetch(run))
    session.store.close()
    bundle = make_bundle(run, raw, session.head)
    write_file(directory / f"{run}.ohmward.json", bundle)
    chain = verify_bundle(bundle)
    account = fold(chain.entries)
    if not chain.intact or account.impossible:
        raise BrokenError(
            f"the rehearsal's own record does not verify: {chain.problem or account.impossible}"
        )
    write_file(directory / f"{run}.pdf", render_record(account, chain.head))
    page.line("3. The record", style="bold")
    page.line(
        f"intact: {len(raw)} entries, head {chain.head[:16]}; possible under {account.table.procedure} revision {account.table.revision}",
        indent=3,
    )
    page.line(f"ended: {end_label(account)}", indent=3)
    page.line(f"record: {directory / f'{run}.ohmward.json'}", indent=3)
    page.line(f"page:   {directory / f'{run}.pdf'}", indent=3)
    page.line("4. Yourself", style="bold")
    print(
        f"   ohmward work run-motor-directly --rehearse --shop {directory} --job {directory / 'job-proving-fan.yaml'}"
    )
    page.line()
    page.line(CAUTION)
    return DONE


def _rehearse(directory: Path, script: Path, page: Page) -> Session:
    clock = ScriptClock(utc_now)
    session = open_run(
        open_shop(str(directory)),
        directory / "job-proving-fan.yaml",
        "run-motor-directly",
        clock,
        rehearsal=True,
    )
    lines = read_script(script.read_bytes(), str(script))
    teller = _Teller(page)
    answers = FileAnswers(
        lines, str(script), clock, say=lambda view, intent, said: teller.say(session, view, intent, said)
    )
    while not drive(session, answers):
        teller.line("break", "The run waits; it is taken up again after the break.")
        session = Session.resume(
            store=session.store, run=session.account.run, clock=clock, device=device_name()
        )
    return session


class _Teller:
    """One line for each gate that is held or lost, and for each step of the procedure."""

    def __init__(self, page: Page) -> None:
        self.page = page
        self.held: set[str] = set()

    def line(self, word: str, text: str) -> None:
        self.page.pair(f"   {word}", text, room=14)

    def say(self, session: Session, view: View, intent: Intent | None, messages: tuple[str, ...]) -> None:
        gates: Any = session.account.table.data["gates"]
        now = set(session.account.held)
        for key in sorted(now - self.held):
            self.line("gate held", gate_words(gates[key]))
        lost = sorted(gates[k]["title"] for k in self.held - now)
        if lost:
            self.line("lost", "; ".join(lost))
        self.held = now
        for message in messages:
            if "no longer held" not in message:
                self.line("told", message)
        match intent:
            case Answer(said=said) if not view.for_gate:
                self.line("step", f"{view.prompt} - {', '.join(said)}")
            case Stop(how=how, why=why):
                self.line("stop", f"{how}: {why}")
            case Begin() | Answer() | Happened() | None:
                pass
            case _:
                pass
