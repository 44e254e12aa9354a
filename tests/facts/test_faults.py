"""Edits of shipped files: each is one fault, at its line, with its words, and all of a file at once."""

from pathlib import Path

import pytest

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language import catalogue
from ohmward.language.library import load_library
from ohmward.shop.shipped import shipped_files

RUN = "run-motor-directly.yaml"
TRIP = "after-a-trip.yaml"
READ = "groups/motor-readings.yaml"
EDITS = [
    (RUN, "    at: board-box\n    hands: none\n", "    at: bord-box\n    hands: none\n", "unknown-name", "'bord-box' is not declared"),
    (RUN, "hands: [motor-circuit, run-capacitor]", "hands: [moter-circuit, run-capacitor]", "unknown-name", "'moter-circuit' is not declared"),
    (RUN, "    hands: none\n    probes: none\n", "    probes: none\n", "no-hands", "step 'open-board' is at a place and does not say hands:"),
    (RUN, "holds: [motor-circuit, control, run-capacitor]", "holds: [motor-circuit, control]", "not-there", "'run-capacitor' does not stand at 'board-box'"),
    (RUN, "    at: board-box\n    hands: [motor", "    hands: [motor", "no-place", "step 'fit-lead' has hands or probes somewhere and does not say at:"),
    (RUN, "then: trip-open}", "then: trip-opened}", "unknown-target", "'trip-opened' is not a place to go from here"),
    (RUN, "- discharged(run-capacitor, board-box)", "- discharged(run-capacitor)", "gate-key", "'discharged' has the key (stored, place); here it has 1 parts"),
    (RUN, "- discharged(run-capacitor, board-box)", "- dischargd(run-capacitor, board-box)", "unknown-gate", "there is no gate 'dischargd'"),
    (READ, "below: fact.lowest-winding,", "below: fact.lowest-winder,", "limit", "'fact.lowest-winder' is not a name known here"),
    (READ, "below: fact.lowest-winding,", "below: 4 V,", "limit", "'4 V' is of the kind voltage; here resistance is needed"),
    (READ, "{name: in order, up_to: fact.highest-winding}", "{name: in order}", "band-limits", "band 'in order' needs exactly one of below and up_to"),
    (READ, "{name: open, over_range: here, work: stays off, then: otherwise, finding: winding or its protector open; let it cool and read again}", "{name: open, then: otherwise}", "no-over-range", "ohms do not say where OL belongs"),
    (RUN, "changes: [open disconnect]", "changes: [opens disconnect]", "unknown-effect", "'opens disconnect' is not an effect"),
    (RUN, "{name: it turned}", "{name: it turned, changes: [close disconnect]}", "raises-too-late", "'close disconnect' moves the hand before the answer"),
    (RUN, "{name: it turned}", "{name: it hummed and did not turn}", "duplicate-name", "'it hummed and did not turn' is taken"),
    (RUN, "  others: leave\n", "", "no-way-on", "gate 'briefed' can fail and when_not_held: does not say where to go"),
    (RUN, "  area-clear: bad-off\n", "  area-clear: nowhere\n", "unknown-target", "'nowhere' is neither a step nor an end"),
    (RUN, "  take-off: {group: take-test-lead-off}", "  take-off: {group: take-test-lead}", "unknown-group", "there is no group 'take-test-lead'"),
    (RUN, "    slot: clamp\n    unit: A", "    slot: clam\n    unit: A", "unknown-slot", "'clam' is not a gear slot"),
    (RUN, "    operates: disconnect\n    changes: [release disconnect]\n    if_interrupted: warn\n", "    if_interrupted: warn\n", "closes-blind", "'bump' closes 'disconnect' which is held off there"),
    (RUN, "    cover: board-cover\n", "    cover: test-lead\n", "no-cover", "'test-lead' is not a guard at 'board-box'"),
    (RUN, "    through: [branch-breaker]\n", "    through: [branch-breaker]\n    fed_by: [motor-circuit]\n", "feeds-itself", "'line-side' feeds itself"),
    (RUN, "charged_by: motor-circuit}", "driven_by: motor-circuit}", "no-feeder", "nothing is said to feed 'run-capacitor'"),
    (RUN, "leaves: {motor-circuit: live}", "leaves: {run-capacitor: live}", "unknown-name", "'run-capacitor' is not declared"),
    (RUN, "revision: 7", "revision: one", "bad-value", "'one' is not a whole number from 1 to 999999"),
    (RUN, "kind: breaker,", "kind: braker,", "unknown-word", "'kind' cannot be this word"),
    (RUN, "purpose: >", "porpose: >", "unknown-field", "'porpose' is not a field here"),
    (RUN, "    momentary: 1 s\n", "    momentary: 1 V\n", "bad-value", "'1 V' is not a time such as 60 s, 10 min, 1 h"),
    (RUN, "  told:\n    confirm:", "  told:\n    action: Again.\n    confirm:", "not-one-kind", "step 'told' has 2 kinds"),
    ("gates/area-clear.yaml", "lost_by: [released any,", "lost_by: [release any,", "unknown-event", "'release any' is not an event"),
    ("gates/verified-dead.yaml", "rests_on: [locked-out(it)]", "rests_on: [locked-out(that)]", "unknown-name", "'that' is not declared"),
    ("gates/machine-known.yaml", "holds_for: shift\n", "holds_for: shift\nkeeps: {sauces-found: [left site]}\n", "unknown-step", "'sauces-found' is not a step of this routine"),
    ("gates/locked-out.yaml", "changes: [hold off it.means]", "changes: [hold off it.handle]", "unknown-name", "'it.handle' is not declared"),
    ("gates/qualified.yaml", "status: published", "status: sure", "unknown-word", "'status' cannot be this word"),
    ("gates/meter-rated.yaml", "- require: gear.category >= it.category", "- require: gear.category >= it.voltage-x", "limit", "'it.voltage-x' is not a name known here"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "insulation-at-40(value)", "limit", "insulation-at-40 takes 2 values, not 1"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "insulation-at-40(value, fact.capacitance)", "limit", "temperature of insulation-at-40 is a temperature, not a capacitance"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "insulaton-at-40(value, fact.winding-temperature)", "limit", "'insulaton-at-40' is not a function"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "insulation-at-40(fact.lowest-insulation, fact.winding-temperature)", "not-worked-out", "this is not worked out from what was read"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "max(value, value-1)", "not-worked-out", "this is not worked out from what was read"),
    (READ, "insulation-at-40(value, fact.winding-temperature)", "value > 5 Mohm", "not-worked-out", "bands judge a number, not a truth"),
    (READ, "random-wound, 1970", "randomly-wound, 1970", "limit", "'randomly-wound' is not a word for winding"),
    (RUN, "  fan: {kind: moving", "  gear: {kind: moving", "reserved-name", "'gear' is a word of the language"),
    ("gates/discharged.yaml", "    expect: 0 V\n    evidence: discharged\n", "    computes: value * 0\n    evidence: discharged\n", "not-worked-out", "a gate, and what changes how something stands, is judged by what is read"),
    ("gates/discharged.yaml", "{name: discharged, below: 3 V,", "{name: discharged, below: 30 V,", "not-read-empty", "'discharge run-capacitor' counts without a reading that says so"),
    ("gates/discharged.yaml", "    function: dc volts\n    slot: voltmeter\n    unit: V\n    between: [highest of the pairs]\n    expect: 0 V\n    evidence: discharged", "    function: ac volts\n    slot: voltmeter\n    unit: V\n    between: [highest of the pairs]\n    expect: 0 V\n    evidence: discharged", "not-read-empty", "'discharge run-capacitor' counts without a reading that says so"),
    ("gates/discharged.yaml", "with three terminals, each pair.\n", "with three terminals, each pair.\n    changes: [discharge it]\n", "not-read-empty", "'discharge run-capacitor' counts without a reading that says so"),
    ("gates/meter-rated.yaml", "this place is {it.category}", "this place is {it.categry}", "limit", "'it.categry' is not a name known here"),
    ("gates/cause-answered.yaml", "{fact.load-at-trip} for", "{fact.load-at-trop} for", "limit", "'fact.load-at-trop' is not a name known here"),
    (TRIP, "{machine.closings-in-24-h} times", "{machine.closings} times", "limit", "'machine.closings' is not a name known here"),
    ("gates/locked-out.yaml", "asks: [machine-known]\n", "asks: ['verified-dead(it, board-box)']\n", "asks-in-circle", "gate 'locked-out(motor-circuit)' asks for itself through others"),
]


def faults_of(file: str, find: str, put: str, reader: str = ""):
    """What is told of a shipped procedure with one text in one of its files replaced; without `reader`, of one that reads it."""
    files = shipped_files()
    text = files[file].decode()
    assert find in text, f"{file} no longer holds {find!r}"
    files[file] = text.replace(find, put, 1).encode()
    reader = reader or ("after-a-trip" if file in {TRIP, "gates/cause-answered.yaml"} else "run-motor-directly")
    with pytest.raises(FaultyFileError) as caught:
        compile_chart(make_plan(load_library(files), reader))
    return caught.value.diagnostics


@pytest.mark.parametrize(("file", "find", "put", "code", "problem"), EDITS, ids=[f"{e[3]}-{i}" for i, e in enumerate(EDITS)])
def test_a_wrong_edit_is_one_fault_in_words(file, find, put, code, problem):
    found = faults_of(file, find, put)
    assert (code, problem) in {(d.code, d.problem) for d in found}
    hit = next(d for d in found if (d.code, d.problem) == (code, problem))
    assert hit.file == file
    assert hit.remedy


def test_all_faults_of_all_files_come_at_once():
    files = shipped_files()
    files[RUN] = files[RUN].replace(b"kind: breaker,", b"kind: braker,").replace(b"revision: 7", b"revision: x")
    files["gates/qualified.yaml"] = files["gates/qualified.yaml"].replace(b"status: published", b"status: sure")
    with pytest.raises(FaultyFileError) as caught:
        load_library(files)
    assert {(d.file, d.code) for d in caught.value.diagnostics} == {(RUN, "unknown-word"), (RUN, "bad-value"), ("gates/qualified.yaml", "unknown-word")}


def test_a_fault_is_shown_with_a_caret_and_a_remedy():
    (found,) = faults_of(RUN, "kind: breaker,", "kind: braker,")
    lines = found.render().split("\n")
    assert lines[1].index("braker") == lines[2].index("^")
    assert lines[3].startswith("   remedy: one of 'breaker'")


def test_every_fault_has_one_code_and_every_code_one_page():
    lines = (Path(catalogue.__file__).parent / "faults.yaml").read_text(encoding="utf-8").splitlines()
    codes = [line.removesuffix(":") for line in lines if line[:1].isalpha()]
    assert sorted(set(codes)) == sorted(codes)  # YAML keeps the last of two, and says nothing
