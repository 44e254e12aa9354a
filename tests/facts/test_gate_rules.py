"""What a gate must be to be called by its name: each weakening is told by the rule that speaks of it, in words."""

from decimal import Decimal
from functools import cache

import pytest

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.bounds import part_of
from ohmward.proof.routines import routine_faults
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.conftest import shipped, table_of

pytestmark = pytest.mark.long  # each plants one defect in a shipped file and compiles it

G = "gates/"
SOME = ("isolate", "energized-load-test", "after-a-trip")


def edited(file, find, put):
    files = dict(shipped_files())
    text = files[file].decode()
    assert find in text
    files[file] = text.replace(find, put, 1).encode()
    return load_library(files)


@cache
def clean(name):
    return tuple(routine_faults(table_of(name), shipped().rules))


@pytest.mark.parametrize("name", sorted(shipped().procedures))
def test_no_shipped_gate_breaks_a_rule(name):
    assert clean(name) == ()


WEAKENED = [
    ("isolate", G + "verified-dead.yaml", "functions: [ac volts, dc volts where it.can-hold-dc]", "function: dc volts", "dead-test-is-a-dead-test", "is taken with dc volts, not with ac volts or low-impedance volts"),
    ("isolate", G + "verified-dead.yaml", "[ac volts, dc volts where it.can-hold-dc]", "[dc volts, ac volts where it.can-hold-dc]", "dead-test-is-a-dead-test", "is taken with dc volts, ac volts where it.can-hold-dc, not with"),
    ("isolate", G + "read-by-two.yaml", "functions: [ac volts, dc volts where it.can-hold-dc]", "function: dc volts", "second-reader-is-another", "is taken with dc volts"),
    ("isolate", G + "locked-out.yaml", "{name: it cannot be held off, then: fail}", "{name: it cannot be held off, then: fail, only_if: it.kind-of-means = plug, otherwise: It can.}", "each-their-own-lock", "'it cannot be held off' may be chosen only where something else is so"),
    ("isolate", G + "read-by-two.yaml", "unexplained, below: 50 V", "unexplained, below: 500 V", "second-reader-is-another", "'unexplained' reaches 500 V and does not say that it was found live"),
    ("isolate", "groups/prove-meter.yaml", "function: ac volts", "function: dc volts", "a-bad-meter-stops", "is taken with dc volts"),
    ("isolate", "groups/prove-meter.yaml", "    again: 1\n", "    again: 1\n    decided_by: smallest\n", "a-bad-meter-stops", "is decided by its smallest value"),
    ("isolate", G + "discharged.yaml", "not fed, below: 3 V", "not fed, below: 300 V", "hold-before-discharge", "'not fed' counts up to 300 V; the rule allows at most 3 V"),
    ("isolate", G + "qualified.yaml", "- require: person.qualified-here", "- require: person.is-worker or person.qualified-here", "who-is-qualified-is-known", "it does not ask that person.qualified-here"),
    ("isolate", G + "locked-out.yaml", "  try:\n", "  sign:\n    action: Hang a sign on the handle.\n    operates: it.means\n    changes: [hold off it.means]\n    evidence: held off\n  try:\n", "each-their-own-lock", "'Hang a sign on the handle.' counts as 'hold off' whatever is answered"),
    ("after-a-trip", G + "cause-answered.yaml", "  device:\n", "  wipe:\n    action: Wipe the device clean.\n    operates: it.means\n    changes: [answer it.means]\n    evidence: cause found\n  device:\n", "a-cause-is-known", "'Wipe the device clean.' counts as 'answer' whatever is answered"),
    ("energized-load-test", G + "area-clear.yaml", "      - {name: someone is within reach, then: repeat}\n      - {name: nobody is}\n", "      - {name: somebody stands by}\n      - {name: nobody is}\n  ready:\n    choice: Ready to look?\n    options:\n      - {name: someone is within reach, then: repeat}\n      - {name: so it is}\n", "clear-means-nobody", "nobody can answer 'someone is within reach'"),
    ("isolate", "groups/prove-meter.yaml", "below: 0.9 *", "below: 0.1 *", "a-bad-meter-stops", "'proved' begins below 0.9 of known-source.own-voltage"),
    ("isolate", "groups/prove-meter.yaml", "up_to: 1.1 *", "up_to: 11 *", "a-bad-meter-stops", "'proved' reaches beyond 1.1 of known-source.own-voltage"),
    ("isolate", "groups/prove-meter.yaml", "below: 0.9 * known-source.own-voltage", "below: 0.89 * known-source.own-voltage", "a-bad-meter-stops", "'proved' begins below 0.9 of known-source.own-voltage"),
    ("isolate", "groups/prove-meter.yaml", "the meter reads too much, then: fail", "the meter reads too much", "a-bad-meter-stops", "'the meter reads too much' does not keep it from being held"),
    ("isolate", G + "discharged.yaml", "  - meter-proved(voltmeter)\n", "", "a-store-is-emptied-in-order", "held by: "),
    ("isolate", G + "discharged.yaml", "    evidence: read not fed\n", "", "a-store-is-emptied-in-order", "held by: "),
    ("isolate", G + "qualified.yaml", "- require: person.qualified-here", "- require: person.qualified-here or person.is-worker", "who-is-qualified-is-known", "it does not ask that person.qualified-here"),
    ("isolate", G + "locked-out.yaml", "      - {name: it cannot be held off", "      - {name: everybody knows, changes: [hold off it.means], counts: yes}\n      - {name: it cannot be held off", "each-their-own-lock", "'everybody knows' to 'Put your own lock"),
    ("isolate", G + "verified-dead.yaml", "holds_for: shift", "holds_for: unlimited", "a-reading-ends-with-its-meter", "it holds for unlimited; at most shift"),
    ("isolate", G + "verified-dead.yaml", "holds_for: shift", "holds_for: 25 h", "a-reading-ends-with-its-meter", "it holds for 25 h; at most shift"),
    ("isolate", G + "meter-proved.yaml", "lost_by: [meter changed, meter", "lost_by: [meter", "a-proof-ends-with-its-meter", "'voltmeter changed' does not lose it"),
    ("isolate", G + "shock-protection.yaml", "asks: [briefed, protection-on]\nrests_on: [protection-on]", "asks: [briefed]", "gloves-fit-the-voltage", "held by: "),
    ("isolate", G + "read-by-two.yaml", "something is missing, torn or out of test', then: repeat", "something is missing, torn or out of test'", "second-reader-is-another", "does not keep it from being held"),
    ("energized-load-test", G + "area-clear.yaml", "someone is within reach, then: repeat", "someone is within reach", "clear-means-nobody", "'someone is within reach' does not keep it from being held"),
    ("energized-load-test", G + "area-clear.yaml", "holds_for: 10 min", "holds_for: 11 min", "clear-means-nobody", "it holds for 11 min; at most 10 min"),
    ("energized-load-test", G + "area-clear.yaml", "holds_for: 10 min", "holds_for: shift", "clear-means-nobody", "it holds for shift; at most 10 min"),
    ("energized-load-test", G + "area-clear.yaml", "lost_by: [released any, hands in,", "lost_by: [", "clear-means-nobody", "'hands in' does not lose it"),
    ("energized-load-test", G + "protected-from.yaml", "it cannot be guarded here, then: fail", "it cannot be guarded here", "guarded-means-guarded", "'it cannot be guarded here' does not keep it from being held"),
    ("after-a-trip", G + "cause-answered.yaml", "{name: the cause is not known, then: fail,", "{name: the cause is not known, changes: [answer it.means], then: held, counts: yes,", "a-cause-is-known", "'the cause is not known' to 'What made it trip"),
    ("isolate", "isolate.yaml", "{name: a device has tripped, changes: [trip branch-breaker], ", "{name: a device has tripped, ", "a-trip-that-is-told-is-owed", "'a device has tripped' to 'Look before you touch. Is anything tripped, bridged, or left here by somebody?' does not count as 'trip'"),
    ("isolate", "isolate.yaml", "something else comes in, changes: [found live motor-circuit],", "something else comes in,", "a-trip-that-is-told-is-owed", "does not count as 'found live'"),
    ("isolate", "isolate.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it,", "what-stops-work-stops", "'somebody else's lock or tag is on it' to 'Look before you touch. Is anything tripped, bridged, or left here by somebody?' leads on to 'Take the cover off the board's box.' (uncover board-cover)"),
    ("energized-load-test", "energized-load-test.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it, then: open-box,", "what-stops-work-stops", "leads on to 'Take the cover off the disconnect's box, or open its door.' (uncover disconnect-cover)"),
    ("cooling-check", "cooling-check.yaml", "{name: burnt or oily, then: leave,", "{name: burnt or oily, then: call,", "what-stops-work-stops", "(turn fan)"),
    ("control-call-check", "control-call-check.yaml", "or it cannot be told', then: leave,", "or it cannot be told',", "what-stops-work-stops", "leads on to 'Supply of the control circuit at the panel, R to C' (probes on control)"),
    ("run-motor-directly", "groups/motor-readings.yaml", "work: stays off, then: otherwise, finding: winding shorted", "work: stays off, finding: winding shorted", "what-is-faulty-stays-off", "'shorted' to 'Resistance of the motor winding"),
    ("run-motor-directly", "groups/motor-readings.yaml", "work: stays off, then: otherwise, finding: winding shorted", "finding: winding shorted", "what-is-faulty-stays-off", "'shorted' to 'Resistance of the motor winding, each speed lead to common' leads on to 'Connect the motor for one speed and hang the clamp meter, everything dead.' (fit test-lead)"),
    ("motor-tests-dead", "groups/motor-readings.yaml", "{name: shorted, below: fact.lowest-winding, work: stays off,", "{name: short circuit, below: fact.lowest-winding,", "what-stops-work-stops", "speaks of 'short', leads on to 'Insulate the end of every motor lead that is off and tie the ends back.' (hands on motor-circuit), and does not say what becomes of the work"),
    ("isolate", "isolate.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it, then: call-off,", "what-stops-work-stops", "leads on to 'Take the cover off the board's box.' (uncover board-cover)"),
    ("isolate", "isolate.yaml", "somebody else's lock or tag is on it, then: refer,", "a foreign lock or tag hangs there,", "what-stops-work-stops", "speaks of 'lock or tag', leads on to 'Take the cover off the board's box.' (uncover board-cover), and does not say what becomes of the work"),
    ("isolate", "isolate.yaml", "somebody else's lock or tag is on it, then: refer,", "one of the bakers objects, work: ends, then: call-off,", "what-stops-work-stops", "'one of the bakers objects' to"),
    ("control-call-check", "control-call-check.yaml", "or it cannot be told', then: leave,", "or it cannot be told', then: panel-fault,", "what-stops-work-stops", "leads on to 'A call does not leave the panel' (motor-circuit is left live)"),
    ("isolate", "isolate.yaml", "lock or tag is on it, then: refer,", "lock or tag is on it, then: arrival, repeats: 2, exhausted: call-off,", "what-stops-work-stops", "leads on to 'Take the cover off"),
    ("isolate", "isolate.yaml", "{name: a device has tripped, changes: [trip branch-breaker],", "{name: the handle stands as tripped, ", "a-trip-that-is-told-is-owed", "speaks of 'tripp-' and does not count as 'trip'"),
    ("isolate", "isolate.yaml", "changes: [trip branch-breaker]", "changes: [trip upstream]", "a-trip-that-is-told-is-owed", "counts as 'trip upstream' and does not speak of what is upstream; here can trip: Branch breaker in the panel"),
    ("run-motor-directly", "run-motor-directly.yaml", "something upstream went off, changes: [trip upstream]", "something upstream went off, changes: [trip branch-breaker]", "a-trip-that-is-told-is-owed", "speaks of what is upstream and counts as 'trip branch-breaker'"),
    ("isolate", G + "locked-out.yaml", "        only_if: it.kind-of-means = plug\n        otherwise: A plug in your own hands holds off only what has a plug (29 CFR 1910.147(a)(2)(iii)(A)). Lock and tag this one.\n", "", "each-their-own-lock", "may be chosen although it is not so that it.kind-of-means = plug"),
    ("after-a-trip", G + "cause-answered.yaml", "only_if: overload-shown(fact.tripped-device, it.protection, fact.load-at-trip, fact.time-to-trip)", "only_if: fact.load-at-trip > 0 A", "a-cause-is-known", "'yes, and it is taken off' to 'Does what ran"),
    ("cooling-check", "cooling-check.yaml", "or fact.refrigerant = r-410a\n", "or fact.refrigerant = r-410a or fact.refrigerant = r-454b\n", "what-burns-is-looked-for", "'a refrigerant that does not burn' to 'Read the plate"),
    ("isolate", G + "looked-over.yaml", "or rated lower', then: fail,", "or rated lower',", "what-stops-work-stops", "speaks of 'wet', does not keep its gate from being held, and does not say"),
    ("isolate", G + "looked-over.yaml", "or rated lower', then: fail,", "or rated lower', changes: [answer branch-breaker], then: fail,", "a-trip-is-answered-by-its-cause", "counts as 'answer'"),
    ("isolate", "isolate.yaml", "  others: leave\nsteps:", "  looked-over: open-board\n  others: leave\nsteps:", "what-stops-work-stops", "speaks of 'wet', leads on to 'Take the cover off the board's box.' (uncover board-cover)"),
    ("after-a-trip", "after-a-trip.yaml", "    by: Words on the tag\n    then: held\n", "    by: Words on the tag\n    if_interrupted: resistance-ground\n    then: held\n", "what-stops-work-stops", "'loose, burnt, wet or chafed, and it stays so' to"),
    ("after-a-trip", "after-a-trip.yaml", "{name: 'no, or nobody knows', then: leave}", "{name: 'no, or nobody knows', changes: [answer upstream]}", "a-trip-is-answered-by-its-cause", "'no, or nobody knows' to 'Something upstream"),
    ("after-a-trip", "after-a-trip.yaml", "      - {name: 'no, or nobody knows', then: leave}\n", "", "a-trip-is-answered-by-its-cause", "counts as 'answer' whatever is answered"),
    ("run-motor-directly", "run-motor-directly.yaml", "{name: the cause is not found, finding", "{name: the cause is not found, changes: [answer lead-fuse], finding", "a-trip-is-answered-by-its-cause", "'the cause is not found' to 'Look for the cause"),
]  # fmt: skip


@pytest.mark.parametrize(("name", "file", "find", "put", "rule", "words"), WEAKENED, ids=[f"{w[4]}-{n}" for n, w in enumerate(WEAKENED)])
def test_a_weakened_gate_is_told_by_the_rule_that_speaks_of_it(name, file, find, put, rule, words):
    library = edited(file, find, put)
    found = [story for said, _, story in routine_faults(compile_chart(make_plan(library, name)), library.rules) if said == rule]
    assert any(words in story for story in found), found


def test_a_fault_of_one_file_is_told_once_however_many_gates_are_made_of_it():
    library = edited(G + "verified-dead.yaml", "dead, below: 3 V, then: after", "dead, below: 5 V, then: after")
    stories = prove(compile_chart(make_plan(library, "isolate")), library).stories
    assert len(stories) == len({s.render() for s in stories})
    assert [s.rule for s in stories].count("dead-test-is-a-dead-test") == 1


TIGHTER = [
    ("energized-load-test", G + "area-clear.yaml", "holds_for: 10 min", "holds_for: 300 s"),
    ("isolate", G + "verified-dead.yaml", "holds_for: shift", "holds_for: 24 h"),
    ("isolate", "groups/prove-meter.yaml", "below: 0.9 *", "below: 0.95 *"),
    ("isolate", G + "locked-out.yaml", "only_if: it.kind-of-means = plug", "only_if: it.kind-of-means = plug and it.to-ground <= 300 V"),
    ("isolate", "groups/prove-meter.yaml", "up_to: 1.1 * known-source.own-voltage", "up_to: known-source.own-voltage"),
]


@pytest.mark.parametrize(("name", "file", "find", "put"), TIGHTER)
def test_a_tightened_gate_breaks_nothing(name, file, find, put):
    library = edited(file, find, put)
    assert list(routine_faults(compile_chart(make_plan(library, name)), library.rules)) == []


@pytest.mark.parametrize(
    ("text", "part"),
    [("0.9 * k.v", "0.9"), ("k.v", "1"), ("k.v * 0.9", "0.9"), ("90 % * k.v", "0.9"), ("k.v * other", None), ("0.9 V * k.v", None), ("0.9 + k.v", None), ("0.9 * other", None), ("3 V", None), ("0.9 *", None), (None, None), ("", None)],
)
def test_a_limit_is_part_of_a_name_only_where_it_says_so_plainly(text, part):
    found = part_of(text, "k.v")
    assert found == (None if part is None else Decimal(part))


ENDS = [
    ("three-phase-supply", "    changes: [open disconnect, hold off disconnect]\n    then: at-fault", "    changes: [open disconnect]\n    then: at-fault", "an-end-says-what-is"),
    ("three-phase-supply", "alike, up_to: 10 %}", "alike, up_to: 10 %, then: as-found}", None),
    ("three-phase-supply", "    warning: What is behind it is still live.\n    at: disconnect-box\n    hands: none\n    probes: none\n    changes: [cover disconnect-cover]\n", "    warning: What is behind it is still live.\n    at: disconnect-box\n    hands: none\n    probes: none\n", "what-is-left-open-is-held-off"),
    ("three-phase-supply", "next: [after-a-trip, take-down-what-was-left]", "next: [after-a-trip]", "what-is-left-open-is-held-off"),
]


@pytest.mark.parametrize(("name", "find", "put", "rule"), ENDS, ids=range(len(ENDS)))
def test_what_an_end_leaves_is_what_it_says(name, find, put, rule):
    library = edited(f"{name}.yaml", find, put)
    if rule is None:  # the compiler is faster: the step that shuts the box is reached no more
        with pytest.raises(FaultyFileError, match="unreachable"):
            compile_chart(make_plan(library, name))
        return
    assert rule in {s.rule for s in prove(compile_chart(make_plan(library, name)), library).stories}


OPENED = """\
  loosen:
    action: Take the guard of the coupling off.
    at: coupling
    hands: none
    probes: none
    changes: [uncover coupling-guard]
    then: worn
"""


@pytest.mark.parametrize("holds", ["pump", "motor-circuit"])
def test_a_guard_that_is_off_a_part_that_can_start_is_left_at_no_end(holds):
    """The supply is not held off there, and nobody is named who puts it back."""
    text = shipped_files()["three-phase-supply.yaml"].decode()
    for find, put in (
        ("places:\n", f"places:\n  coupling: {{label: The coupling, holds: [{holds}], cover: coupling-guard}}\n"),
        ("temporary:\n", "temporary:\n  coupling-guard: {label: Guard of the coupling off, kind: guard, at: coupling}\n"),
        ("'off, loose or broken', then: leave,", "'off, loose or broken', then: loosen,"),
        ("  leave:\n    action", OPENED + "  leave:\n    action"),
        ("ends:\n", "ends:\n  worn: {title: The coupling is worn}\n"),
    ):
        assert find in text
        text = text.replace(find, put, 1)
    library = load_library({**shipped_files(), "three-phase-supply.yaml": text.encode()})
    assert "what-is-left-open-is-held-off" in {s.rule for s in prove(compile_chart(make_plan(library, "three-phase-supply")), library).stories}


TRIPS = [
    ("changes: [trip branch-breaker], then: leave", "changes: [trip branch-breaker], then: in-order"),
    ("above nameplate, then: close-bad", "above nameplate, changes: [trip branch-breaker], then: close-box"),
]


@pytest.mark.parametrize(("find", "put"), TRIPS)
def test_an_answer_that_tells_a_trip_leads_to_no_end_in_service(find, put):
    library = edited("three-phase-supply.yaml", find, put)
    story = next(s for s in prove(compile_chart(make_plan(library, "three-phase-supply")), library).stories if s.rule == "nothing-left-in-service")
    assert story.lacking == "no trip unanswered when nothing goes wrong"
    assert story.lines[-1].startswith("answers ")


LIVE = "energized-load-test.yaml"


@pytest.mark.parametrize("function", ["function: ac volts", "functions: [ac volts]", "function: low-impedance volts"])
def test_a_live_voltage_read_with_a_meter_that_nobody_proved_is_told_however_its_function_is_written(function):
    files = dict(shipped_files())
    files[LIVE] = files[LIVE].replace(b"      - meter-proved(voltmeter)\n", b"").replace(b"function: ac volts", function.encode())
    library = load_library(files)
    verdict = prove(compile_chart(make_plan(library, "energized-load-test")), library, until="a-voltage-is-read-with-a-proved-meter")
    assert "a-voltage-is-read-with-a-proved-meter" in {s.rule for s in verdict.stories}


def test_a_cover_goes_on_over_live_parts_with_gloves():
    library = edited("three-phase-supply.yaml", "      - qualified(line-side)\n      - shock-protection(disconnect-box)\n  as-found", "      - qualified(line-side)\n  as-found")
    assert "opened-is-not-off" in {s.rule for s in prove(compile_chart(make_plan(library, "three-phase-supply")), library).stories}


def test_an_end_in_service_is_not_asked_for_trips_where_nothing_of_it_is_closed():
    """The trip of somebody else's device is told with what is left open; closing on one is another rule's."""
    for name in ("three-phase-supply", "energized-load-test", "control-call-check"):
        ends = shipped().procedures[name].model.ends
        assert any("live" in end.leaves.values() for end in ends.values())
        assert prove(table_of(name), shipped()).proved


SHOWS = "shows: {meter proved: 0.9 to 1.1 of known-source.own-voltage}"


@pytest.mark.parametrize(
    ("file", "find", "put"),
    [
        ("rules/a-bad-meter-stops.yaml", SHOWS, "shows: {meter proved: 0.9 of known-source.own-voltage}"),
        ("rules/a-bad-meter-stops.yaml", SHOWS, "shows: {meter proved: about right}"),
        ("rules/clear-means-nobody.yaml", "holds_at_most: 10 min", "holds_at_most: 10 mins"),
        ("rules/clear-means-nobody.yaml", "holds_at_most: 10 min", "holds_at_most: 10 V"),
        ("rules/what-returns-is-read-again.yaml", "still discharged: 60 s", "still discharged: shift"),
    ],
)
def test_a_rule_whose_bound_cannot_be_read_is_a_fault_and_never_a_silence(file, find, put):
    with pytest.raises(FaultyFileError, match="bad-value"):
        edited(file, find, put)


def test_a_rule_that_lets_a_gate_hold_without_end_asks_nothing():
    library = edited("rules/clear-means-nobody.yaml", "holds_at_most: 10 min", "holds_at_most: unlimited")
    assert list(routine_faults(table_of("energized-load-test"), library.rules)) == []


def with_own_gate(text, name="isolate"):
    """A gate of a shop's own, needed before the box is opened."""
    files = dict(shipped_files())
    procedure = files[f"{name}.yaml"].decode()
    find = "      - locked-out(motor-circuit)\n      - shock-protection(board-box)\n"
    assert find in procedure
    files[f"{name}.yaml"] = procedure.replace(find, find + "      - settled(motor-circuit)\n", 1).encode()
    files["own/gates/settled.yaml"] = text.encode()
    return load_library(files)


SETTLED = """\
gate: settled
of: {circuit: it}
title: What was found is settled
why: Somebody looked.
basis: ['common practice, no source']
status: ours
holds_for: shift
lost_by: [left site]
steps:
  settled:
    choice: Is it settled?
    options:
      - {name: 'yes', changes: [answer it.means], counts: yes, then: held}
      - {name: it was settled before, then: held}
      - {name: 'no', then: fail}
"""


@pytest.mark.parametrize(("put", "told"), [("", True), ("changes: [answer it.means], counts: yes, ", False)])
def test_no_gate_of_a_shop_answers_a_trip(put, told):
    library = with_own_gate(SETTLED.replace(put, "") if put else SETTLED)
    stories = prove(compile_chart(make_plan(library, "isolate")), library).stories
    assert [s.rule for s in stories] == (["a-trip-is-answered-by-its-cause"] if told else [])


GATE_ANSWERS = [
    ("- {name: 'no', then: fail}", "- {name: 'no', then: fail, work: ends}", None),
    ("- {name: 'no', then: fail}", "- {name: 'no', work: ends}", "does not keep its gate from being held"),
    ("- {name: 'no', then: fail}", "- {name: it leaks, then: repeat}", None),
    ("- {name: 'no', then: fail}", "- {name: it leaks}", "speaks of 'leak-', does not keep its gate from being held, and does not say what becomes of the work"),
    ("- {name: 'no', then: fail}", "- {name: it leaks no more, work: goes on}", None),
    ("- {name: 'no', then: fail}", "- {name: the lamp went off, work: goes on}", None),
    ("- {name: 'no', then: fail}", "- {name: the lamp went off}", "speaks of 'went off' and does not count as 'trip'"),
]  # fmt: skip


@pytest.mark.parametrize(("find", "put", "words"), GATE_ANSWERS, ids=range(len(GATE_ANSWERS)))
def test_an_answer_in_a_gate_says_what_becomes_of_the_work(find, put, words):
    text = SETTLED.replace("changes: [answer it.means], counts: yes, ", "")
    library = with_own_gate(text.replace(find, put))
    stories = [story for _, _, story in routine_faults(compile_chart(make_plan(library, "isolate")), library.rules)]
    assert (stories == []) if words is None else any(words in s for s in stories), stories


def test_a_tester_s_own_check_may_say_shorted():
    """What touches nothing says nothing of the machine."""
    library = edited(G + "tester-checked.yaml", "{name: shorted as it should, below", "{name: shorted, below")
    assert list(routine_faults(compile_chart(make_plan(library, "after-a-trip")), library.rules)) == []
