"""Which records need a look: each reason with its evidence, the careless ones on top, nothing a spreadsheet would run."""

import csv
import io
import json
import unicodedata
from dataclasses import replace

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.account.fold import open_matters
from ohmward.errors import DONE
from ohmward.record.entry import Kind
from ohmward.review.reasons import reasons, weight_of
from ohmward.review.standing import standing_of
from ohmward.shop.folder import open_shop
from ohmward.terminal.main import main
from ohmward.terminal.opening import open_run
from ohmward.terminal.reviewing import inert_cell
from ohmward.work.intents import Answer, Begin, Correct, Found, Happened, Stop
from tests.facts.shopping import Bench, good, words_file


def kinds(account, **more):
    return {r.kind for r in reasons(account, **more)}


def words(account, kind, **more):
    return " | ".join(r.words for r in reasons(account, **more) if r.kind == kind)


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path / "s")
    made.pace = 3
    return made


def test_a_careful_rehearsal_gives_only_what_its_end_left(bench):
    bench.play(good())
    assert kinds(bench.account) == {"supervision without a trace", "turned down"}
    assert [m.kind for m in open_matters(bench.account)] == ["lock"]  # what its end is for


def test_a_lock_left_by_a_run_that_was_stopped_is_told(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Stop(how="emergency"))
    while not bench.account.ended:
        begin = bench.view.kind == "safe-hands"
        answer = Answer(step=bench.view.step, said=(next(o for o in bench.view.options if o in {"done", "held off by me", "no", "yes", "not in place"}),)) if not begin else Begin(step=bench.view.step)
        assert bench.session.apply(answer).taken
    assert bench.account.node == "stopped"
    assert "left on the machine: lock: Disconnect beside the machine (of P-02)" in [r.words for r in reasons(bench.account)]


def test_each_reason_is_told_with_its_entries(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Found(words="a second motor"))
    bench.session.apply(Stop(how="unsafe", why="smell of burning"))
    found = reasons(bench.account)
    by_kind = {r.kind: r for r in found}
    assert by_kind["stopped"].words == "stopped: unsafe - smell of burning"
    assert bench.account.entries[by_kind["stopped"].entries[0] - 1].kind is Kind.STOPPED
    assert "a second motor" in by_kind["found"].words
    assert by_kind["open"].words.startswith("the run has not ended; it stands at ")
    assert [r.weight for r in found] == sorted((r.weight for r in found), reverse=True)


def test_a_gate_that_was_lost_by_an_event_and_held_again_is_a_reason_and_one_that_the_procedure_ends_is_not(bench):
    bench.play(good(until="step: unlock"))
    assert "lost and held again" not in kinds(bench.account)
    bench.session.apply(Happened(event="left site"))
    spans = bench.account.spans
    gone = next(s for s in spans if s.lost and s.why == "left site")
    again = replace(gone, since=bench.account.time, lost="", why="")
    account = replace(bench.account, spans=(*spans, again))
    assert f"was lost at {gone.lost[11:16]} (left site) and held again at" in words(account, "lost and held again")


def test_a_correction_a_refusal_and_an_interruption_are_reasons(bench):
    bench.play(good(until="step: unlock"))
    answered = [s for s in bench.account.answered if bench.session.apply(Correct(step=s, why="wrong number")).taken][:1]
    assert answered
    assert "an answer was corrected" in words(bench.account, "corrected")
    entry = bench.account.entries[-1]._replace(kind=Kind.REFUSED, said="M-04", note="It is CAT II")
    account = replace(bench.account, entries=(*bench.account.entries, entry._replace(number=99), entry._replace(kind=Kind.INTERRUPTED, number=100)))
    assert "was refused" in words(account, "refused")
    assert "M-04; It is CAT II" in words(account, "refused")
    assert "interrupted" in kinds(account)


def test_answers_faster_than_they_are_read_are_a_reason_and_slow_ones_are_not(tmp_path):
    quick = Bench(tmp_path / "s")
    quick.pace = 0
    quick.play(good())
    told = [r for r in reasons(quick.account) if r.kind == "quick answers"]
    assert told
    assert "questions in a row" in told[0].words
    assert told[0].weight == 6
    assert all(quick.account.entries[n - 1].kind is Kind.ANSWERED for n in told[0].entries)


def test_values_that_are_those_of_an_earlier_run_to_the_last_digit_are_a_reason(bench):
    bench.play(good())
    other = replace(bench.account, run="r-earlier")
    assert "have the very values of r-earlier, to the last digit" in words(bench.account, "same values", earlier=[other])
    assert "same values" not in kinds(bench.account)


def test_a_reading_near_its_limit_is_a_reason_with_the_limit(bench):
    bench.play(good())
    reading = next(e for e in bench.account.entries if e.step == "read.capacitance" and e.values)
    near = reading._replace(values=(reading.values[0]._replace(said="7.12"),))
    account = replace(bench.account, entries=tuple(near if e is reading else e for e in bench.account.entries))
    assert "7.12 uF (in order), near its limit of 7.05 uF" in words(account, "near a limit")
    assert prompt_not_near(bench.account, reading)


def prompt_not_near(account, reading):
    return all(reading.number not in r.entries for r in reasons(account) if r.kind == "near a limit")


def test_what_is_not_intact_or_not_possible_stands_on_top(bench):
    bench.play(good(until="step: unlock"))
    found = reasons(replace(bench.account, impossible="entry 3: no"), problem="broken at entry 2")
    assert [(r.kind, r.weight) for r in found[:2]] == [("not intact", 100), ("not possible", 100)]
    assert weight_of(found) > 200


def test_late_answers_and_a_clock_that_went_back_are_reasons(bench):
    bench.play(good(until="step: unlock"))
    last = bench.account.entries[-1]
    more = (last._replace(trigger="answered-late@x=y", number=98), last._replace(note="told 99 s after it was begun; at most 10 s", number=99), last._replace(note="clock went back: x", number=100))
    account = replace(bench.account, entries=(*bench.account.entries, *more))
    assert {"late", "clock"} <= kinds(account)


def test_the_standing_of_a_review_is_read_from_the_record(bench):
    bench.play(good(until="step: unlock"))
    last = bench.account.entries[-1]

    def with_(*made):
        entries = [last._replace(kind=k, actor=a, said=s, note=n, number=last.number + 1 + i) for i, (k, a, s, n) in enumerate(made)]
        return standing_of(replace(bench.account, entries=(*bench.account.entries, *entries)))[0]

    reviewed, returned, performed = (Kind.SIGNED, "P-03", "reviewed", ""), (Kind.RETURNED, "P-03", "", "why?"), (Kind.SIGNED, "P-02", "performed", "")
    remark = (Kind.NOTED, "P-02", "because", "remark")
    assert with_() == "to be looked at"
    assert with_(reviewed) == "countersigned"
    assert with_(reviewed, remark) == "to be looked at"
    assert with_(returned, reviewed) == "sent back"
    assert with_(returned) == with_(returned, performed) == "to be looked at"  # a note that its writer has not signed
    assert with_(returned, reviewed, remark, performed) == "answered"
    assert with_(returned, reviewed, remark, performed, reviewed) == "countersigned"


@pytest.mark.long
def test_of_ten_records_the_two_careless_ones_stand_on_top_with_convincing_reasons(tmp_path, capsys):
    folder = tmp_path / "s"
    bench = Bench(folder)
    bench.session.store.close()
    sheet = folder / "job-proving-fan.yaml"
    text = sheet.read_text()
    runs = {}
    for number in range(10):
        sheet.write_text(text.replace("equipment: proving-fan", f"equipment: fan-{number}"))
        bench.pace = 0 if number == 4 else 11
        bench.session = open_run(open_shop(str(folder)), sheet, "run-motor-directly", bench.clock, rehearsal=True)
        if number == 7:
            bench.play(good(until="step: unlock"))
            bench.session.apply(Happened(event="left site"))
            bench.session.apply(Found(words="the lock was not mine"))
            bench.session.apply(Stop(how="unsafe", why="no idea where the others are"))
        else:
            bench.play(good())
        runs[number] = bench.account.run
        bench.session.store.close()
    code = main(["review", "--rehearsals", "--json", "--shop", str(folder)])
    listed = json.loads(capsys.readouterr().out)
    assert code == DONE
    listed = [one for one in listed if one["run"] in runs.values()]
    assert {one["run"] for one in listed[:2]} == {runs[4], runs[7]}
    assert listed[1]["weight"] > listed[2]["weight"]
    text = " ".join(r["words"] for one in listed[:2] for r in one["reasons"])
    for evidence in ("questions in a row", "the lock was not mine", "stopped: unsafe"):
        assert evidence in text
    assert main(["review", "--rehearsals", "--csv", "--shop", str(folder)]) == DONE
    rows = list(csv.DictReader(io.StringIO(capsys.readouterr().out)))
    assert len(rows) == 11
    assert rows[0]["run"] == listed[0]["run"]


@given(st.text(max_size=40))
def test_no_cell_begins_what_a_spreadsheet_computes_or_a_terminal_obeys(text):
    cell = inert_cell(text)
    assert cell.isprintable()
    assert unicodedata.normalize("NFKC", cell).lstrip()[:1] not in {"=", "+", "-", "@"}
    row = io.StringIO()
    csv.writer(row).writerow([cell])
    assert next(csv.reader(io.StringIO(row.getvalue())), [""]) == [cell]


@pytest.mark.parametrize("text", ["=1+1", "+1", "-1", "@x", "\t=1", "\r=1", "\x00=1", "  =1", "\u202e=1", "\uff1d1+1"])
def test_formulas_in_notes_are_text(text):
    assert inert_cell(text)[0] == "'" or inert_cell(text).lstrip()[0] not in "=+-@"


def test_a_record_that_rests_on_what_was_recalled_since_is_looked_at_again(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    run, shop = bench.account.run, str(bench.folder)
    bench.session.store.close()
    assert main(["recall", "M-07", "--as", "P-03", "--why", "reads low", "--shop", shop]) == DONE
    assert main(["recall", "run-motor-directly", "--as", "P-04", "--why", "the band was wrong", "--shop", shop]) == DONE
    capsys.readouterr()
    assert main(["review", run, "--shop", shop, "--json"]) == DONE
    told = [r for r in json.loads(capsys.readouterr().out)["reasons"] if r["kind"] == "recalled"]
    assert ["M-07 was recalled on" in r["words"] or "this revision was recalled on" in r["words"] for r in told] == [True, True]
    assert told[0]["entries"] or told[1]["entries"]
    assert main(["review", "--countersign", "--as", "P-03", run, "--shop", shop, "--passphrases", str(words_file(tmp_path))]) == DONE
    capsys.readouterr()
    assert main(["review", "--shop", shop]) == DONE
    assert run in capsys.readouterr().out  # countersigned, and on the list all the same
