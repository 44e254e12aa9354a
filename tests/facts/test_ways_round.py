"""Ways round the rules over steps as they are written: each was open once, and each has an honest edit beside it that is not refused."""

from dataclasses import replace

import pytest

from ohmward.approval.approval import Approval
from ohmward.approval.statement import lines_of, statement_of
from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import BrokenError, FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.difference import difference
from ohmward.proof.obligations import obligations
from ohmward.proof.own_steps import sounds_like
from ohmward.proof.routines import routine_faults
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.conftest import shipped, table_of
from tests.facts.test_gate_rules import SETTLED, with_own_gate

G = "gates/"
COOL, LIVE, THREE, DOWN, RUN, CALLS = "cooling-check", "energized-load-test", "three-phase-supply", "take-down-what-was-left", "run-motor-directly", "control-call-check"
TELL = "group: tell-all\ntitle: Tell all\nsteps:\n  say:\n    confirm: Tell everyone here.\n    by: Names\n"
SEEN = "'burnt or oily' to 'Look before you touch. All covers and fan guards on, nothing burnt, no oil on the lines?'"
ONCE_MORE = """\
gate: once-more
of: {circuit: it, place: here}
title: Seen once more
why: Nobody knows.
basis: ['common practice, no source']
status: ours
asks:
  - verified-dead(it, here)
holds_for: shift
steps:
  see:
    confirm: See once more.
    by: What is seen
"""
BURNT = "burnt or oily, then: leave,"


def changed(edits, more=None, *, times=1):
    """A library with edits of shipped files, each made so many times (-1: wherever its text stands), and files of a shop's own beside them."""
    files = {**shipped_files(), **{name: text.encode() for name, text in (more or {}).items()}}
    for file, find, put in edits:
        text = files[file].decode()
        assert find in text, find
        files[file] = text.replace(find, put, times).encode()
    return load_library(files)


def stories(name, library):
    return [f"{rule}: {story}" for rule, _, story in routine_faults(compile_chart(make_plan(library, name)), library.rules)]


STOPS, OFF, ANSWERS, OWED = "what-stops-work-stops", "what-is-faulty-stays-off", "a-trip-is-answered-by-its-cause", "a-trip-that-is-told-is-owed"
REFUSED = [
    # answers that end the work, and what may follow them
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: tell,"), ("cooling-check.yaml", "  leave:\n", "  tell: {group: tell-all, then: call}\n  leave:\n")], STOPS, "(turn fan)"),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: leave, repeats: 1, exhausted: call,")], STOPS, "(turn fan)"),
    (CALLS, [("control-call-check.yaml", "  others: leave\n", "  looked-over: zone\n  others: leave\n")], STOPS, "'damaged, wet, not readable, or rated lower' to"),
    (COOL, [("cooling-check.yaml", "  leave:\n    action", "  leave:\n    if_interrupted: call\n    action")], STOPS, "(turn fan)"),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: look,"), ("cooling-check.yaml", "  leave:\n", "  look:\n    when: fact.metering = fixed-orifice\n    choice: Look once more. Is it?\n    options:\n      - {name: so it is, then: leave}\n  again:\n    confirm: Set the control so that it cools.\n    by: Who\n    changes: [turn fan]\n    needs: [briefed, area-clear, protected-from(fan)]\n    then: off-open\n  leave:\n")], STOPS, "(turn fan)"),
    (COOL, [("cooling-check.yaml", "  leave:\n    action", "  leave:\n    if_absent: call\n    action")], STOPS, "(turn fan)"),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: told-first,"), ("cooling-check.yaml", "  others: leave\n", "  briefed: call\n  others: leave\n"), ("cooling-check.yaml", "  leave:\n", "  told-first:\n    confirm: Tell them.\n    by: Whom\n    needs: [briefed]\n    then: leave\n  leave:\n")], STOPS, f"{SEEN} leads on to"),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: wait-for-it,"), ("cooling-check.yaml", "  leave:\n", "  wait-for-it:\n    choice: Is it quiet now?\n    options:\n      - {name: it is quiet, then: leave}\n      - {name: not yet, then: wait-for-it, repeats: 1, exhausted: call}\n  leave:\n")], STOPS, f"{SEEN} leads on to"),
    (THREE, [("three-phase-supply.yaml", "  running:\n", "  by-clamp:\n    reading: Current on the clamp that hung there before\n    touches: nothing\n    function: clamp amps\n    slot: clamp\n    unit: A\n    between: [one lead]\n    not_decided: leave\n    bands:\n      - {name: fine, below: 5 A}\n      - {name: shorted, finding: winding shorted}\n  start-it:\n    confirm: Start it once more.\n    by: Who\n    changes: [turn pump]\n    needs: [briefed, area-clear, protected-from(pump)]\n  running:\n")], OFF, "'shorted' to 'Current on the clamp"),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: not-judged,")], STOPS, "(motor-circuit is left live)"),
    ("isolate", [("isolate.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it, then: held-again,"), ("isolate.yaml", "  found-live:\n", "  held-again:\n    confirm: See.\n    by: What\n    needs:\n      - verified-dead(motor-circuit, board-box)\n    then: refer\n  found-live:\n")], STOPS, "(probes on motor-circuit)"),
    ("isolate", [("isolate.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it, then: held-again,"), ("isolate.yaml", "  found-live:\n", "  held-again:\n    confirm: See.\n    by: What\n    needs:\n      - once-more(motor-circuit, board-box)\n    then: refer\n  found-live:\n")], STOPS, "(probes on motor-circuit)"),
    (RUN, [("run-motor-directly.yaml", "{name: it hummed and did not turn, then: bad-off,", "{name: it hummed and did not turn, work: stays off, then: run,")], OFF, "(close disconnect)"),
    (THREE, [("three-phase-supply.yaml", "  running:\n", "  feel:\n    choice: Listen. How is it?\n    near: [pump]\n    needs: [protected-from(pump)]\n    options:\n      - {name: quiet}\n      - {name: hot and loud, work: ends, then: feel}\n  running:\n")], STOPS, "(near on pump)"),
    (RUN, [("run-motor-directly.yaml", "{name: 'no, or it cannot be read', then: bad-off,", "{name: 'no, or it cannot be read',")], OFF, "'no, or it cannot be read' to"),
    (RUN, [("run-motor-directly.yaml", "{name: it slows down or hums, then: bad-off,", "{name: it slows down or hums, work: stays off, then: unlock,")], OFF, "(release disconnect)"),
    (RUN, [("groups/motor-readings.yaml", "insulation-lowest(motor.phase-to-phase, random-wound, 1970))', work: stays off, then: otherwise,", "insulation-lowest(motor.phase-to-phase, random-wound, 1970))', work: stays off,")], OFF, "'too low' to"),
    # in a gate's routine
    (THREE, [(G + "looked-over.yaml", "or rated lower', then: fail,", "or rated lower', then: fail, repeats: 1, exhausted: held,")], "damage-is-refused", "does not keep it from being held"),
    (COOL, [(G + "briefed.yaml", "    options:\n", "    options:\n      - {name: something was left in place, work: ends, then: repeat}\n")], STOPS, "does not keep its gate from being held"),
    # gates that hold although nobody was asked, or longer than what took them
    (LIVE, [(G + "shock-protection.yaml", "    slot: gloves\n", "    slot: gloves\n    when: line-side.to-ground > 150 V\n")], "gloves-fit-the-voltage", "it can be held without asking that"),
    (THREE, [(G + "looked-over.yaml", "    choice:", "    when: line-side.to-ground > 400 V\n    choice:")], "damage-is-refused", "it can be held without being asked"),
    (THREE, [(G + "area-clear.yaml", "holds_for: 10 min\n", "holds_for: 10 min\nkeeps: {look: [left site]}\n")], "clear-means-nobody", "is kept over 'worker changed'"),
    # trips
    (DOWN, [("take-down-what-was-left.yaml", "changes: [answer upstream]", "changes: [answer upstream, answer branch-breaker]")], OWED, "speaks of what is upstream and counts as 'answer branch-breaker'"),
    ("isolate", [("isolate.yaml", "changes: [trip branch-breaker]", "changes: [trip disconnect]")], OWED, "counts as 'trip disconnect', which can trip no circuit here"),
    (THREE, [("three-phase-supply.yaml", "devices:\n", "devices:\n  spare: {kind: fuse, label: Fuse of the shop light}\n"), ("three-phase-supply.yaml", "changes: [trip branch-breaker], then", "changes: [trip spare], then")], OWED, "which can trip no circuit here"),
    ("after-a-trip", [("after-a-trip.yaml", "{name: nothing unusual}", "{name: the cause is found and put right, changes: [answer branch-breaker]}")], OFF, "(release branch-breaker)"),
    ("isolate", [("isolate.yaml", "{name: a device has tripped, changes: [trip branch-breaker],", "{name: the branch breaker is off by itself,")], OWED, "speaks of 'off by itself'"),
    ("motor-tests-dead", [(G + "tester-checked.yaml", "over_range: here, then: fail,", "over_range: here,")], "a-tester-is-checked", "'a lead is open' does not keep it from being held"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "edits", "rule", "words"), REFUSED, ids=[f"{r[2]}-{n}" for n, r in enumerate(REFUSED)])
def test_a_way_round_a_rule_is_told_by_it(name, edits, rule, words):
    found = stories(name, changed(edits, {"own/groups/tell-all.yaml": TELL, "own/gates/once-more.yaml": ONCE_MORE}))
    assert any(s.startswith(f"{rule}: ") and words in s for s in found), found


LOOKED = shipped_files()[G + "looked-over.yaml"].decode()
HONEST = [
    (THREE, [("three-phase-supply.yaml", "leaves: {motor-circuit: held off}", "leaves: {line-side: live, motor-circuit: held off}")]),
    (COOL, [("cooling-check.yaml", "{name: all of it in order}", "{name: in order and the wet-bulb thermometer hangs in the return air, work: goes on}")]),
    (COOL, [("cooling-check.yaml", "{name: all of it in order}", "{name: all of it in order and the blower runs, work: goes on}")]),
    (COOL, [("cooling-check.yaml", "{name: nothing found by a detector for it}", "{name: no leak found by a detector for it, work: goes on}")]),
    ("isolate", [("isolate.yaml", "{name: a device has tripped, changes: [trip branch-breaker], then: leave,", "{name: the main of the panel has tripped, changes: [trip upstream], then: leave,")]),
    ("isolate", [("isolate.yaml", "{name: a device has tripped,", "{name: 'the branch breaker has tripped, nothing upstream',")]),
    (COOL, [("cooling-check.yaml", BURNT, "burnt or oily, then: tell,"), ("cooling-check.yaml", "  leave:\n", "  tell: {group: tell-all, then: leave}\n  leave:\n")]),
    ("isolate", [(G + "looked-over.yaml", LOOKED, LOOKED.replace("or rated lower', then: fail,", "or rated lower', then: tag-it,").replace("as the register says'}", "as the register says', then: held}").rstrip("\n") + "\n  tag-it:\n    confirm: Hang a tag on it.\n    by: Words on the tag\n    then: fail\n")]),
    (THREE, [("three-phase-supply.yaml", "{name: nothing of the kind}", "{name: 'a bolt was loose, and is tight now', work: goes on}")]),
]  # fmt: skip


@pytest.mark.parametrize(("name", "edits"), HONEST, ids=range(len(HONEST)))
def test_an_honest_edit_is_not_refused(name, edits):
    library = changed(edits, {"own/groups/tell-all.yaml": TELL})
    assert stories(name, library) == []


def test_what_is_wrong_with_a_gate_is_told_once_however_many_are_made_of_it():
    library = changed([(G + "looked-over.yaml", "or rated lower', then: fail,", "or rated lower',")])
    assert sum(s.startswith(f"{STOPS}: ") for s in stories(THREE, library)) == 1


def test_a_way_that_leads_nowhere_is_no_permit():
    table = table_of("isolate")
    odd = replace(table, data={**table.data, "landings": {"others": "nowhere"}})
    with pytest.raises(BrokenError, match="'nowhere' is neither a step nor an end"):
        list(routine_faults(odd, shipped().rules))


FAULTS = [
    (G + "shock-protection.yaml", "    again: 3\n", "    again: 3\n    not_decided: held\n", "undecided-holds"),
    (G + "meter-rated.yaml", "    again: 3\n", "    again: 3\n    not_decided: held\n", "undecided-holds"),
    (G + "meter-rated.yaml", "    again: 3\n", "    again: 3\n    not_decided: repeat\n", "undecided-holds"),
    (G + "looked-over.yaml", "or rated lower', then: fail,", "or rated lower', then: fail, counts: yes,", "refused-counts"),
    ("energized-load-test.yaml", "  close-box:\n", "  peek:\n    reading: Line to neutral\n    touches: nothing\n    function: ac volts\n    slot: voltmeter\n    unit: V\n    between: [line to neutral]\n    bands:\n      - {name: dead, below: 30 V + 0 * known-source.own-voltage}\n      - {name: live}\n  close-box:\n", "touches-something"),
]  # fmt: skip


@pytest.mark.parametrize(("file", "find", "put", "code"), FAULTS, ids=range(len(FAULTS)))
def test_what_would_hold_a_gate_by_nothing_is_a_fault_of_the_file(file, find, put, code):
    library = changed([(file, find, put)])
    with pytest.raises(FaultyFileError) as found:
        make_plan(library, LIVE)
    assert code in {d.code for d in found.value.diagnostics}


BRIDGE = "  bridge:\n    action: Bridge the run capacitor with the resistor probe.\n    at: board-box\n    hands: none\n    probes: [run-capacitor]\n    needs:\n      - qualified(motor-circuit)\n      - shock-protection(board-box)\n"
SEARCHED = [
    (LIVE, [("energized-load-test.yaml", "  board-supply:\n", BRIDGE + "  board-supply:\n")], "live-work-has-its-reason"),
    (CALLS, [("control-call-check.yaml", "      - reason-for-live\n      - shock-protection(board-box)\n      - meter-rated(voltmeter, motor-circuit)\n      - looked-over(voltmeter)\n", "      - shock-protection(board-box)\n      - looked-over(voltmeter)\n")], "probes-need-a-fit-instrument"),
    (THREE, [("three-phase-supply.yaml", "  running:\n", "  feel:\n    action: Lean over the coupling while it runs and listen at the bearing.\n    near: [pump]\n  running:\n")], "near-moving-is-guarded"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "edits", "rule"), SEARCHED, ids=range(len(SEARCHED)))
def test_what_is_touched_under_another_name_is_touched(name, edits, rule):
    library = changed(edits)
    verdict = prove(compile_chart(make_plan(library, name)), library, until=rule)
    assert rule in {s.rule for s in verdict.stories}


def test_near_what_is_kept_off_nothing_is_refused():
    library = changed([("three-phase-supply.yaml", "  running:\n", "  feel:\n    action: Listen at the bearing from beside the guard.\n    near: [pump]\n    needs: [protected-from(pump)]\n  running:\n")])
    assert prove(compile_chart(make_plan(library, THREE)), library).proved


@pytest.mark.parametrize("name", ["the cause is found and put right", "yes, and it is on again"])
def test_no_gate_of_a_shop_answers_a_trip_by_whatever_name(name):
    library = with_own_gate(SETTLED.replace("name: 'yes'", f"name: '{name}'"))
    assert any(s.startswith(f"{ANSWERS}: ") and "counts as 'answer'" in s for s in stories("isolate", library))


RULE = """\
rule: of-our-own
says: Ours.
basis: [ours]
status: ours
whenever: {whenever}
{field}
remedy: Put it back.
"""


@pytest.mark.parametrize(
    ("whenever", "told"),
    [("every step", True), ("its own steps", False), ("its own steps, every step", True), ("steps outside looked-over", False), ("every step, steps outside looked-over", True), ("steps outside looked-over, steps outside verified-dead", True)],
)
def test_several_situations_add_up(whenever, told):
    rule = RULE.format(whenever=whenever, field="only_where: {it is all in order: 1 V > 2 V}")
    edit = (G + "looked-over.yaml", "'whole and dry, leads and probes rated as the register says'", "it is all in order")
    library = changed([edit], {"own/rules/of-our-own.yaml": rule})
    assert any(s.startswith("of-our-own: ") for s in stories(THREE, library)) is told


@pytest.mark.parametrize(
    ("whenever", "field", "words"),
    [
        ("every step", "must: [source is held off]", "`must:` says nothing about: every step"),
        ("every step", "only_by: {relaese: [nobody]}", "'relaese' is not an effect"),
        ("every step", "tells_by: {trips: [nobody]}", "'trips' is not an effect"),
        ("steps outside nowhere", "only_by: {trip: [nobody]}", "there is no gate 'nowhere'"),
        ("close device", "stops: [nobody]", "`stops:` says nothing about: close device"),
    ],
)
def test_a_rule_over_steps_that_could_never_speak_is_a_fault(whenever, field, words):
    library = changed([], {"own/rules/of-our-own.yaml": RULE.format(whenever=whenever, field=field)})
    with pytest.raises(FaultyFileError, match=words):
        obligations(table_of("isolate"), library.rules, frozenset(library.gates))


@pytest.mark.parametrize(
    ("words", "answer", "found"),
    [
        (("burn-",), "burnt", "burn-"), (("burn-",), "it burns", "burn-"), (("burn-",), "sunburnt", ""), (("wet",), "wet", "wet"), (("wet",), "wet-bulb in place", ""), (("wet",), "wetter", ""),
        (("leak-",), "no leak found", ""), (("leak-",), "no leak found, and then it leaks", "leak-"), (("short",), "not short", ""), (("trip",), "nothing trip", ""), (("else's",), "someone else's lock", "else's"), ((), "burnt", ""),
    ],
)  # fmt: skip
def test_an_answer_speaks_of_a_word_that_stands_in_it_and_is_not_denied_right_before_it(words, answer, found):
    assert sounds_like(words, answer) == found


def test_the_approver_is_shown_what_only_people_can_know_to_be_true():
    table = table_of("after-a-trip")
    said = statement_of(table, Approval(table="t", procedure="after-a-trip", revision=4, positions=1, rules="r", version="v"))
    assert "Voltage of the known live source, again on the low-impedance function - touches nothing" in said["taken as harmless"]
    assert any(line.startswith("'loose, burnt, wet or chafed, and put right now' to ") for line in said["taken as harmless"])
    assert "taken as harmless:" in lines_of(said)


NEW = [
    ("  call-off:\n", "  loose:\n    reading: Resistance of the fuse in the hand\n    touches: nothing\n    function: ohms\n    slot: voltmeter\n    unit: ohm\n    between: [end to end]\n    not_decided: refer\n    bands:\n      - {name: whole, below: 5 ohm}\n      - {name: blown, over_range: here, then: refer}\n  call-off:\n", "is new: touches nothing"),
    ("{name: nothing of the kind}", "{name: nothing of the kind}\n      - {name: it was wet and is dry, work: goes on}", "has the new answer 'it was wet and is dry', which leads to the next step (work: goes on)"),
    ("lock or tag is on it, then: refer,", "lock or tag is on it, work: stays off, then: refer,", "work: not said -> stays off"),
]  # fmt: skip


@pytest.mark.parametrize(("find", "put", "words"), NEW, ids=range(len(NEW)))
def test_compare_tells_what_is_new_and_taken_as_harmless_as_looser(find, put, words):
    library = changed([("isolate.yaml", find, put)])
    found = difference(table_of("isolate"), compile_chart(make_plan(library, "isolate")))
    assert any(words in c.words and c.weight.value == "looser" for c in found.changes), found.changes
