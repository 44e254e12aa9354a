"""A shop in a folder, a clock in the hand, and scripts against one run, through the doors' own code."""

import contextlib
from datetime import UTC, datetime, timedelta
from pathlib import Path

from ohmward.approval.approval import load_verdicts
from ohmward.approval.consent import Consent, Word, decide_consent
from ohmward.approval.statement import digest_of_statement, statement_of
from ohmward.chart.document import digest_of_table
from ohmward.rehearsal.bakery import ANSWERS
from ohmward.rehearsal.script import CrashNowError, FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.shipped import shipped_folder
from ohmward.shop.tables import keep_table, key_of
from ohmward.terminal.approvals import change_approvals
from ohmward.terminal.working import open_run
from ohmward.work.drive import drive
from ohmward.work.session import Session
from tests.conftest import table_of

DAY = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
LINES = [line for line in ANSWERS.split("\n") if line and not line.startswith("#")]


def good(until: str = "", skip: tuple[str, ...] = ("stop:", "after:")) -> str:
    """The demo's answers without its break, up to the first line that holds `until`."""
    kept = []
    for line in LINES:
        if until and until in line:
            break
        if not any(f"{{{s}" in line for s in skip):
            kept.append(line)
    return "\n".join(kept) + "\n"


def approved(folder: Path, *procedures: str) -> None:
    """P-04 and P-03 of the starter shop agree to shipped procedures as they stand, through the rooms' own code."""
    people = {p.id: p for p in open_shop(str(folder)).roster.people}
    for procedure in procedures:
        table = table_of(procedure)
        verdict = load_verdicts((shipped_folder() / "verdicts.json",))[digest_of_table(table)]
        statement = digest_of_statement(statement_of(table, verdict))
        consent = Consent(table=verdict.table, procedure=procedure, revision=verdict.revision, statement=statement)
        for person in ("P-04", "P-03"):
            known = people[person]
            word = Word(person=person, name=known.name, role=known.role, time="2026-11-20T08:00:00Z")
            consent = decide_consent(consent, consent, word)
        change_approvals(folder, lambda a, c=consent: a.put(c))


class Bench:
    """One run in a temporary shop."""

    def __init__(self, folder: Path, *, rehearsal: bool = True) -> None:
        if not (folder / "shop.yaml").exists():
            make_shop(folder, DAY.date())
            files, _ = open_shop(str(folder)).files()
            keep_table(folder, key_of(files, "run-motor-directly"), table_of("run-motor-directly"))
        if not rehearsal:
            approved(folder, "run-motor-directly", "take-down-what-was-left")
        self.folder = folder
        self.now = DAY
        self.clock = ScriptClock(self._tick)
        self.session = self.open(rehearsal=rehearsal)

    def _tick(self) -> datetime:
        self.now += timedelta(seconds=1)
        return self.now

    def open(self, procedure: str = "run-motor-directly", *, rehearsal: bool = True) -> Session:
        return open_run(open_shop(str(self.folder)), self.folder / "job-proving-fan.yaml", procedure, self.clock, rehearsal=rehearsal)

    def play(self, text: str) -> None:
        """Plays lines; ends quietly where the lines end, breaks and crashes leave the session for `resume`."""
        from ohmward.errors import AnswerError

        answers = FileAnswers(read_script(text.encode(), "a.yaml"), "a.yaml", self.clock)
        try:
            with contextlib.suppress(CrashNowError):
                drive(self.session, answers)
        except AnswerError as error:
            if "there is no answer for" not in str(error):
                raise

    def resume(self) -> None:
        run, store = self.session.account.run, self.session.store
        self.session = Session.resume(store=store, run=run, clock=self.clock, device="d")

    @property
    def view(self):
        return self.session.view()

    @property
    def account(self):
        return self.session.account
