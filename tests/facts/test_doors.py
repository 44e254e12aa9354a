"""The commands as a user meets them: exit codes, words, a real terminal, kill -9, paper."""

import contextlib
import fcntl
import io
import json
import os
import pty
import re
import select
import signal
import struct
import subprocess
import sys
import termios
import time

import pytest
from pypdf import PdfReader
from rich.console import Console

from ohmward.account.fold import fold
from ohmward.record.bundle import verify_bundle
from ohmward.rehearsal.bakery import ANSWERS
from ohmward.review.reasons import reasons
from ohmward.terminal.keys import LineReader
from ohmward.terminal.main import main
from ohmward.terminal.person import PersonAnswers
from ohmward.terminal.screen import say, show_emergency, show_view
from ohmward.work.intents import Answer, Begin, Happened, Retyped
from ohmward.work.looking import _taken_away
from ohmward.work.screenful import View
from ohmward_printouts.fonts import drawable, markup, register
from ohmward_printouts.record_pdf import render_record
from tests.conftest import ROOT
from tests.facts.shopping import WORDS, Bench, approved, good, seen, words_file


def call(*arguments):
    out, err = io.StringIO(), io.StringIO()
    with contextlib.redirect_stdout(out), contextlib.redirect_stderr(err):
        try:
            code = main(list(arguments))
        except SystemExit as stop:
            code = int(stop.code or 0)
    return code, out.getvalue(), err.getvalue()


@pytest.fixture
def shop(tmp_path):
    assert call("new", str(tmp_path / "shop"))[0] == 0
    approved(tmp_path / "shop", "run-motor-directly")
    words_file(tmp_path)
    (tmp_path / "a.yaml").write_text(good())
    return tmp_path / "shop"


def work(shop, *more, answers=None):
    file = shop.parent / "a.yaml"
    if answers is not None:
        file.write_text(answers)
    return call("work", "run-motor-directly", "--shop", str(shop), "--job", str(shop / "job-proving-fan.yaml"), "--answers", str(file), "--passphrases", str(shop.parent / "words.txt"), *more)


def test_tour_needs_nothing_and_leaves_a_verified_record_and_a_page(tmp_path):
    folder = tmp_path / "demo"
    code, out, _ = call("tour", str(folder))
    assert code == 0
    assert "gate held" in out
    assert "Held off for repair" in out
    (bundle,) = folder.glob("*.ohmward.json")
    assert call("verify", str(bundle))[0] == 0
    (page,) = folder.glob("*.pdf")
    assert "REHEARSAL" in PdfReader(page).pages[0].extract_text()
    assert call("tour", str(folder))[0] == 0


def test_a_real_run_from_a_file_is_listed_exported_verified_and_printed(shop, tmp_path):
    code, out, _ = work(shop)
    assert code == 0
    run = re.search(r"Run (\S+):", out).group(1)
    code, out, _ = call("runs", "--shop", str(shop), "--json")
    (listed,) = json.loads(out)
    assert (listed["run"], listed["rehearsal"], listed["open"], listed["left"][0]["kind"]) == (run, False, False, "lock")
    assert (listed["worker"], listed["opened"][:4].isdigit()) == ("P-02", True)
    assert re.match(rf"{run}  \d\d\d\d-\d\d-\d\d \d\d:\d\d  Tomas Reyl \(P-02\)  ", call("runs", "--shop", str(shop))[1])
    bundle, page = tmp_path / "r.json", tmp_path / "r.pdf"
    assert call("export", run, "-o", str(bundle), "--shop", str(shop))[0] == 0
    code, out, _ = call("verify", str(bundle), "--json")
    assert (code, json.loads(out)[0]["ok"]) == (0, True)
    assert call("verify", "--shop", str(shop))[0] == 0
    assert call("print", run, "-o", str(page), "--shop", str(shop))[0] == 0
    text = "".join(p.extract_text() for p in PdfReader(page).pages)
    assert "REHEARSAL" not in text
    for words in ("Absence of voltage read where the work is", "cause of the trip found and put right", "Tomas Reyl (P-02)", "M-07, ac volts"):
        assert words in text.replace("\n", " ")
    spoiled = bundle.read_text().replace('"head": "', '"head": "0')
    bundle.write_text(spoiled)
    assert call("verify", str(bundle))[0] == 1


@pytest.mark.parametrize(
    ("arguments", "code", "words"),
    [
        (["frobnicate"], 2, "invalid choice"),
        (["runs"], 2, "there is no shop in"),
        (["verify", "missing.json"], 2, "cannot be read"),
        (["check", "run-motor"], 2, "there is no procedure 'run-motor'; did you mean"),
        (["--version"], 0, ""),
    ],
)
def test_each_refusal_has_its_code_and_its_words(arguments, code, words, tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    got, _, err = call(*arguments)
    assert got == code
    assert words in err


def test_a_rehearsal_is_signed_where_passphrases_are_given(shop):
    code, _, _ = work(shop, "--rehearse")
    assert code == 0
    listed = json.loads(call("verify", "--shop", str(shop), "--json")[1])
    assert [s["meaning"] for s in listed[0]["signatures"]] == ["performed", "supervised", "performed", "supervised"]
    assert "a rehearsal" in listed[0]["possible"]


def test_refusals_inside_a_shop(shop, tmp_path):
    base = ["--shop", str(shop)]
    assert call("new", str(shop))[0] == 2
    assert call("export", "r0", "-o", "x", *base)[0] == 2
    assert call("resume", *base, "--answers", str(tmp_path / "none.yaml"))[0] == 2
    assert call("resume", "r0", *base, "--passphrases", str(shop.parent / "words.txt"), "--answers", str(tmp_path / "a.yaml"))[0] == 2
    code, _, err = call("work", "run-motor-directly", *base, "--job", str(shop / "job-proving-fan.yaml"))
    assert (code, "nobody could answer" in err) == (2, True)
    code, _, err = work(shop, answers="- {after: 5 min}\n")
    assert (code, "`after:` and `lasts:` are for rehearsals" in err) == (2, True)
    assert work(shop)[0] == 1  # the run before is still open
    code, _, err = call("resume", *base, "--answers", str(tmp_path / "a.yaml"), "--passphrases", str(shop.parent / "words.txt"))
    assert code == 2


def test_a_stopped_run_is_exit_1_and_says_what_is_left(shop):
    script = good(until="step: unlock") + "- {stop: unsafe, why: smell}\n" + "".join(f"- {{step: safe.{s}, say: done}}\n" for s in ("left", "branch-breaker", "test-lead"))
    script = script.replace("- {step: safe.test-lead, say: done}\n", "")
    code, _, err = work(shop, answers=script)
    assert code == 2  # the file ends before the machine is safe
    assert "there is no answer for 'safe." in err


def test_a_crash_in_a_script_dies_and_the_next_run_of_the_file_goes_on(shop, tmp_path):
    text = good(until="step: read.windings") + "- crash\n" + "- {step: read.windings, say: [9.8, 14.6]}\n- {stop: pause}\n"
    (tmp_path / "a.yaml").write_text(text)
    command = [sys.executable, "-m", "ohmward", "work", "run-motor-directly", "--rehearse", "--shop", str(shop), "--job", str(shop / "job-proving-fan.yaml"), "--answers", str(tmp_path / "a.yaml")]
    assert subprocess.run(command, check=False, capture_output=True).returncode == 137
    code, out, _ = call("resume", "--shop", str(shop), "--answers", str(tmp_path / "a.yaml"))
    assert code == 0
    assert "waits. Go on with:\n  ohmward resume " in out


@pytest.mark.long
def test_check_of_an_own_procedure_tells_the_story_and_keeps_no_verdict(shop):
    text = (ROOT / "procedures" / "take-down-what-was-left.yaml").read_text()
    bad = text.replace("procedure: take-down-what-was-left", "procedure: mine").replace("      - verified-dead(motor-circuit, board-box)\n", "", 1)
    (shop / "procedures" / "mine.yaml").write_text(bad)
    code, out, _ = call("check", "mine", "--shop", str(shop))
    assert code == 1
    assert "NOT PROVED" in out
    assert "hands-need-dead" in out
    assert "remedy:" in out
    assert '"proved": {}' in (shop / "verdicts.json").read_text()
    code, out, _ = call("check", "mine", "--shop", str(shop), "--json")
    assert json.loads(out)[0]["proved"] is False
    (shop / "procedures" / "mine.yaml").write_text(bad.replace("devices:", "devises:"))
    code, _, err = call("check", "mine", "--shop", str(shop))
    assert code == 2
    assert f"{shop}/procedures/mine.yaml:" in err


def test_the_store_that_cannot_be_written_is_exit_3(shop):
    (shop / "records.db").unlink()
    os.mkdir(shop / "records.db")
    code, _, err = work(shop)
    assert code == 3
    assert "not kept" in err


def test_spoiled_verdicts_are_told(shop):
    (shop / "verdicts.json").write_text("[" * 5000)
    code, _, err = work(shop)
    assert (code, "run `ohmward check` to make them anew" in err) == (3, True)


def test_readme_names_every_command_and_the_commands_it_shows_exist():
    text = (ROOT / "README.md").read_text()
    help_text = call("--help")[1]
    for name in re.findall(r"^    (\w+) ", help_text, re.MULTILINE):
        assert f"ohmward {name}" in text, name
    assert ".venv/bin/ohmward tour" in text


# -- a real terminal --------------------------------------------------------------------------------------


class Terminal:
    """ohmward under a pseudo-terminal."""

    def __init__(self, *arguments, columns=60):
        self.pid, self.fd = pty.fork()
        if self.pid == 0:
            os.environ["TERM"] = "xterm"
            os.execv(sys.executable, [sys.executable, "-m", "ohmward", *arguments])
        fcntl.ioctl(self.fd, termios.TIOCSWINSZ, struct.pack("HHHH", 50, columns, 0, 0))
        self.seen = ""

    def until(self, words, seconds=90):
        """Reads until the words stand in what is new; gives the new text."""
        fresh = ""
        end = time.monotonic() + seconds
        while words not in fresh:
            assert time.monotonic() < end, f"waited for {words!r}, saw {fresh[-600:]!r}"
            if select.select([self.fd], [], [], 0.2)[0]:
                try:
                    fresh += os.read(self.fd, 65536).decode(errors="replace")
                except OSError:
                    break
        self.seen += fresh
        return fresh

    def type(self, text):
        time.sleep(0.3)
        os.write(self.fd, text.encode())

    def answer(self, text, words):
        self.type(text + "\r")
        return self.until(words)

    def end(self):
        with contextlib.suppress(ProcessLookupError):
            os.kill(self.pid, signal.SIGKILL)
        with contextlib.suppress(ChildProcessError):
            os.waitpid(self.pid, 0)
        os.close(self.fd)


@pytest.fixture
def terminal(shop):
    made = []

    def start(*arguments, columns=60):
        made.append(Terminal(*arguments, columns=columns))
        return made[-1]

    yield start
    for one in made:
        one.end()


def arguments(shop):
    return ["work", "run-motor-directly", "--shop", str(shop), "--job", str(shop / "job-proving-fan.yaml")]


def test_nobody_answers_a_safety_question_in_advance(terminal, shop):
    door = terminal(*arguments(shop))
    door.type("1\r1\r1\r1\r")  # before any question stands on the screen
    door.until("not shown > ")
    time.sleep(0.5)
    door.answer(WORDS["P-02"], "number or words > ")
    time.sleep(0.5)
    fresh = door.answer("1", "number or words > ")
    assert "Set the calling control" in fresh.replace("\r\n", " ")
    assert "number of the person" not in fresh


def test_a_run_by_hand_with_keys_a_break_and_kill_9(terminal, shop):
    door = terminal(*arguments(shop))
    assert "TO SIGN: 'performed', by Tomas Reyl (P-02), entries 1 to 1" in door.until("not shown > ").replace("\r\n", " ")
    door.answer(WORDS["P-02"], "number or words > ")
    assert "Read this out" in door.answer("h", "Enter goes on > ")
    door.answer("", "number or words > ")
    assert "one of:" not in door.answer("m", "number or words > ")
    assert "one of:" not in door.answer("c", "number or words > ")
    door.answer("f", "empty: back")
    door.answer("", "number or words > ")
    door.answer("1", "number or words > ")
    assert "Main switch in the passage" in door.answer("1", "number or words > ")
    door.answer("1", "place in the list > ")
    assert "TO SIGN: 'supervised' (from here on), by Ida Brandl (P-01)" in door.answer("p-01", "not shown > ")
    assert "4 tries left" in door.answer("not these words", "not shown > ").replace("\r\n", " ")
    assert WORDS["P-01"] not in door.answer(WORDS["P-01"], "number or words > ")
    door.answer("1", "Number of people told")
    door.answer("2", "d done")
    door.answer("d", "number or words > ")
    for _ in range(3):
        door.answer("1", "number or words > ")
    door.answer("1", "number on it")
    door.answer("G-11", "g begin > ")
    door.answer("g", "d done")
    os.kill(door.pid, signal.SIGKILL)
    os.waitpid(door.pid, 0)
    again = terminal("resume", "--shop", str(shop))
    again.until("supervisor left > ")
    assert "Look" in again.answer("1", "number or words > ")
    assert "READY? Not begun yet." in again.answer("1", "g begin > ")
    again.type("\x03")
    again.until("1, 2 or 3 > ")
    again.answer("1", "d done · x cannot > ")
    assert "Main switch in the passage" in again.seen
    assert "Do not touch the person" in again.seen.replace("\r\n", " ")


def test_a_lost_terminal_is_a_break(terminal, shop):
    door = terminal(*arguments(shop))
    door.until("not shown > ")
    door.answer(WORDS["P-02"], "number or words > ")
    door.type("\x04")
    door.until("to sign, Enter to leave it > ")  # a natural pause is signed, or left unsigned
    door.type("\x04")
    door.until("Not signed by Tomas Reyl")
    door.until("waits. Go on with")
    assert "open at ask arrival" in call("runs", "--shop", str(shop))[1]


# -- hostile text -----------------------------------------------------------------------------------------

HOSTILE = "Ida \x1b[31m<b>x</b>\u202eevil =cmd() \u0000"


def test_hostile_text_is_inert_on_screen_and_paper():
    out = io.StringIO()
    console = Console(file=out, width=60, force_terminal=True)
    show_view(console, View(node="", mode="doing", step="", kind="action", title="", prompt=HOSTILE, lines=(HOSTILE,), options=(HOSTILE,)), title=HOSTILE, rehearsal=True)
    show_emergency(console, {"job": {"site": HOSTILE, "address": HOSTILE, "emergency": {"cut_power": HOSTILE, "call": HOSTILE}}})
    shown = re.sub(r"\x1b\[[0-9;]*m", "", out.getvalue())
    assert "\x1b" not in shown
    assert "\u202e" not in shown
    assert "[31m<b>x</b>" in shown
    assert markup(HOSTILE).count("&lt;b&gt;") == 1
    assert "\u202e" not in drawable(HOSTILE)
    assert drawable("日本 Ω") == "□□ Ω"
    assert len(register()) > 4000


def test_a_record_full_of_hostile_text_prints_and_stays_one_record(tmp_path):
    bench = Bench(tmp_path)
    bench.play(good(until="machine-known.told"))
    from ohmward.work.intents import Answer, Found

    bench.session.apply(Answer(step=bench.view.step, said=(HOSTILE,)))
    bench.session.apply(Found(words=HOSTILE * 5))
    data = render_record(fold(bench.account.entries), seen(bench.session))
    reader = PdfReader(io.BytesIO(data))
    text = "".join(p.extract_text() for p in reader.pages)
    assert "\x1b" not in text
    assert "<b>x</b>" in text
    for page in reader.pages:
        assert "/Annots" not in page
    assert not {"/OpenAction", "/AA", "/Names"} & set(reader.trailer["/Root"])


def test_the_same_record_gives_the_same_bytes_and_every_page_its_digest(tmp_path):
    bench = Bench(tmp_path)
    bench.play(good())
    account, head = fold(bench.account.entries), bench.session.head
    data = render_record(account, seen(bench.session))
    assert data == render_record(fold(bench.account.entries), seen(bench.session))
    reader = PdfReader(io.BytesIO(data))
    for number, page in enumerate(reader.pages, 1):
        text = page.extract_text()
        assert f"page {number} of {len(reader.pages)}" in text
        assert head[:32] in text
    fonts = {str(f.get_object()["/BaseFont"]) for p in reader.pages for f in p["/Resources"]["/Font"].values()}
    assert all("DejaVuSans" in f for f in fonts), fonts


def test_a_record_of_a_run_that_was_left_open_prints_too(tmp_path):
    bench = Bench(tmp_path)
    data = render_record(fold(bench.account.entries), seen(bench.session))
    assert "Not ended" in PdfReader(io.BytesIO(data)).pages[0].extract_text()
    assert not verify_bundle(b"{}").intact
    assert "crash" not in ANSWERS


class Screen(io.StringIO):
    """Standard output as somebody reads it."""

    def isatty(self):
        return True


def test_a_report_is_broken_between_words_on_a_screen_and_whole_in_a_pipe(monkeypatch):
    text = "  r20261125-a1b2c3  run-motor-directly  " + "proving-fan " * 9 + "\x1b[31m"  # broken at no hyphen
    out = Screen()
    monkeypatch.setattr(sys, "stdout", out)
    monkeypatch.setenv("COLUMNS", "60")
    say(text)
    lines = out.getvalue().split("\n")[:-1]
    assert len(lines) > 1
    assert all(len(line) < 60 for line in lines)
    assert lines[0].startswith("  r2026")
    assert all(line.startswith("      ") for line in lines[1:])
    assert "\x1b" not in out.getvalue()
    assert set(out.getvalue().split()) == {w.replace("\x1b", "\ufffd") for w in text.split()}
    piped = io.StringIO()
    monkeypatch.setattr(sys, "stdout", piped)
    say(text)
    assert piped.getvalue() == text.replace("\x1b", "\ufffd") + "\n"


def test_a_prompt_longer_than_the_line_is_broken_between_words(monkeypatch):
    reader = LineReader.__new__(LineReader)
    reader.out = sys.__stdout__
    monkeypatch.setattr(os, "get_terminal_size", lambda *_: os.terminal_size((60, 40)))
    prompt = "1 everybody stayed here · 2 we left the site · 3 another worker · 4 supervisor left > "
    broken = reader._broken(prompt)
    assert broken.replace("\n", " ") == prompt
    assert all(len(line) < 60 for line in broken.split("\n"))
    assert reader._broken("short > ") == "short > "

    def none(*_):
        raise OSError

    monkeypatch.setattr(os, "get_terminal_size", none)
    assert reader._broken(prompt) == prompt


# -- values before they are an answer ---------------------------------------------------------------------


def asked_at(bench, typed):
    """What comes of typing at the question that stands, and all that was on the screen."""
    out, left = io.StringIO(), list(typed)

    def read_line(prompt):
        out.write(prompt + left[0] + "\n")
        return left.pop(0)

    door = PersonAnswers(Console(file=out, width=100), read_line, lambda: bench.account, keep_picture=lambda _: "", clock=lambda: bench.now)
    return door.next(bench.view), " ".join(out.getvalue().split())


def test_a_value_that_leads_away_is_told_before_it_counts_and_may_have_been_typed_wrong(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="meter-proved(voltmeter).proof.known"))
    step = bench.view.step
    intent, screen = asked_at(bench, ["24", "r"])
    assert "24 V: the meter does not read." in screen
    assert intent == Retyped(step=step, said=("24",))
    assert bench.session.apply(intent).taken
    assert bench.view.step == step
    assert [r.words for r in reasons(bench.account) if r.kind == "typed again"] == ["a value was typed, and typed again at 'Voltage of the known live source': 24; typed, and typed again"]
    assert asked_at(bench, ["24", ""])[0] == Answer(step=step, said=("24",))
    assert asked_at(bench, ["240.4"]) [0] == Answer(step=step, said=("240.4",))  # the usual one is not asked about
    assert asked_at(bench, ["2 4"])[0] == Answer(step=step, said=("2 4",))  # no value: refused with its reason


def test_live_is_never_typed_wrong(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="verified-dead(motor-circuit, board-box).dead"))
    if bench.view.mode == "ready":
        bench.session.apply(Begin(step=bench.view.step))
    intent, screen = asked_at(bench, ["119", "r"])
    assert intent.said == ("119",)
    assert "Hands and probes out; nothing more is read." in screen


def test_nothing_is_taken_for_an_answer_that_is_none(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: unlock"))
    assert asked_at(bench, ["m", "1", ""])[0] is None
    out, left = io.StringIO(), ["5", "", "2"]
    door = PersonAnswers(Console(file=out, width=100), lambda _: left.pop(0), lambda: bench.account, keep_picture=lambda _: "", resumed=True)
    assert door.next(bench.view) == Happened(event="left site")
    assert left == []


def test_a_cover_that_is_off_is_put_back_on_and_anything_else_is_taken_away():
    assert _taken_away({"kind": "guard"}, "Cover off") == "Cover off: put it back on. What is there is read dead."
    assert _taken_away({"kind": "lead"}, "Test lead") == "Test lead: take it away. What is there is read dead."
