"""Handing over: what was seen and read on a sheet, held against what the machine's records leave open."""

import json

import pytest

from ohmward.errors import DONE, NO, WRONG, RefusedError
from ohmward.record.entry import Kind
from ohmward.terminal.main import main
from ohmward.work.draft import Draft
from ohmward.work.intents import Answer, Begin, Stop
from tests.facts.shopping import Bench, approved, good, words_file

SHEET = """machine: proving-fan
guards_on: yes
phases: single-phase
moves_air: no
cools: no
left_in_place: none
trips: none
nominal: 120 V
supply: [119 V]
full_load: 3.2 A
currents: [3.0 A]
"""


@pytest.fixture(scope="module")
def ended(tmp_path_factory):
    """A real run that ended with its lock on."""
    bench = Bench(tmp_path_factory.mktemp("shop") / "s", rehearsal=False)
    bench.play(good())
    assert bench.account.ended
    bench.session.store.close()
    return bench.folder


def against(shop, tmp_path, capsys, text=SHEET):
    file = tmp_path / "sheet.yaml"
    file.write_text(text)
    code = main(["ready", str(file), "--shop", str(shop), "--json"])
    out = json.loads(capsys.readouterr().out)
    assert code == (DONE if out["ready"] else NO)
    return {n["what"]: n["why"] for n in out["against"]}


def test_a_lock_that_is_on_stands_against_it_whatever_the_sheet_says(ended, tmp_path, capsys):
    assert against(ended, tmp_path, capsys) == {"lock": "lock: Disconnect beside the machine (of P-02)", "last run": "it ended: Held off for repair"}


CHANGES = [
    ("guards_on: yes\n", "", "guards and covers", "nobody looked"),
    ("guards_on: yes", "guards_on: no", "guards and covers", "not on"),
    ("left_in_place: none", "left_in_place: [test lead at the board]", "left in place", "test lead at the board"),
    ("trips: none\n", "", "trips without a cause", "nobody looked"),
    ("supply: [119 V]", "supply: [107 V]", "supply", "107 V is not within 108 V to 132 V"),
    ("supply: [119 V]", "supply: [108 V]", None, ""),
    ("supply: [119 V]", 'supply: ["107 V..109 V"]', "supply", "107 V to 109 V is not within 108 V to 132 V, as far as the instrument can tell"),
    ("nominal: 120 V\nsupply: [119 V]", "nominal: 12 V\nsupply: [12 V]", "supply", "12 V is none of the voltages of its job sheet: 120 V, 24 V"),
    ("currents: [3.0 A]", "currents: [3.2 A]", None, ""),
    ("currents: [3.0 A]", "currents: [3.21 A]", "running current", "3.21 A is above the nameplate's 3.2 A"),
    ("currents: [3.0 A]", 'currents: ["3.1 A .. 3.3 A"]', "running current", "3.1 A to 3.3 A cannot be told from the nameplate's 3.2 A"),
    ("currents: [3.0 A]", "currents: [0 A]", "running current", "0 A is next to nothing: a line is dead, or it does not run"),
    ("full_load: 3.2 A", "full_load: 1000 A", "running current", None),
    ("phases: single-phase\n", "", "phases", "nobody said whether one or three"),
    ("moves_air: no\n", "", "airflow", "nobody said whether the machine has one"),
    ("cools: no\n", "", "charge", "nobody said whether the machine has one"),
    ("moves_air: no", "moves_air: yes", "airflow", "not read"),
    ("moves_air: no\ncools: no", "moves_air: yes\nairflow: in order\ncools: yes\ncharge: low", "charge", "low"),
]


@pytest.mark.parametrize(("find", "put", "what", "why"), CHANGES)
def test_each_line_of_the_sheet_is_judged_and_what_is_left_out_stands_against_it(ended, tmp_path, capsys, find, put, what, why):
    found = against(ended, tmp_path, capsys, SHEET.replace(find, put))
    del found["lock"], found["last run"]
    assert list(found) == ([what] if what else [])
    assert why is None or found == ({what: why} if what else {})


FAULTS = [
    ("guards_on: yes", "guards_on: on", "guards_on"),
    ("supply: [119 V]", "supply: [119]", "is no voltage"),
    ("trips: none", "trips: []", "an empty list says nothing"),
    ("supply: [119 V]", 'supply: ["121 V..119 V"]', "write the lower end first"),
    ("currents: [3.0 A]", "currents: [3.0 V]", "is no current"),
    ("trips: none", "trip: none", "did you mean 'trips'"),
]


@pytest.mark.parametrize(("find", "put", "words"), FAULTS)
def test_a_wrong_sheet_is_a_fault_with_its_remedy(ended, tmp_path, capsys, find, put, words):
    file = tmp_path / "sheet.yaml"
    file.write_text(SHEET.replace(find, put))
    assert main(["ready", str(file), "--shop", str(ended)]) == WRONG
    assert words in capsys.readouterr().err


def test_a_machine_that_is_spelled_otherwise_hides_nothing(ended, tmp_path, capsys):
    file = tmp_path / "sheet.yaml"
    file.write_text(SHEET.replace("proving-fan", "proving-fann"))
    assert main(["ready", str(file), "--shop", str(ended)]) == WRONG
    assert "did you mean 'proving-fan'?" in capsys.readouterr().err


def test_an_open_run_a_lead_and_a_trip_in_the_record_stand_beside_what_was_seen(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good(until="step: cause"))
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.session.store.close()
    found = against(bench.folder, tmp_path, capsys, SHEET.replace("left_in_place: none", "left_in_place: [a rag]"))
    assert "stands at" in found["open run"]
    assert "by the record" in found["left in place"]
    assert found["left in place"].endswith("a rag")
    found = against(bench.folder, tmp_path, capsys, SHEET.replace("left_in_place: none\n", "").replace("trips: none\n", ""))
    assert found["left in place"].count("by the record") == 2
    assert found["trips without a cause"] == "Branch breaker in the panel, by the record"


def ended_as(folder, tmp_path, capsys, script):
    """What stands against a machine after a real isolate that went so."""
    bench = Bench(folder, rehearsal=False)
    approved(bench.folder, "isolate")
    bench.session.apply(Stop(how="emergency"))
    while not bench.account.ended:
        bench.session.apply(Begin(step=bench.view.step) if bench.view.kind == "safe-hands" else Answer(step=bench.view.step, said=(bench.view.options[-1],)))
    bench.session = bench.open("isolate", rehearsal=False)
    script(bench)
    bench.session.store.close()
    return against(bench.folder, tmp_path, capsys)


def test_a_run_that_ended_because_something_stood_against_it_stands_against_it(tmp_path, capsys):
    found = ended_as(tmp_path / "s", tmp_path, capsys, lambda b: b.play("- {step: arrival, say: somebody else's lock or tag is on it}\n"))
    assert found["last run"] == "it ended: Referred to a qualified person; nothing more is done here"


def test_an_emergency_stands_against_it_though_everything_was_answered(tmp_path, capsys):
    def emergency(bench):
        bench.play("- {step: arrival, say: nothing of the kind}\n")
        bench.session.apply(Stop(how="emergency"))
        while not bench.account.ended:
            bench.session.apply(Answer(step=bench.view.step, said=("cannot",)))

    found = ended_as(tmp_path / "s", tmp_path, capsys, emergency)
    assert found["last run"] == "it ended: Stopped and made safe as far as noted"


def test_a_record_that_is_not_what_people_signed_stands_against_it_and_no_run_begins_on_it(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    signature = Draft(kind=Kind.SIGNED, said="performed", actor="P-02", data={"statement": "e30=", "signature": "AAAA"})
    bench.session._write(signature, "", bench.session.clock())
    with pytest.raises(RefusedError, match="what it left is not known"):
        bench.open("take-down-what-was-left", rehearsal=False)
    bench.session.store.close()
    assert "its signature cannot be read" in against(bench.folder, tmp_path, capsys)["record"]


def test_the_words_for_people_name_the_run_and_every_reason(ended, tmp_path, capsys):
    file = tmp_path / "sheet.yaml"
    file.write_text(SHEET.replace("guards_on: yes", "guards_on: no"))
    assert main(["ready", str(file), "--shop", str(ended)]) == NO
    out = " ".join(capsys.readouterr().out.split())
    assert "Not handed over yet: proving-fan (last run r2026" in out
    assert "guards and covers not on" in out
    assert "does not replace local code" in out


def test_an_empty_sheet_is_printed_to_fill_in_and_is_no_answer(ended, tmp_path, capsys):
    assert main(["ready"]) == DONE
    file = tmp_path / "sheet.yaml"
    file.write_text(capsys.readouterr().out)
    assert main(["ready", str(file), "--shop", str(ended)]) == WRONG


def test_a_sheet_kept_in_the_shop_is_checked_and_an_empty_one_is_told_by_its_values(ended, tmp_path, capsys):
    kept = tmp_path / "handing-over.yaml"
    kept.write_text(SHEET)
    assert main(["check", str(kept), "--shop", str(ended)]) == DONE
    kept.write_text(SHEET.replace("guards_on: yes", "guards_on: maybe"))
    assert main(["check", str(kept), "--shop", str(ended)]) == WRONG
    capsys.readouterr()
    assert main(["ready"]) == DONE
    kept.write_text(capsys.readouterr().out)
    assert main(["ready", str(kept), "--shop", str(ended)]) == WRONG
    assert "not-yaml" not in capsys.readouterr().err


def test_a_key_that_was_revoked_after_a_checkpoint_takes_nothing_from_a_record_before_it(tmp_path, capsys):
    bench = Bench(tmp_path / "s", rehearsal=False)
    bench.play(good())
    bench.session.store.close()
    base = ("--shop", str(bench.folder), "--passphrases", str(words_file(tmp_path)))
    assert main(["checkpoint", "-o", str(tmp_path / "c.json"), "--as", "P-03", *base]) == DONE
    assert main(["revoke", "P-01", "--as", "P-04", "--why", "left the shop", *base]) == DONE
    capsys.readouterr()
    assert "record" not in against(bench.folder, tmp_path, capsys)
    again = bench.open("take-down-what-was-left", rehearsal=False)
    again.store.close()
