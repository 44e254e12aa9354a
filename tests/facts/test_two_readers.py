"""Second readings are blind: two people, neither sees what the other read, and only what agrees counts."""

import atexit
import io
import shutil
import tempfile
from functools import cache
from pathlib import Path

import pytest
from pypdf import PdfReader
from rich.console import Console

from ohmward.account.fold import fold
from ohmward.account.judge import NOT_DECIDED
from ohmward.account.lines import line_of
from ohmward.account.pair import SECOND_READING
from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import DONE, BrokenError, FaultyFileError, StoreError
from ohmward.language.library import load_library
from ohmward.proof.routines import routine_faults
from ohmward.record.entry import NOTHING, Kind, read_entry
from ohmward.review.reasons import reasons
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.tables import keep_table, key_of
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.main import main
from ohmward.terminal.person import PersonAnswers
from ohmward.work.draft import Draft
from ohmward.work.intents import Answer, Begin, Happened, Stop
from ohmward.work.session import Session, Told
from tests.conftest import ROOT, shipped_files, table_of
from tests.facts.shopping import DAY, Bench, approved, template
from tests.facts.test_store import entry

SCRIPT = (ROOT / "tests" / "rehearsals" / "isolate.yaml").read_text()
BEFORE = SCRIPT.partition("- step: others")[0]
GATE = "read-by-two(motor-circuit, board-box)"
PROTECTED = f"- {{step: '{GATE}.protected', say: all of it is on and in order}}\n"
TO_THE_READING = f"- {{step: others, say: others too}}\n- {{step: '{GATE}.who', say: P-03}}\n{PROTECTED}"
AFTER = f"""
- {{step: '{GATE}.after.known', say: '240.4'}}
- {{step: read-again, say: Tomas Reyl and Ida Brandl}}
- {{step: close-board, say: done}}
- {{step: tag, say: 'T. Reyl, 8:40, fan'}}
"""


@cache
def prepared(*, rehearsal):
    """A shop with its table kept, copied for each fact."""
    folder = Path(tempfile.mkdtemp(prefix="shop-")) / "s"
    atexit.register(shutil.rmtree, folder.parent, ignore_errors=True)
    shutil.copytree(template(real=not rehearsal), folder)
    files, _ = open_shop(str(folder)).files()
    keep_table(folder, key_of(files, "isolate"), table_of("isolate"))
    if not rehearsal:
        approved(folder, "isolate")
    return folder


def isolating(folder, *, rehearsal=True):
    shutil.copytree(prepared(rehearsal=rehearsal), folder)
    bench = Bench(folder, rehearsal=rehearsal, procedure="isolate")
    bench.play(BEFORE)
    bench.play(TO_THE_READING)
    return bench


def read(bench, one, other):
    """Both read; the deed is begun first."""
    if bench.view.mode == "ready":
        bench.session.apply(Begin(step=bench.view.step))
    return bench.session.apply(Answer(step=bench.view.step, said=one, second=other))


@pytest.fixture
def bench(tmp_path):
    made = isolating(tmp_path / "s")
    assert made.view.step == f"{GATE}.read"
    return made


def answer_of(bench):
    return next(e for e in reversed(bench.account.entries) if e.kind is Kind.ANSWERED)


def test_two_people_who_read_alike_hold_the_gate_and_each_value_is_told_by_who_read_it(bench):
    assert (bench.view.points, bench.view.second) == (("line to neutral", "line to ground", "neutral to ground"), "Nuria Falk (P-03)")
    assert read(bench, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2")).taken
    told, answer = bench.account.entries[-2:]
    assert (told.kind, told.actor, told.note, told.said) == (Kind.NOTED, "P-03", SECOND_READING, "0.1; 0.2; 0.2")
    assert (answer.outcome, answer.note) == ("dead", "both read it so, within 1 V")
    assert [v.point for v in answer.values[3:]] == [f"{p}, second person" for p in bench_points(bench)]
    bench.play(AFTER)
    assert bench.account.ended
    assert GATE in {s.gate for s in bench.account.spans}


def bench_points(bench):
    return [v.point for v in answer_of(bench).values[:3]]


UNLIKE = [
    (("0.2", "0.1", "0.2"), ("0.2", "1.3", "0.2"), "differ by more than 1 V", "line to ground"),
    (("0.2", "0.1", "0.2"), ("0.2", "12.0", "0.2"), "do not come out alike", ""),
    (("0.2", "0.1", "0.2"), ("0.2", "2.9", "0.2"), "the second person's reading is not decided", ""),
    (("0.2", "2.9", "0.2"), ("0.2", "0.1", "0.2"), "the worker's reading is not decided", ""),
]


@pytest.mark.parametrize(("one", "other", "why", "where"), UNLIKE[:1] + UNLIKE[2:])
def test_what_two_people_read_unlike_is_not_decided_and_no_value_is_told(bench, one, other, why, where):
    told = read(bench, one, other)
    answer = answer_of(bench)
    assert answer.outcome == NOT_DECIDED
    assert why in answer.note
    assert where in answer.note
    words = " ".join(told.messages)
    assert not any(text in words for text in (*one, *other))
    assert GATE not in bench.account.held
    assert read(bench, ("0.2", "0.1", "0.2"), ("0.2", "0.1", "0.2")).taken
    assert answer_of(bench).outcome == "dead"


def test_a_voltage_that_only_one_of_the_two_reads_ends_the_gate(bench):
    read(bench, ("0.2", "0.1", "0.2"), ("0.2", "12.0", "0.2"))
    assert answer_of(bench).outcome == NOT_DECIDED
    read(bench, ("0.2", "0.1", "0.2"), ("0.2", "12.0", "0.2"))
    assert GATE not in bench.account.held
    assert bench.view.step == "found-live"


@pytest.mark.parametrize("turned", [False, True])
def test_live_read_by_one_of_the_two_is_live(bench, turned):
    pair = (("0.2", "0.1", "0.2"), ("0.2", "118.0", "0.2"))
    read(bench, *(reversed(pair) if turned else pair))
    answer = answer_of(bench)
    assert (answer.outcome, answer.note) == ("live", "read so by one of the two")
    assert "verified-dead(motor-circuit, board-box)" not in bench.account.held
    assert bench.view.step == "found-live"


def test_over_range_beside_a_value_is_not_alike_and_beside_over_range_is(tmp_path):
    from ohmward.account.pair import judge_values

    outcomes = [{"name": n, "effects": []} for n in ("low", "open")]
    bands = [{"name": "low", "below": "10 ohm"}, {"name": "open", "over_range": "here"}]
    step = {"unit": "ohm", "bands": bands, "outcomes": [{**o, "then": "", "leads": "on"} for o in outcomes], "second_within": "1 ohm"}
    assert judge_values(step, [("a", "OL"), ("a, second person", "OL")], (None, None), {}).outcome == "open"
    assert judge_values(step, [("a", "OL"), ("a, second person", "500")], (None, None), {}).outcome == NOT_DECIDED
    unknown = {**step, "second_within": "fact.apart"}
    assert "is not known" in judge_values(unknown, [("a", "1"), ("a, second person", "1")], (None, None), {}).why


def test_one_person_alone_is_no_second_reader(bench):
    alone = ("0.2", "0.1", "0.2")
    bench.session.apply(Begin(step=bench.view.step))
    told = bench.session.apply(Answer(step=bench.view.step, said=alone))
    assert (told.taken, told.messages) == (False, ("two people read this: as many values by P-03 as by P-02. In a file: say: [ … ] and second: [ … ]",))
    told = bench.session.apply(Answer(step=bench.view.step, said=("cannot",), second=alone))
    assert (told.taken, told.messages) == (False, ("it was read all the same",))
    bench.session.apply(Happened(event="second left"))
    told = bench.session.apply(Answer(step=bench.view.step, said=alone, second=alone))
    assert not told.taken
    assert "nobody but the worker is named who reads it a second time" in told.messages[0]
    assert bench.session.apply(Answer(step=bench.view.step, said=("cannot",))).taken
    assert answer_of(bench).outcome == NOT_DECIDED


def test_the_worker_and_somebody_who_is_not_qualified_are_turned_down_as_second_reader(tmp_path):
    shutil.copytree(prepared(rehearsal=True), tmp_path / "s")
    bench = Bench(tmp_path / "s", procedure="isolate")
    bench.play(BEFORE)
    bench.play("- {step: others, say: others too}\n")
    assert bench.session.apply(Answer(step=f"{GATE}.who", said=("P-02",))).messages[0].startswith("Tomas Reyl: You read it once already")
    assert "They watch you directly and see what you read" in bench.session.apply(Answer(step=f"{GATE}.who", said=("P-01",))).messages[0]
    assert "does not show this person as qualified" in bench.session.apply(Answer(step=f"{GATE}.who", said=("P-04",))).messages[0]
    assert bench.account.second == ""


def test_a_second_person_who_leaves_takes_the_gate_with_them(bench):
    read(bench, ("0.2", "0.1", "0.2"), ("0.2", "0.1", "0.2"))
    bench.play(f"- {{step: '{GATE}.after.known', say: '240.4'}}\n")
    assert GATE in bench.account.held
    assert bench.session.apply(Happened(event="second left")).taken
    assert GATE not in bench.account.held
    assert bench.account.second == ""


def test_an_answer_by_one_where_one_reads_has_no_second_values(tmp_path):
    shutil.copytree(prepared(rehearsal=True), tmp_path / "s")
    bench = Bench(tmp_path / "s", procedure="isolate")
    bench.play(BEFORE.partition("- step: meter-proved(voltmeter).proof.known")[0])
    told = bench.session.apply(Answer(step=bench.view.step, said=("240.4",), second=("240.4",)))
    assert (told.taken, told.messages) == (False, ("one person reads this",))


# -- with keys -------------------------------------------------------------------------------------------


@pytest.fixture
def real(tmp_path):
    made = isolating(tmp_path / "s", rehearsal=False)
    assert made.view.step == f"{GATE}.read"
    return made


def test_the_second_person_signs_what_they_read_before_it_counts(real):
    assert read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2")).taken
    told, signed, answer = real.account.entries[-3:]
    assert (told.actor, told.note) == ("P-03", SECOND_READING)
    assert (signed.kind, signed.actor, signed.said) == (Kind.SIGNED, "P-03", "witnessed")
    assert answer.outcome == "dead"
    real.play(AFTER)
    assert real.account.ended
    assert not real.account.impossible


def test_a_disk_that_fills_up_while_two_sign_leaves_a_record_in_which_the_reading_does_not_count(tmp_path):
    """SQLite's own limit on pages: what fails is its write, at whichever of the three entries the filler lets it come to."""
    kept = set()
    for filler in (0, 800, 1600):
        real = isolating(tmp_path / str(filler), rehearsal=False)
        real.session.apply(Begin(step=real.view.step))
        store, before = real.session.store, len(real.account.entries)
        if filler:
            store.append("filler", after=NOTHING, data=entry("filler", 1, NOTHING, "x" * filler))
        (pages,) = store._db.execute("PRAGMA page_count").fetchone()
        store._db.execute(f"PRAGMA max_page_count = {pages}")
        with pytest.raises(StoreError, match="the disk is full. Free some space, then resume") as caught:
            read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2"))
        assert "Everything acknowledged before is kept" in str(caught.value)
        with pytest.raises(StoreError, match="nothing more is written until it is opened anew"):
            read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2"))
        store.close()
        again = SqliteStore(real.folder / "records.db")
        told = fold(map(read_entry, again.fetch(real.account.run)))
        kept.add(told.number - before)
        assert not told.impossible
        assert not told.is_held(GATE)
        assert not any(e.kind is Kind.ANSWERED for e in told.entries[before:])
        real.session = Session.resume(store=again, run=told.run, clock=real.clock, device="d", signer=real.session.signer)
        assert real.view.step == "locked-out(motor-circuit).open"  # whoever comes back begins with the lock
        again.close()
    assert len(kept) > 1


def test_without_the_second_persons_own_key_the_reading_does_not_count(real):
    real.session.apply(Begin(step=real.view.step))
    signer, real.session.signer = real.session.signer, None
    told = read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2"))
    assert (told.taken, told.messages) == (False, ("P-03 has not signed 'witnessed' with their own key: the reading does not count yet.",))
    assert GATE not in real.account.held
    real.session.signer = signer
    assert read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2")).taken


def forged(entries, change):
    """The record with one change, linked anew."""
    return fold(e._replace(number=n) for n, e in enumerate(change(list(entries)), 1))


@pytest.mark.parametrize(("one", "other"), [("118", "0.2"), ("0.2", "118"), ("118", "118")])
def test_live_needs_no_signature_of_the_second_person(real, one, other):
    real.session.signer = None
    assert read(real, ("0.2", one, "0.2"), ("0.2", other, "0.2")).taken
    assert answer_of(real).outcome == "live"
    assert "verified-dead(motor-circuit, board-box)" not in real.account.held
    assert not fold(real.account.entries).impossible


def test_a_late_answer_needs_no_signature_of_the_second_person(real):
    real.session.apply(Begin(step=real.view.step))
    real.session.apply(Happened(event="supervisor left"))
    assert real.view.mode == "late"
    real.session.signer = None
    assert read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2")).taken
    assert GATE not in real.account.held


def test_what_was_read_and_not_taken_is_kept_and_a_reason_to_look(real):
    real.session.apply(Begin(step=real.view.step))
    signer, real.session.signer = real.session.signer, None
    assert not read(real, ("0.2", "0.1", "40.5"), ("0.1", "0.2", "41.5")).taken
    kept = [(e.actor, e.said, e.note) for e in real.account.entries if e.note.endswith("reading") or "not held" in e.note]
    assert kept == [("P-03", "0.1; 0.2; 41.5", SECOND_READING), ("P-02", "0.2; 0.1; 40.5", "first reading, not held against another")]
    real.session.signer = signer
    assert read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2")).taken
    words = [r.words for r in reasons(real.account) if r.kind == "read, not taken"]
    assert len(words) == 2
    assert any("P-02 read 0.2; 0.1; 40.5, and it was not taken" in w for w in words)


def test_each_signs_without_being_shown_what_the_other_read_until_both_agree(real):
    shown = []
    real.session.signer.say = shown.append
    read(real, ("0.2", "0.1", "7.7"), ("0.1", "1.9", "0.2"))
    assert any("0.1; 1.9; 0.2" in line for line in shown)  # the second person's own
    shown.clear()
    real.session.apply(Stop(how="pause", why="lunch"))
    text = "\n".join(shown)
    assert "not shown while two read" in text
    assert "7.7" not in text
    assert "1.9" not in text


def test_a_newer_reading_of_the_second_person_is_the_one_that_counts(real):
    read(real, ("0.2", "0.1", "0.3"), ("0.1", "0.2", "0.2"))
    entries = list(real.account.entries)
    told = next(e for e in entries if e.note == SECOND_READING)
    newer = told._replace(values=tuple(v._replace(said="118", low="117 V", high="119 V") for v in told.values))
    assert "has not told the same values" in forged(entries, lambda es: [*es[: told.number], newer, *es[told.number :]]).impossible


FORGERIES = {
    "without the second person's entry": (lambda es: [e for e in es if e.note != SECOND_READING], "P-03 has not told the same values before it"),
    "without their signature": (lambda es: [e for e in es if (e.actor, e.said) != ("P-03", "witnessed")], "P-03 has not signed 'witnessed' before it"),
    "told by the worker": (lambda es: [e._replace(actor="P-02") if e.note == SECOND_READING else e for e in es], "P-03 has not told the same values before it"),
    "with other values": (lambda es: [e._replace(values=e.values[::-1]) if e.note == SECOND_READING else e for e in es], "P-03 has not told the same values before it"),
    "named as the worker": (lambda es: [e._replace(said="P-02") if e.step.endswith(".who") and e.step.startswith("read") else e for e in es], "P-02 does not meet 'not person.is-worker'"),
}


@pytest.mark.parametrize("name", FORGERIES)
def test_a_second_reading_that_is_forged_makes_the_record_impossible(real, name):
    change, why = FORGERIES[name]
    read(real, ("0.2", "0.1", "0.3"), ("0.1", "0.2", "0.2"))
    assert why in forged(real.account.entries, change).impossible


def test_a_record_with_no_second_person_left_says_so(real):
    read(real, ("0.2", "0.1", "0.3"), ("0.1", "0.2", "0.2"))
    entries = list(real.account.entries)
    gone = entries[-4]._replace(kind=Kind.LOST, trigger="second left", said="", note="second left", step="", values=(), outcome="")
    at = next(n for n, e in enumerate(entries) if e.note == SECOND_READING)
    assert "nobody but the worker is named" in forged(entries, lambda es: [*es[:at], gone._replace(time=es[at].time), *es[at:]]).impossible


def test_nothing_else_may_stand_between_the_second_persons_reading_and_the_answer(real):
    step = real.view.step
    read(real, ("0.2", "0.1", "0.2"), ("0.2", "1.3", "0.2"))
    values = next(e for e in real.account.entries if e.note == SECOND_READING).values
    real.session.remark(Draft(kind=Kind.NOTED, said="a bird", note="remark"))
    assert answer_of(real).outcome == NOT_DECIDED
    real.session.apply(Begin(step=step))
    before = answer_of(real)
    with pytest.raises(BrokenError, match="has not told the same values before it"):
        real.session._write(Draft(kind=Kind.ANSWERED, trigger=f"answered@{step}={NOT_DECIDED}", step=step, said=before.said, outcome=NOT_DECIDED, instrument=before.instrument, values=before.values, note=before.note, taken=real.account.time), "", real.session.clock())
    assert values


# -- what is seen of it ----------------------------------------------------------------------------------


def test_paper_and_signing_show_whose_values_are_whose(bench):
    read(bench, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.3"))
    assert line_of(bench.account, answer_of(bench))[3] == "0.2 V; 0.1 V; 0.2 V; second person: 0.1 V; 0.2 V; 0.3 V (M-07, dead)"


def found(bench):
    return {r.kind: r.words for r in reasons(bench.account)}


def test_two_readings_that_differ_are_a_reason_to_look_with_their_values(bench):
    read(bench, ("0.2", "0.1", "0.2"), ("0.2", "1.3", "0.2"))
    assert "0.2; 0.1; 0.2 and 0.2; 1.3; 0.2. the two readings at line to ground differ" in found(bench)["read unlike"]


def test_two_readings_alike_to_the_last_digit_at_every_point_are_a_reason_to_look(bench):
    read(bench, ("0.2", "0.1", "0.3"), ("0.2", "0.1", "0.3"))
    assert "alike to the last digit, at all 3 points" in found(bench)["read alike"]


def test_zeros_and_honest_differences_are_no_reason_to_look(bench):
    read(bench, ("0.2", "0.1", "0.3"), ("0.2", "0.2", "0.3"))
    assert not {"read alike", "read unlike"} & set(found(bench))


def test_what_is_written_together_with_an_answer_does_not_make_it_a_quick_one(real):
    real.pace = 5
    read(real, ("0.2", "0.1", "0.2"), ("0.1", "0.2", "0.2"))
    assert answer_of(real).number not in {n for r in reasons(real.account) if r.kind.startswith("quick") for n in r.entries}


# -- at the terminal -------------------------------------------------------------------------------------


class Tty(io.StringIO):
    """A file that is a screen."""

    def isatty(self):
        return True


def at_the_terminal(bench, typed):
    """What comes of typing, and what stood on the screen at each prompt."""
    out = Tty()
    console = Console(file=out, width=60, force_terminal=True)
    left, screens = list(typed), []

    def read_line(prompt):
        screens.append(out.getvalue().rpartition("\x1b[3J")[2] + prompt)
        out.write(prompt + left[0] + "\n")
        return left.pop(0)

    bench.session.apply(Begin(step=bench.view.step))
    door = PersonAnswers(console, read_line, lambda: bench.account, keep_picture=lambda _: "", clock=lambda: DAY)
    intent = door.next(bench.view)
    out.write("what is shown to sign")
    door.told(Told(taken=True))
    return intent, screens, out.getvalue()


def test_the_screen_shows_the_second_person_nothing_of_what_was_read(bench):
    intent, screens, whole = at_the_terminal(bench, ["0.2", "volt", "0.1", "7.3", "", "0.1", "0.2", "0.4"])
    assert intent == Answer(step=f"{GATE}.read", said=("0.2", "0.1", "7.3"), second=("0.1", "0.2", "0.4"), taken=DAY)
    assert "you, then Nuria Falk (P-03); neither" in " ".join(screens[0].split())
    assert "A number in V, or OL" in screens[2]
    handed = screens[4]
    assert "What was read is not" in handed
    assert "Nuria Falk (P-03) presses Enter" in handed
    for screen in screens[4:]:
        assert "7.3" not in screen
    assert screens[5].rstrip().endswith("Nuria Falk (P-03): 1 of 3  line to neutral (V, OL, x cannot) >")
    assert "Voltage between the parts that will be touched" in screens[5]
    assert whole.endswith("\x1b[H\x1b[2J\x1b[3J")


def test_either_of_the_two_can_say_that_it_cannot_be_read_or_stop(bench):
    assert at_the_terminal(bench, ["x"])[0].said == ("cannot",)
    read_one = at_the_terminal(bench, ["0.2", "0.1", "0.2", "", "0.2", "x"])[0]
    assert read_one == Answer(step=f"{GATE}.read", said=("0.2", "0.1", "0.2"), second=("cannot",))
    assert bench.session.apply(read_one).taken
    assert (answer_of(bench).outcome, [v.said for v in answer_of(bench).values]) == (NOT_DECIDED, ["0.2", "0.1", "0.2"])
    assert at_the_terminal(bench, ["0.2", "0.1", "0.2", "", "0.2", "b"])[0] == Stop(how="pause", why="break")


def test_live_that_the_worker_reads_is_told_at_once_whatever_the_second_person_would_say(bench):
    intent, screens, whole = at_the_terminal(bench, ["0.2", "118", "0.2"])
    assert intent == Answer(step=f"{GATE}.read", said=("0.2", "118"))  # and nothing further is read
    assert len(screens) == 2
    assert "out; nothing more is read." in whole
    assert bench.session.apply(intent).taken
    assert (answer_of(bench).outcome, bench.view.step) == ("live", "found-live")
    assert not fold(bench.account.entries).impossible


def test_while_two_read_nobody_is_told_by_the_list_of_answers_what_was_read(bench):
    _, screens, whole = at_the_terminal(bench, ["c", "", "b"])
    assert "not shown while two read" in whole
    assert "0.2; 0.2; 0.2" not in whole
    assert len(screens) == 3


def test_after_a_break_somebody_can_say_that_the_second_person_has_left(bench):
    door = PersonAnswers(Console(file=Tty(), width=60), lambda _: "5", lambda: bench.account, keep_picture=lambda _: "", resumed=True)
    assert door.next(bench.view) == Happened(event="second left")


def test_the_second_person_leaving_is_told_with_one_key(bench):
    intent, screens, _ = at_the_terminal(bench, ["p", "5"])
    assert intent == Happened(event="second left")
    assert "5 the second person left" in screens[1]


def test_a_template_and_an_empty_form_ask_the_second_person_on_their_own(tmp_path, capsys):
    folder = tmp_path / "s"
    make_shop(folder, DAY.date())
    job, file, page = folder / "job-proving-fan.yaml", tmp_path / "a.yaml", tmp_path / "f.pdf"
    (folder / "procedures" / "mine.yaml").write_text(shipped_files()["isolate.yaml"].decode().replace("procedure: isolate", "procedure: mine").replace("then: close-board, counts: yes", "then: close-board"))
    assert main(["answers", "mine", "--shop", str(folder), "--job", str(job), "-o", str(file)]) == DONE
    asked = file.read_text().partition(f'- step: "{GATE}.read"')[2].split("\n")
    assert asked[1:3] == ['  say: ["?", "?", "?"]  # V: line to neutral; line to ground; neutral to ground', '  second: ["?", "?", "?"]']
    assert main(["print", "--blank", "isolate", "--job", str(job), "--shop", str(folder), "-o", str(page)]) == DONE
    text = " ".join("".join(p.extract_text() for p in PdfReader(page).pages).split())
    assert "writes on a sheet of their own, before they see this one" in text
    assert "line to neutral, second person" not in text
    capsys.readouterr()


# -- in files --------------------------------------------------------------------------------------------

FILE = "gates/read-by-two.yaml"
FAULTS = [
    ("    second_within: 1 V", "    second_within: 0 V", "no-difference"),
    ("    second_within: 1 V", "    second_within: 1 A", "limit"),
    ("    second_within: 1 V", "    second_within: 1 +", "limit"),
    ("    role: second\n", "    role: supervisor\n", "no-second"),
    ("    why: Two readings by one person are one reading.", "    second_within: 1 V", "no-reading"),
]


@pytest.mark.parametrize(("find", "put", "code"), FAULTS)
def test_a_reading_by_two_that_is_none_is_a_fault_of_the_file(find, put, code):
    text = shipped_files()[FILE].decode()
    assert find in text
    with pytest.raises(FaultyFileError) as caught:
        make_plan(load_library({**shipped_files(), FILE: text.replace(find, put, 1).encode()}), "isolate")
    assert code in {d.code for d in caught.value.diagnostics}


def weakened(*edits):
    """What the rules say of a gate of the shop's own, made from the shipped one, in a procedure of its own."""
    files = shipped_files()
    gate = files[FILE].decode().replace("gate: read-by-two", "gate: read-by-pair")
    for find, put in edits:
        assert find in gate
        gate = gate.replace(find, put)
    mine = files["isolate.yaml"].decode().replace("read-by-two", "read-by-pair").replace("procedure: isolate", "procedure: mine")
    library = load_library({**files, "gates/read-by-pair.yaml": gate.encode(), "mine.yaml": mine.encode()})
    table = compile_chart(make_plan(library, "mine"))
    return " ".join(story for rule, _, story in routine_faults(table, library.rules) if rule == "second-reader-is-another")


WEAK = [
    (("second_within: 1 V", "second_within: 1000 V"), "lie 1000 V apart; at most 1 V"),
    (("below: 3 V, counts", "below: 49 V, counts"), "'dead' counts up to 49 V"),
    (("  - second left\n", ""), "'second left' does not lose it"),
    (("require: person.qualified-here", "require: not person.is-worker"), "it does not ask that person.qualified-here"),
    (("require: not person.is-supervising", "require: not person.is-worker"), "it does not ask that not person.is-supervising"),
    (("pairs(it.conductors, ground)", "[line to ground]"), "is not read between pairs(it.conductors, ground)"),
]


@pytest.mark.parametrize(("edit", "story"), WEAK)
def test_the_rule_watches_every_gate_in_which_two_read_whatever_it_is_called(edit, story):
    assert weakened() == ""
    assert story in weakened(edit)
