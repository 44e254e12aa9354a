"""A shop in a folder, a clock in the hand, and scripts against one run, through the doors' own code."""

import atexit
import contextlib
import shutil
import tempfile
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from functools import cache
from hashlib import sha256
from pathlib import Path

from ohmward.approval.approval import load_verdicts
from ohmward.approval.consent import Consent, Word, decide_consent
from ohmward.approval.signed_word import approval_bytes, to_sign
from ohmward.approval.statement import digest_of_statement, statement_of
from ohmward.chart.document import digest_of_table
from ohmward.record.entering import first_list, with_key, with_person
from ohmward.record.integrity import Integrity, verify_run
from ohmward.record.packed import pack
from ohmward.rehearsal.bakery import ANSWERS
from ohmward.rehearsal.script import CrashNowError, FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.keyfile import Cost, Unlocked, keep_secret, key_path, make_key
from ohmward.shop.seal import new_seal
from ohmward.shop.shipped import shipped_folder
from ohmward.shop.tables import keep_table
from ohmward.shop.tables import key_of as key_of_table
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.approvals import change_approvals
from ohmward.terminal.opening import open_run
from ohmward.terminal.signers import Signing
from ohmward.work.drive import drive
from ohmward.work.keydesk import KeyDesk
from ohmward.work.keydesk import diary_of as read_diary_of
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
    """P-04 and P-03 of the starter shop agree to shipped procedures as they stand, through the rooms' own code.

    Everybody gets a key before, where nobody has one yet.
    """
    with contextlib.closing(SqliteStore(folder / "records.db")) as store:
        lists = desk_in(folder, store).diary.lists
    if not lists.versions:
        enrolled(folder)
        with contextlib.closing(SqliteStore(folder / "records.db")) as store:
            lists = desk_in(folder, store).diary.lists
    people = {p.id: p for p in open_shop(str(folder)).roster.people}
    for procedure in procedures:
        table = table_of(procedure)
        verdict = load_verdicts((shipped_folder() / "verdicts.json",))[digest_of_table(table)]
        statement = digest_of_statement(statement_of(table, verdict))
        consent = Consent(table=verdict.table, procedure=procedure, revision=verdict.revision, statement=statement)
        for person in ("P-04", "P-03"):
            known = people[person]
            word = Word(person=person, name=known.name, role=known.role, time="2026-11-20T08:00:00Z")
            word = to_sign(word, lists.current)
            word = replace(word, signature=pack(key_of(person)[1].sign(approval_bytes(consent, word))))
            consent = decide_consent(consent, consent, word)
        change_approvals(folder, lambda a, c=consent: a.put(c))


WORDS = {p: f"four plain words {p}" for p in ("P-01", "P-02", "P-03", "P-04")}
CHEAP = Cost(memory_kib=19456, iterations=2, lanes=1)
SIGNING = Signing(ask=lambda who, _: WORDS[who], say=lambda _: None, once=True)


def chance(person: str):
    """Bytes that are the same in each run of the facts, another row for each person."""
    state = [person]

    def more(count: int) -> bytes:
        state[0] += "."
        return sha256(state[0].encode()).digest()[:count]

    return more


@cache
def key_of(person: str) -> tuple[bytes, Unlocked]:
    return make_key(person, WORDS[person], chance(person), CHEAP)


def desk_in(folder: Path, store, clock=lambda: DAY) -> KeyDesk:
    return KeyDesk(store=store, folder=folder, clock=clock, device="d")


def enrolled(folder: Path, *people: str, at: datetime = DAY - timedelta(days=30)) -> None:
    """P-04 founds the list of keys and enters the others, through the rooms' own code."""
    known = {p.id: p for p in open_shop(str(folder)).roster.people}
    with contextlib.closing(SqliteStore(folder / "records.db")) as store:
        desk = desk_in(folder, store, lambda: at)
        made = first_list("Kornmuehle Service (an invented employer)", desk.now())
        seal = new_seal("facts", DAY - timedelta(days=60))
        seal.keep(folder)
        made = replace(made, authority=seal.authority)
        for person in ("P-04", *(p for p in people or WORDS if p != "P-04")):
            data, key = key_of(person)
            keep_secret(key_path(folder, person, key.key), data)
            made = with_key(with_person(made, person, known[person].name, known[person].role), person, key.public)
        desk.keep_list(made, [key_of("P-04")[1]], "P-04")


def words_file(folder: Path) -> Path:
    """A file of passphrases, as scripts give it."""
    path = folder / "words.txt"
    path.touch(mode=0o600)
    path.write_text("".join(f"{p}: {w}\n" for p, w in WORDS.items()))
    return path


def seen(session) -> Integrity:
    """A run's record as it would be verified, without keys."""
    run = session.account.run
    return verify_run(session.store.fetch(run), run=run, lists=read_diary_of(session.store).lists)


@cache
def template(*, real: bool) -> Path:
    """A shop as `new` makes it, its table kept; a real one has keys and approvals. Copied for each bench."""
    folder = Path(tempfile.mkdtemp(prefix="shop-")) / "s"
    atexit.register(shutil.rmtree, folder.parent, ignore_errors=True)
    make_shop(folder, DAY.date())
    files, _ = open_shop(str(folder)).files()
    keep_table(folder, key_of_table(files, "run-motor-directly"), table_of("run-motor-directly"))
    if real:
        approved(folder, "run-motor-directly", "take-down-what-was-left")
    return folder


class Bench:
    """One run in a temporary shop."""

    def __init__(self, folder: Path, *, rehearsal: bool = True, procedure: str = "run-motor-directly", job: str = "job-proving-fan.yaml") -> None:
        if not (folder / "shop.yaml").exists():
            shutil.copytree(template(real=not rehearsal), folder, dirs_exist_ok=True)
        elif not rehearsal:
            approved(folder, "run-motor-directly", "take-down-what-was-left")
        self.folder = folder
        self.pace = 1  # seconds that pass with each look at the clock
        self.now = DAY
        self.clock = ScriptClock(self._tick)
        self.job = job
        self.session = self.open(procedure, rehearsal=rehearsal)

    def _tick(self) -> datetime:
        self.now += timedelta(seconds=self.pace)
        return self.now

    def open(self, procedure: str = "run-motor-directly", *, rehearsal: bool = True) -> Session:
        return open_run(open_shop(str(self.folder)), self.folder / self.job, procedure, self.clock, rehearsal=rehearsal, signing=None if rehearsal else SIGNING)

    def open_with(self, signing) -> Session:
        return open_run(open_shop(str(self.folder)), self.folder / "job-proving-fan.yaml", "run-motor-directly", self.clock, rehearsal=False, signing=signing)

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
        self.session = Session.resume(store=store, run=run, clock=self.clock, device="d", signer=self.session.signer)

    @property
    def view(self):
        return self.session.view()

    @property
    def account(self):
        return self.session.account
