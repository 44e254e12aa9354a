"""Every form on paper: the record of each procedure, the lock tag, the empty form, the card for the panel door."""

import io
import re

import pytest
from pypdf import PdfReader

from ohmward.account.fold import end_label, fold, open_matters
from ohmward.chart.document import digest_of_table
from ohmward.chart.usual import usual_way
from ohmward.errors import DONE, NO, WRONG
from ohmward.record.chain import verify_chain
from ohmward.record.entry import Kind
from ohmward.rehearsal.script import FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop, read_job
from ohmward.shop.snapshot import job_snapshot, people_snapshot
from ohmward.terminal.main import main
from ohmward.terminal.opening import open_run
from ohmward.work.drive import drive
from ohmward.work.start import data_conditions
from ohmward_printouts.blank_pdf import Form, render_blank
from ohmward_printouts.card_pdf import render_card
from ohmward_printouts.record_pdf import render_record
from ohmward_printouts.tag_pdf import render_tags
from tests.conftest import ROOT, shipped, table_of
from tests.facts.shopping import DAY, Bench, good, seen

ENDS = {
    "control-call-check": "A call does not leave the panel",
    "energized-load-test": "The board does not feed the motor - hold applied, not verified",
    "isolate": "Isolated",
    "three-phase-supply": "Supply and running current read in order",
    "cooling-check": "Airflow in order and the charge at its target",
    "motor-tests-dead": "Motor and capacitor read in order; the machine is held off",
    "after-a-trip": "The cause is put right and the breaker is on; the machine itself is held off - hold applied, not verified",
}

JOBS = {"three-phase-supply": "job-filter-pump.yaml", "cooling-check": "job-store-cooler.yaml"}

# what the page of a rehearsal must show, so that somebody can do the arithmetic again
WORKED = {
    "motor-tests-dead": ("copper-at: resistance", "resistance x (234.5 + wanted-at) / (234.5 + measured-at)", "capacitance-lowest: label 7.5 uF, tolerance 6 %", "7.05 uF"),
    "three-phase-supply": ("voltage-unbalance: value-1", "mean ", "motor-voltage-lowest: nominal 208 V", "187.2 V"),
    "cooling-check": ("superheat: refrigerant R-410A, pressure 116.4 psig to 119.6 psig, line 52.9 degF to 53.9 degF", "dew temperature about 39.1357 degF to 40.5439 degF", "target-superheat: wet-bulb 67 degF, outdoor 95 degF", "13 delta-degF", "temperature-split: return"),
}


def words(data):
    text = "\n".join(p.extract_text() for p in PdfReader(io.BytesIO(data)).pages)
    return re.sub(r"\s+", " ", text)


@pytest.mark.parametrize("name", sorted(ENDS))
def test_every_procedure_is_rehearsed_through_to_its_printed_record(tmp_path, name):
    make_shop(tmp_path, DAY.date())
    clock = ScriptClock(lambda: DAY)
    session = open_run(open_shop(str(tmp_path)), tmp_path / JOBS.get(name, "job-proving-fan.yaml"), name, clock, rehearsal=True)
    script = (ROOT / "tests" / "rehearsals" / f"{name}.yaml").read_bytes()
    assert drive(session, FileAnswers(read_script(script, name), name, clock))
    account = fold(verify_chain(session.store.fetch(session.account.run), run=session.account.run).entries)
    assert not account.impossible
    assert end_label(account) == ENDS[name]
    page = words(render_record(account, seen(session)))
    assert ENDS[name] in page
    assert name in JOBS or "as before: in use and good enough here" in page  # there nothing is picked twice
    for words_of_the_trade in WORKED.get(name, ()):
        assert words_of_the_trade in page
    assert all(e.step in account.steps for e in account.entries if e.values)


# -- the tag ----------------------------------------------------------------------------------------------


def test_the_tag_says_what_must_not_be_done_who_put_it_on_and_since_when(tmp_path):
    bench = Bench(tmp_path)
    bench.play(good())
    account = bench.account
    data = render_tags(account, bench.session.head)
    page = words(data)
    for part in ("DANGER", "DO NOT OPERATE", "DO NOT CLOSE", "DO NOT ENERGIZE", "Tomas Reyl (P-02)", "Disconnect beside the machine", account.run, "REHEARSAL", "2026-11-25 "):
        assert part in page
    assert data == render_tags(account, bench.session.head)
    assert len(PdfReader(io.BytesIO(data)).pages) == len([m for m in open_matters(account) if m.kind == "lock"]) == 1


def test_without_a_lock_there_is_no_tag(tmp_path):
    bench = Bench(tmp_path)
    with pytest.raises(ValueError, match="no lock is on"):
        render_tags(bench.account, bench.session.head)
    run = bench.account.run
    bench.session.store.close()
    assert main(["print", "--shop", str(tmp_path), "--tag", run, "-o", str(tmp_path / "t.pdf")]) == NO


# -- the empty form ---------------------------------------------------------------------------------------


@pytest.mark.parametrize("name", sorted(shipped().procedures))
def test_the_empty_form_has_every_question_in_the_order_in_which_it_would_come(name):
    table = table_of(name)
    page = words(render_blank(Form(table), digest_of_table(table)))
    at = 0
    for asked in usual_way(table):
        prompt = re.sub(r"\s+", " ", table.data["steps"][asked.step]["prompt"])
        found = page.find(prompt, at)
        assert found >= 0, (asked.step, prompt)
        at = found
    for end in table.data["ends"].values():
        assert end["title"] in page
    for word in ("does not make anyone qualified", "supervised", "something else: stop"):
        assert word in page


def test_with_a_job_the_form_has_its_numbers_and_names(tmp_path):
    make_shop(tmp_path, DAY.date())
    job = job_snapshot(read_job(tmp_path / "job-proving-fan.yaml", open_shop(str(tmp_path))).model)
    table = table_of("control-call-check")
    page = words(render_blank(Form(table, job, data_conditions(table, job, "2026-11-25")), digest_of_table(table)))
    for part in ("zones: proving room", "zones: flour store", "no call: below 12 V", "3 Mill Lane"):
        assert part in page
    assert "zones: proving room" not in words(render_blank(Form(table), digest_of_table(table)))


# -- the card ---------------------------------------------------------------------------------------------


def test_the_card_is_one_page_with_what_saves_first(tmp_path):
    make_shop(tmp_path, DAY.date())
    folder = open_shop(str(tmp_path))
    source = read_job(tmp_path / "job-proving-fan.yaml", folder)
    job, people = job_snapshot(source.model), people_snapshot(folder.roster, source.model, "")
    long = {**job, "emergency": {"cut_power": "behind the flour store " * 40, "call": "112 " * 60}}
    for sheet in (job, long):
        data = render_card(sheet, people, [("lock", "Disconnect", "Ida Brandl (P-01)")] * 20, "2026-11-25")
        assert len(PdfReader(io.BytesIO(data)).pages) == 1
    page = words(render_card(job, people, [], "2026-11-25"))
    assert page.index("do not touch them until the power is off") < page.index("What feeds it")
    for part in ("Main switch in the passage to the flour store", "112", "CAT III", "Ida Brandl", "nothing, as far as the records know"):
        assert part in page


def test_every_paper_is_printed_from_the_command_line(tmp_path, capsys):
    bench = Bench(tmp_path)
    bench.play(good())
    bench.session.store.close()
    shop, out = ["--shop", str(tmp_path)], str(tmp_path / "o.pdf")
    job = str(tmp_path / "job-proving-fan.yaml")
    assert main(["print", *shop, "--tag", bench.account.run, "-o", out]) == DONE
    assert main(["print", *shop, "--blank", "isolate", "--job", job, "-o", out]) == DONE
    assert main(["print", *shop, "--card", job, "-o", out]) == DONE
    assert main(["print", *shop, bench.account.run, "-o", out]) == DONE
    assert main(["print", *shop, "--blank", "isolat", "-o", out]) == WRONG
    assert "did you mean 'isolate'?" in capsys.readouterr().err
    assert main(["print", *shop, bench.account.run, "--job", job, "-o", out]) == WRONG


def test_a_record_with_a_text_longer_than_a_page_is_printed_whole(tmp_path):
    bench = Bench(tmp_path / "s")
    first, *rest = bench.account.entries
    long = " ".join(f"word{n}" for n in range(4000))
    job = {**first.data["job"], "complaint": long}
    account = fold([first._replace(data={**first.data, "job": job}), *rest, (rest[-1] if rest else first)._replace(kind=Kind.NOTED, trigger="", step="", said=long, note="remark", number=len(rest) + 2)])
    text = "".join(p.extract_text() for p in PdfReader(io.BytesIO(render_record(account, seen(bench.session)))).pages)
    flat = "".join(text.split())
    assert "word3999" in flat
    assert flat.count("word2000") == 2
