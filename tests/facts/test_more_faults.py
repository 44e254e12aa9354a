"""What a file can say wrongly and no other fact says: each is its own fault, or is read as it was meant."""

import pytest

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.facts.test_faults import faults_of
from tests.facts.test_language import PROCEDURE, library_with

PHOTO = "    photo: Take a picture of the nameplate.\n"
READING = "    reading: Read it\n    function: ac volts\n    slot: voltmeter\n    unit: V\n    between: [line to ground]\n    bands: [{name: any}]\n"


def codes(text=PROCEDURE, **files):
    with pytest.raises(FaultyFileError) as caught:
        compile_chart(make_plan(library_with(every_kind=text, **files), "every-kind"))
    return {d.code for d in caught.value.diagnostics}


@pytest.mark.parametrize(
    ("find", "put", "code"),
    [
        (PHOTO, READING.replace("    slot: voltmeter\n", ""), "no-slot"),
        (PHOTO, READING.replace("    unit: V\n", ""), "no-unit"),
        (PHOTO, READING.replace("    between: [line to ground]\n", ""), "no-between"),
        (PHOTO, READING.replace("    function: ac volts\n", ""), "no-function"),
        (PHOTO, READING + "    functions: [dc volts]\n", "no-function"),
        (PHOTO, READING.replace("function: ac volts", "functions: [ac volt]"), "unknown-word"),
        (PHOTO, "    choice: What is there?\n    options: []\n", "no-options"),
        (PHOTO, "    choice: What is there?\n    changes: [open switch]\n    options:\n      - {name: nothing}\n", "unconfirmed"),
        (PHOTO, "    action: Let it out.\n    changes: [discharge run-capacitor]\n", "no-hands-on"),
        (PHOTO, "    action: Answer for it.\n    changes: [answer upstream]\n", "upstream"),
        (PHOTO, "    group: no-such-group\n", "unknown-group"),
        ("  who-made-it: {fact: maker}\n", "  who-made-it: {fact: zones}\n", "when-too-late"),
        ("when: lid is in place", "when: motor-circuit is there", "unknown-name"),
        ("when: lid is in place", "when: lid is", "limit"),
        ("    then: over\n", "", "falls-off"),
    ],
)
def test_a_wrong_use_of_a_word_is_its_own_fault(find, put, code):
    assert find in PROCEDURE
    assert code in codes(PROCEDURE.replace(find, put, 1))


GATE = """\
gate: mine
title: Mine
why: Because.
basis: [ours]
status: ours
lost_by: [left site]
holds_for: shift
steps:
  first: {confirm: Is it so?, by: what you see}
"""
NEEDING = PROCEDURE.replace("    sign: I have", "    needs: [mine]\n    sign: I have")


@pytest.mark.parametrize(
    ("find", "put", "code"),
    [
        ("{confirm: Is it so?, by: what you see}", "{confirm: Is it so?, by: what you see, needs: [briefed]}", "needs-in-routine"),
        ("{confirm: Is it so?, by: what you see}", "{confirm: Is it so?, by: what you see, if_absent: first}", "absent-in-routine"),
        ("{confirm: Is it so?, by: what you see}", "{group: pair}", "nested-group"),
        ("holds_for: shift", "holds_for: a while", "bad-value"),
    ],
)
def test_a_wrong_gate_or_group_is_its_own_fault(find, put, code):
    group = "group: pair\ntitle: A pair\nsteps:\n  one: {group: prove-meter, with: {meter: voltmeter}}\n"
    assert find in GATE
    assert code in codes(NEEDING, gates__mine=GATE.replace(find, put), groups__pair=group)


def test_a_group_that_is_not_read_is_told_once_and_its_steps_are_not():
    found = codes(PROCEDURE.replace(PHOTO, "    group: pair\n"), groups__pair="group: pair\ntitle: [\n")
    assert "unknown-group" not in found


def test_an_end_can_need_a_gate_and_is_reached_through_it():
    text = PROCEDURE.replace("{title: Over,", "{title: Over, needs: [briefed],")
    table = compile_chart(make_plan(library_with(every_kind=text), "every-kind"))
    assert any(n.name.startswith("ask briefed") for n in table.nodes)
    assert table.data["ends"]["over"]["needs"] == ["briefed"]


def test_a_step_is_worked_only_while_it_stands_so_and_one_that_waits_for_what_nobody_does_is_never_reached():
    library = library_with(every_kind=PROCEDURE.replace("when: lid is in place", "when: lid is not there"))
    assert prove(compile_chart(make_plan(library, "every-kind")), library).procedure == "every-kind"
    for words in ("motor-circuit is held off", "run-capacitor is discharged"):
        assert "unreachable" in codes(PROCEDURE.replace("when: lid is in place", f"when: {words}"))


ON_BOARD = "    at: panel\n    hands: none\n    probes: [control]\n    function: ac volts\n    slot: voltmeter\n    unit: V\n    between: [r to c]\n"


@pytest.mark.parametrize(
    ("procedure", "file", "find", "put"),
    [
        ("after-a-trip", "after-a-trip.yaml", "    probes: [line-side]\n", "    probes: none\n"),
        ("after-a-trip", "after-a-trip.yaml", "    hands: [line-side, motor-circuit]\n    probes: none\n    function: ohms", "    hands: none\n    probes: none\n    function: ohms"),
        ("isolate", "gates/verified-dead.yaml", "    at: here\n    hands: none\n    probes: [it]\n    functions:", "    functions:"),
        ("three-phase-supply", "three-phase-supply.yaml", "    probes: [motor-circuit]\n    needs", "    probes: none\n    needs"),
        ("control-call-check", "control-call-check.yaml", ON_BOARD, ON_BOARD.replace("[control]", "none").replace("ac volts", "temperature")),
    ],
)
def test_a_reading_that_touches_nothing_is_a_fault(procedure, file, find, put):
    assert "reading-untouched" in {d.code for d in faults_of(file, find, put, procedure)}


LOOSE = [
    ("control-call-check", "control-call-check.yaml", ON_BOARD, ON_BOARD + "    touches: nothing\n", "this step is at a place"),
    ("control-call-check", "control-call-check.yaml", ON_BOARD, "    touches: nothing\n    function" + ON_BOARD.split("    function")[1], "not every limit is of the known source"),
    ("isolate", "groups/prove-meter.yaml", "    touches: nothing\n", "", "reading-untouched"),
    ("isolate", "groups/prove-meter.yaml", "up_to: 1.1 * known-source.own-voltage", "up_to: 300 V", "not every limit is of the known source"),
    ("motor-tests-dead", "gates/tester-checked.yaml", "    touches: nothing\n", "", "reading-untouched"),
    ("run-motor-directly", "run-motor-directly.yaml", "    touches: nothing\n    function: ohms", "    function: ohms", "reading-untouched"),
    ("run-motor-directly", "run-motor-directly.yaml", "    between: [end to end]", "    between: pairs(motor-circuit.conductors, ground)", "names points of a circuit or of a list"),
    ("cooling-check", "cooling-check.yaml", "    function: pressure\n", "    touches: nothing\n    function: pressure\n", "is no reading with a meter"),
    ("cooling-check", "cooling-check.yaml", "    action: Let it run until", "    touches: nothing\n    action: Let it run until", "is no reading with a meter"),
]  # fmt: skip


@pytest.mark.parametrize(("procedure", "file", "find", "put", "words"), LOOSE, ids=range(len(LOOSE)))
def test_what_touches_nothing_says_so_and_is_nothing_that_is_fed(procedure, file, find, put, words):
    assert any(words in f"{d.code}: {d.problem}" for d in faults_of(file, find, put, procedure))


# -- what is read by two, and what is worked out from what was read ----------------------------------------

WORKED_OUT = [
    ("cooling-check", "cooling-check.yaml", "    action: Let it run", "    second_within: 1 V\n    action: Let it run", "no-reading"),
    ("cooling-check", "cooling-check.yaml", "    uses: [suction, suction-line]\n", "    uses: [suction, suction-line]\n    slot: gauges\n", "reads-nothing"),
    ("cooling-check", "cooling-check.yaml", "value-1, value-2)\n    not_decided: off-open\n    bands:\n      - {name: 'liquid", "value-1, value-2)\n    bands:\n      - {name: 'liquid", "reads-nothing"),
    ("cooling-check", "cooling-check.yaml", "    uses: [suction, suction-line]\n", "    uses: [suction, superheat]\n", "not-read-before"),
    ("cooling-check", "cooling-check.yaml", "[return air, supply air]", "[return air, supply air, outdoor air]", "not-worked-out"),
    ("isolate", "gates/read-by-two.yaml", "second_within: 1 V", "second_within: 1 V +", "limit"),
    ("isolate", "gates/read-by-two.yaml", "second_within: 1 V", "second_within: 0 V", "no-difference"),
]  # fmt: skip


@pytest.mark.parametrize(("procedure", "file", "find", "put", "code"), WORKED_OUT)
def test_what_is_read_by_two_or_worked_out_says_all_of_it(procedure, file, find, put, code):
    found = faults_of(file, find, put, procedure)
    assert code in {d.code for d in found}
    assert all(d.line > 1 and d.remedy for d in found)
    make_plan(load_library(shipped_files()), procedure)


@pytest.mark.parametrize(
    ("find", "put", "problem"),
    [
        ("    kind: lead\n", "    kind: guard\n", "`fit` is not said of a guard"),
        ("changes: [uncover board-cover]", "changes: [fit board-cover]", "`fit` is not said of a guard"),
        ("changes: [fit test-lead]", "changes: [uncover test-lead]", "`uncover` is not said of a lead"),
    ],
)
def test_a_lead_that_is_called_a_guard_is_a_fault_and_no_way_past_the_rules_over_leads(find, put, problem):
    assert ("other-effect", problem) in {(d.code, d.problem) for d in faults_of("run-motor-directly.yaml", find, put)}
