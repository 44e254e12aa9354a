"""`tour`: a demo shop, a rehearsal with its gates, a verified record, a PDF. No input."""

import argparse
import secrets
from collections.abc import Mapping
from contextlib import closing
from pathlib import Path
from typing import Any

from rich.console import Console

from ohmward.account.fold import end_label, fold
from ohmward.account.words import gate_words
from ohmward.errors import DONE, BrokenError
from ohmward.record.bundle import make_bundle
from ohmward.record.integrity import verify_record_file
from ohmward.rehearsal.bakery import ANSWERS
from ohmward.rehearsal.script import FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.keyfile import keep_secret
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.edge import device_name, utc_now
from ohmward.terminal.enrolling import enter, found_shop
from ohmward.terminal.opening import open_run
from ohmward.terminal.printing import sealed_record
from ohmward.terminal.records import bundle_in, write_file
from ohmward.terminal.screen import CAUTION, Page
from ohmward.terminal.secrets import desk_of, read_passphrases
from ohmward.terminal.signers import Signing
from ohmward.work.checkpoints import make_checkpoint
from ohmward.work.drive import drive
from ohmward.work.intents import Answer, Begin, Happened, Intent, Stop
from ohmward.work.screenful import View
from ohmward.work.session import Session


def tour(options: argparse.Namespace) -> int:
    """Everything once. Works a second time in the same folder."""
    directory = Path(options.directory)
    if not (directory / "shop.yaml").exists():
        make_shop(directory, utc_now().date())
    script = directory / "rehearsal-answers.yaml"
    write_file(script, ANSWERS.encode())
    page = Page(Console(highlight=False))
    page.line(f"1. A demo shop: {directory} (invented people, gear and bakery)", style="bold")
    words = _people(directory, page)
    page.line("2. A rehearsal of run-motor-directly, with answers from a file", style="bold")
    session = _rehearse(directory, script, page, words)
    run = session.account.run
    desk = desk_of(open_shop(str(directory)), session.store)
    point = make_checkpoint(desk, desk.unlock("P-03", words["P-03"]))
    write_file(directory / f"{run}.checkpoint.json", point.to_bytes())
    bundle, _ = bundle_in(session.store, directory, run)
    session.store.close()
    data = make_bundle(bundle)
    write_file(directory / f"{run}.ohmward.json", data)
    found = verify_record_file(data, held=point)
    account = fold(found.chain.entries)
    if not found.intact or account.impossible:
        raise BrokenError(
            f"the rehearsal's own record does not verify: {found.problem or account.impossible}"
        )
    write_file(directory / f"{run}.pdf", sealed_record(directory, bundle))
    page.line("3. The record", style="bold")
    page.line(found.words, indent=3)
    page.line(f"possible under {account.table.procedure} revision {account.table.revision}", indent=3)
    page.line(f"ended: {end_label(account)}", indent=3)
    page.line(f"record:     {directory / f'{run}.ohmward.json'}", indent=3)
    page.line(f"page:       {directory / f'{run}.pdf'}", indent=3)
    page.line(f"checkpoint: {directory / f'{run}.checkpoint.json'}", indent=3)
    page.line("4. Yourself", style="bold")
    print(
        f"   ohmward work run-motor-directly --rehearse --shop {directory} --job {directory / 'job-proving-fan.yaml'}"
    )
    print(f"   ohmward verify {directory / f'{run}.pdf'}")
    page.line()
    page.line(CAUTION)
    return DONE


def _people(directory: Path, page: Page) -> dict[str, str]:
    """Everybody of the demo gets a key; their passphrases lie beside it, as they never would in a real shop."""
    path = directory / "demo-passphrases.txt"
    folder = open_shop(str(directory))
    people = sorted(folder.roster.people, key=lambda p: p.role != "safety-officer")
    if not path.exists():
        words = {p.id: f"demo words of {p.id} {secrets.token_hex(4)}" for p in people}
        keep_secret(path, "".join(f"{i}: {w}\n" for i, w in words.items()).encode())
    known = dict(read_passphrases(path))
    with closing(SqliteStore(folder.store_path)) as store:
        desk = desk_of(folder, store)
        for person in people:
            current = desk.diary.lists.current
            if current is None:
                found_shop(folder, desk, person, lambda who, _: known[who])
            elif current.of(person.id) is None:
                enter(folder, desk, person, people[0].id, lambda who, _: known[who])
        page.line(f"everybody has a key now; their demo passphrases: {path}", indent=3)
    return known


def _rehearse(directory: Path, script: Path, page: Page, words: Mapping[str, str]) -> Session:
    clock = ScriptClock(utc_now)
    session = open_run(
        open_shop(str(directory)),
        directory / "job-proving-fan.yaml",
        "run-motor-directly",
        clock,
        rehearsal=True,
        signing=Signing(ask=lambda who, _: words[who], say=lambda _: None, once=True),
    )
    lines = read_script(script.read_bytes(), str(script))
    teller = _Teller(page)
    answers = FileAnswers(
        lines, str(script), clock, say=lambda view, intent, said: teller.say(session, view, intent, said)
    )
    while not drive(session, answers):
        teller.line("break", "The run waits; it is taken up again after the break.")
        session = Session.resume(
            store=session.store,
            run=session.account.run,
            clock=clock,
            device=device_name(),
            signer=session.signer,
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
