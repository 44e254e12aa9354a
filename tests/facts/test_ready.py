"""Handing over: what was seen and read on a sheet, held against what the machine's records leave open."""

import json

import pytest

from ohmward.errors import DONE, NO, WRONG
from ohmward.terminal.main import main
from ohmward.work.intents import Stop
from tests.facts.shopping import Bench, good

SHEET = """machine: proving-fan
guards_on: yes
left_in_place: none
trips: none
nominal: 240 V
supply: [239 V]
full_load: 1.1 A
currents: [1.0 A]
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
    assert against(ended, tmp_path, capsys) == {"lock": "lock: Disconnect beside the machine (of P-02)"}


CHANGES = [
    ("guards_on: yes\n", "", "guards and covers", "nobody looked"),
    ("guards_on: yes", "guards_on: no", "guards and covers", "not on"),
    ("left_in_place: none", "left_in_place: [test lead at the board]", "left in place", "test lead at the board"),
    ("trips: none\n", "", "trips without a cause", "nobody looked"),
    ("supply: [239 V]", "supply: [215 V]", "supply", "215 V is not within 216 V to 264 V"),
    ("supply: [239 V]", "supply: [216 V]", None, ""),
    ("supply: [239 V]", 'supply: ["214 V..217 V"]', "supply", "214 V to 217 V is not within 216 V to 264 V, as far as the instrument can tell"),
    ("currents: [1.0 A]", "currents: [1.1 A]", None, ""),
    ("currents: [1.0 A]", "currents: [1.11 A]", "running current", "1.11 A is above the nameplate's 1.1 A"),
    ("currents: [1.0 A]", 'currents: ["1.05 A .. 1.15 A"]', "running current", "1.05 A to 1.15 A cannot be told from the nameplate's 1.1 A"),
    ("trips: none", "trips: none\nmoves_air: yes", "airflow", "not read"),
    ("trips: none", "trips: none\nmoves_air: yes\nairflow: in order\ncools: yes\ncharge: low", "charge", "low"),
]


@pytest.mark.parametrize(("find", "put", "what", "why"), CHANGES)
def test_each_line_of_the_sheet_is_judged_and_what_is_left_out_stands_against_it(ended, tmp_path, capsys, find, put, what, why):
    found = against(ended, tmp_path, capsys, SHEET.replace(find, put))
    found.pop("lock")
    assert found == ({what: why} if what else {})


FAULTS = [
    ("guards_on: yes", "guards_on: on", "guards_on"),
    ("supply: [239 V]", "supply: [239]", "is no voltage"),
    ("supply: [239 V]", 'supply: ["241 V..239 V"]', "write the lower end first"),
    ("currents: [1.0 A]", "currents: [1.0 V]", "is no current"),
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
