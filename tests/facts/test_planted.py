"""Edits that a hurried hand makes in a shipped file, each of which somebody could be hurt by: told by the rule that speaks of it.

Beside them stand honest edits of the same places, which nothing refuses.
"""

from dataclasses import replace

import pytest

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.errors import BrokenError
from ohmward.proof.routines import routine_faults
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.conftest import shipped, table_of
from tests.facts.test_ways_round import changed, stories

pytestmark = pytest.mark.long  # each compiles, and some prove, a shipped procedure with one defect

DEAD, EMPTY, PROOF, LOCK = "gates/verified-dead.yaml", "gates/discharged.yaml", "groups/prove-meter.yaml", "gates/locked-out.yaml"
TRIP, READ, RUN, DOWN, OFF = "after-a-trip.yaml", "groups/motor-readings.yaml", "run-motor-directly.yaml", "take-down-what-was-left.yaml", "isolate.yaml"
LIVE, COOL = "energized-load-test.yaml", "cooling-check.yaml"
BEFORE, AFTER = ("  before: {group: prove-meter, with: {meter: voltmeter}", "  after: {group: prove-meter, with: {meter: voltmeter}")
LOST = (DEAD, "  - known-source found bad\n", "  - known-source found bad\n  - clamp found bad\n")
RETURNS = (OFF, "charged_by: motor-circuit}", "charged_by: motor-circuit, can_return: yes}")
FLOOR = "'insulation-floor(fact.lowest-insulation, insulation-lowest(motor.phase-to-phase, random-wound, 1970))'"
TO_GROUND = "    evidence: circuit read to ground\n    not_decided: close-box-bad"


def with_clamp(text):
    return DEAD, text, text.replace("voltmeter", "clamp")


def planted(edits):
    """The shipped files with these edits, each made wherever its text stands."""
    return changed(edits, times=-1)


def between(file, first, last):
    """The text of a shipped file from one step to another."""
    text = shipped_files()[file].decode()
    return text[text.index(f"  {first}:\n") : text.index(f"  {last}:\n")]


TOUCHED = "    at: disconnect-box\n    hands: [line-side, motor-circuit]\n    probes: none\n    function: ohms\n    slot: voltmeter\n    unit: ohm\n    between: [line side line to ground"
NEUTRAL = "    not_decided: close-box-only\n    between: [neutral to ground]"
EACH = "between: each(fact.speed-leads, common)"
VOUCHED = "counts without 'meter proved' of its voltmeter, on its function, before and after it: "
WEAKENED = [
    ("isolate", [with_clamp(BEFORE), LOST], "dead-test-is-a-dead-test", VOUCHED + "source 'suits', then before.known 'proved', then dead 'dead'"),
    ("isolate", [with_clamp(AFTER), LOST], "dead-test-is-a-dead-test", VOUCHED),
    ("isolate", [(PROOF, "function: ac volts", "function: low-impedance volts")], "dead-test-is-a-dead-test", VOUCHED),
    ("isolate", [(PROOF, "function: ac volts", "function: low-impedance volts")], "second-reader-is-another", VOUCHED + "who 'named', then protected 'all of it is on and in order', then read 'dead', then after.known 'proved'"),
    ("isolate", [(DEAD, "{name: proved, up_to: 1.1 * known-source.own-voltage, then: held, counts: yes}", "{name: proved, up_to: 1.1 * known-source.own-voltage, then: held}")], "dead-test-is-a-dead-test", "then low-impedance 'dead', then low-after 'proved'"),
    ("isolate", [(EMPTY, "function: ac volts", "function: dc volts")], "a-store-is-emptied-in-order", "is taken with dc volts, not with ac volts or low-impedance volts"),
    ("isolate", [RETURNS, (EMPTY, "    wait: 60 s\n", "")], "what-returns-is-read-again", "is read after no wait; at least 60 s"),
    ("isolate", [RETURNS, (EMPTY, "    wait: 60 s\n", "    wait: 59 s\n")], "what-returns-is-read-again", "is read after 59 s; at least 60 s"),
    ("isolate", [RETURNS, (EMPTY, "stays discharged, below: 3 V", "stays discharged, below: 300 V")], "what-returns-is-read-again", "'stays discharged' counts up to 300 V; the rule allows at most 3 V"),
    ("isolate", [("gates/qualified.yaml", "role: supervisor", "role: second")], "who-is-qualified-is-known", "names somebody as second, not as supervisor"),
    ("isolate", [("gates/protection-on.yaml", "      - {name: all of it is on and in order}\n", "      - {name: all of it is on and in order}\n      - {name: gloves only}\n")], "gloves-are-looked-over", "'gloves only' to 'Look the rubber gloves over"),
    ("isolate", [("gates/briefed.yaml", "      - {name: nobody knows", "      - {name: alone with a telephone}\n      - {name: nobody knows")], "nobody-is-alone-unknown", "'alone with a telephone' to 'Say aloud what can hurt here"),
    ("isolate", [(LOCK, "      - {name: nothing moved}\n", "      - {name: nothing moved}\n      - {name: it is not tried}\n")], "what-cannot-be-held-is-refused", "'it is not tried' to 'Nobody within reach?"),
    ("energized-load-test", [("gates/protected-from.yaml", "      - {name: its own guard is on}\n", "      - {name: its own guard is on}\n      - {name: it is out of the way}\n")], "guarded-means-guarded", "is no answer with which it may be held"),
    ("isolate", [(LOCK, "something moved or lit, changes: [found live it], then: fail", "something moved or lit")], "what-cannot-be-held-is-refused", "'something moved or lit' does not keep it from being held"),
    ("after-a-trip", [(TRIP, "decided_by: smallest", "decided_by: largest")], "a-circuit-is-read-in-order", "is not decided by its smallest value: one good point would stand for all"),
    ("after-a-trip", [(TRIP, "leaks to ground, below: 1 Mohm", "leaks to ground, below: 999 kohm")], "a-circuit-is-read-in-order", "'clear of ground' reaches below 1 Mohm and leads on to"),
    ("after-a-trip", [(TRIP, "shorted, below: 1 ohm", "shorted, below: 0.5 * 4 ohm")], "a-circuit-is-read-in-order", "'not shorted' reaches below 1 ohm and leads on to"),
    ("after-a-trip", [(TRIP, TO_GROUND, TO_GROUND.replace("close-box-bad", "resistance-between"))], "a-circuit-is-read-in-order", "'not decided' though nothing was read, leads on to 'Take your lock and tag off the branch breaker."),
    ("after-a-trip", [(TRIP, "    evidence: circuit looked at\n", "    evidence: circuit read to ground\n")], "a-circuit-is-read-in-order", "counts as 'circuit read to ground' and is no reading"),
    ("after-a-trip", [(TRIP, "    evidence: circuit read between conductors\n", "    computes: 1000 * value\n    evidence: circuit read between conductors\n")], "a-circuit-is-read-in-order", "is judged by a sum of its own, not by a calculation that has a name"),
    ("after-a-trip", [(TRIP, "it tripped again, changes: [trip branch-breaker], then: off-again", "it tripped again, changes: [trip branch-breaker], then: cause")], "what-is-faulty-stays-off", "'it tripped again' to 'Close the branch breaker, once"),
    ("isolate", [("gates/read-by-two.yaml", "    functions: [ac volts, dc volts where it.can-hold-dc]\n", "    function: low-impedance volts\n")], "second-reader-is-another", VOUCHED),
    ("run-motor-directly", [(READ, f"too low, below: {FLOOR}", "too low, below: 4.9 Mohm")], "a-motor-is-read-in-order", "'in order' reaches below insulation-floor("),
    ("run-motor-directly", [(READ, "    function: insulation\n", "    function: ohms\n")], "a-motor-is-read-in-order", "is taken with ohms, not with insulation"),
    ("run-motor-directly", [(READ, "    decided_by: each\n", "    decided_by: largest\n")], "a-motor-is-read-in-order", "is not decided by its smallest value"),
    ("run-motor-directly", [(READ, EACH, "between: [high to common]")], "a-motor-is-read-in-order", "is not read between each(fact.speed-leads, common) or pairs(motor.conductors) or at least 2 points"),
    ("run-motor-directly", [(READ, EACH, "between: [u to v, v to u, w to w]")], "a-motor-is-read-in-order", "is not read between"),
    ("run-motor-directly", [(READ, "shorted, below: fact.lowest-winding", "shorted, below: 0.9 * fact.lowest-winding")], "a-motor-is-read-in-order", "'in order' reaches below fact.lowest-winding"),
    ("after-a-trip", [(TRIP, "[line side line to ground, load side line to ground]", "[line side line to ground]")], "a-circuit-is-read-in-order", "is read at 1 for 2 circuits"),
    ("isolate", [(DEAD, "[ac volts, dc volts where it.can-hold-dc]", "[low-impedance volts, ac volts]")], "dead-test-is-a-dead-test", VOUCHED),
    ("isolate", [(DEAD, "functions: [ac volts, dc volts where it.can-hold-dc]", "functions: [ac volts where it.can-hold-dc, dc volts where it.can-hold-dc]")], "dead-test-is-a-dead-test", VOUCHED),
    ("after-a-trip", [(TRIP, TOUCHED, "    touches: nothing\n    function: ohms\n    slot: voltmeter\n    unit: ohm\n    between: [line side line to ground")], "a-circuit-is-read-in-order", "touches nothing of what it counts for"),
    ("energized-load-test", [(LIVE, "in order, below: 5 V", "in order, below: 5.1 V")], "a-neutral-is-a-neutral", "'in order' reaches above 5 V and leads on to"),
    ("energized-load-test", [(LIVE, "neutral stands above ground, then: close-box-only, ", "neutral stands above ground, ")], "a-neutral-is-a-neutral", "'neutral stands above ground' reaches above 5 V and leads on to"),
    ("energized-load-test", [(LIVE, NEUTRAL, NEUTRAL.replace("close-box-only", "supply-ground"))], "a-neutral-is-a-neutral", "'not decided' though nothing was read, leads on to"),
    ("energized-load-test", [(LIVE, "between: [neutral to ground]", "between: [neutral to neutral]")], "a-neutral-is-a-neutral", "is read at 0 for 1 circuits"),
    ("energized-load-test", [(LIVE, "between: [neutral to ground]", "decided_by: smallest\n    between: [neutral to ground, neutral to frame]")], "a-neutral-is-a-neutral", "is decided by its smallest value"),
    ("isolate", [("gates/read-by-two.yaml", "second_within: 1 V", "second_within: 2 V")], "second-reader-is-another", "takes two readings that lie 2 V apart; at most 1 V"),
    ("isolate", [("gates/protection-on.yaml", "    evidence: gloves ready\n", "")], "gloves-are-looked-over", "nobody is asked for 'gloves ready': ready 'all of it is on and in order'"),
]  # fmt: skip


@pytest.mark.parametrize(("procedure", "edits", "rule", "words"), WEAKENED, ids=[f"{w[2]}-{i}" for i, w in enumerate(WEAKENED)])
def test_what_a_reading_rests_on_is_not_weakened_in_silence(procedure, edits, rule, words):
    told = stories(procedure, planted(edits))
    assert any(story.startswith(f"{rule}: ") and words in story for story in told), told


ATTENDED = "      - {name: 'barred off, and somebody stays beside it'}\n"
LATCHES = "it will not latch, buzzes, smells or smokes', changes: [trip branch-breaker], then: off-again"
STILL = [
    (COOL, "  fan: {kind: moving, label: Fan and compressor, driven_by: motor-circuit}\n", ""),
    (COOL, ", protected-from(fan)", ""),
    (COOL, "    needs: [protected-from(fan)]\n", ""),
    (COOL, "    evidence: called\n", ""),
    (COOL, "    changes: [turn fan]\n    wait: 8 min\n", ""),
    (COOL, "    changes: [turn fan]\n", ""),
]
FAN_GUARD = [
    (OFF, "temporary:\n", "temporary:\n  fan-guard: {label: Guard of the fan off, kind: guard, at: fan-place}\n"),
    (OFF, "places:\n", "places:\n  fan-place: {label: Place of the fan, holds: [fan], cover: fan-guard}\n"),
    (OFF, "  tag:\n", "  fan:\n    action: Take the guard of the fan off.\n    at: fan-place\n    hands: none\n    probes: none\n    changes: [uncover fan-guard]\n    needs: [locked-out(motor-circuit)]\n  tag:\n"),
]
NOTHING = "      - {name: nothing of the kind}\n"
LAMP = [
    (OFF, "  disconnect: {kind: disconnect, label: Disconnect beside the machine}\n", "  disconnect: {kind: disconnect, label: Disconnect beside the machine}\n  lamp-switch: {kind: disconnect, label: Switch of the lamp}\n"),
    (OFF, "  control:\n    kind: circuit\n", "  lamp: {kind: circuit, label: Lamp, through: [lamp-switch]}\n  control:\n    kind: circuit\n"),
]
NAMED = [(DOWN, "run-capacitor", "source-capacitor")]


@pytest.mark.parametrize(
    ("procedure", "edits"),
    [
        ("take-down-what-was-left", NAMED),
        ("isolate", [(DEAD, "  low-before:\n", "  low-first:\n")]),
        ("isolate", [RETURNS, (EMPTY, "    wait: 60 s\n", "    wait: 2 min\n")]),
        ("isolate", [RETURNS, (EMPTY, "stays discharged, below: 3 V", "stays discharged, below: 1 V")]),
        ("after-a-trip", [(TRIP, "leaks to ground, below: 1 Mohm", "leaks to ground, below: 2 Mohm")]),
        ("after-a-trip", [(TRIP, "shorted, below: 1 ohm", "shorted, below: 0.1 kohm")]),
        ("run-motor-directly", [(READ, f"too low, below: {FLOOR}", "too low, below: 5 Mohm")]),
        ("run-motor-directly", [(READ, "    decided_by: each\n", "    decided_by: smallest\n")]),
        ("run-motor-directly", [(READ, EACH, "between: [u to v, v to w, w to u]")]),
        ("run-motor-directly", [(READ, EACH, "between: [run to common, start to common]")]),
        ("isolate", [*LAMP]),
        ("isolate", FAN_GUARD),
        ("cooling-check", STILL),
        ("energized-load-test", [(LIVE, "in order, below: 5 V", "in order, up_to: 2 V")]),
        ("isolate", [(OFF, NOTHING, NOTHING + "      - {name: 'a sign of last year, taken down', work: goes on}\n")]),
        ("cooling-check", [(COOL, "[r-22, r-32, r-134a, r-407c, r-410a, r-454b]", "[r-22, r-32, r-134a, r-410a]"), (COOL, "fact.refrigerant = r-22 or fact.refrigerant = r-134a or fact.refrigerant = r-407c or fact.refrigerant = r-410a", "fact.refrigerant = r-134a or fact.refrigerant = r-22 or fact.refrigerant = r-410a")]),
        ("isolate", [("gates/meter-rated.yaml", "gear.voltage >= it.to-ground", "gear.voltage >= 2 * it.to-ground")]),
        ("run-motor-directly", [("gates/lead-rated.yaml", "gear.fuse <= it.protection", "gear.fuse <= 0.5 * it.protection")]),
        ("isolate", [(DEAD, "functions: [ac volts, dc volts where it.can-hold-dc]", "functions: [ac volts, dc volts]"), (PROOF, "function: ac volts", "functions: [ac volts, dc volts]")]),
        ("isolate", [(OFF, "  tag:\n", "  which:\n    choice: With which did you hold it off?\n    options:\n      - {name: the disconnect, changes: [hold off disconnect], counts: yes}\n      - {name: the breaker, changes: [hold off branch-breaker]}\n  tag:\n")]),
        ("energized-load-test", [(LIVE, "motor-circuit.to-ground <= 300 V and line-side.to-ground <= 300 V", "300 V >= motor-circuit.to-ground and line-side.to-ground = 120 V")]),
        ("run-motor-directly", [(READ, "shorted, below: fact.lowest-winding", "shorted, below: 1.1 * fact.lowest-winding")]),
        ("run-motor-directly", [(READ, "shorted, below: fact.lowest-winding", "shorted, below: fact.lowest-winding * 100 %")]),
        ("isolate", [(OFF, "  tag:\n", "  seen:\n    confirm: See that the cover sits.\n    by: Who looked\n  tag:\n")]),
        ("isolate", [(OFF, ATTENDED, ATTENDED + "      - {name: it hangs, then: leave-board}\n")]),
        ("energized-load-test", [(LIVE, "motor-circuit.to-ground <= 300 V and line-side.to-ground <= 300 V", "line-side.to-ground <= 0.6 kV and motor-circuit.to-ground < 600 V")]),
        ("cooling-check", [(COOL, between(COOL, "air", "thermometer"), between(COOL, "air", "thermometer").replace("  air:", "  sniff:"))]),
    ],
)
def test_the_same_places_may_be_changed_where_it_is_no_weakening(procedure, edits):
    assert stories(procedure, planted(edits)) == []


CALLED = between(LIVE, "call", "output")
RAISED = between(OFF, "read-again", "tag")
SWAPPED = between(OFF, "close-board", "tag") + between(OFF, "read-again", "close-board")
BOX, SEEN = "'Take the cover off the board's box.'", "    evidence: looked on arrival\n"
WAYS = [
    ("isolate", [(OFF, between(OFF, "others", "close-board"), "")], "others-have-their-lock", "leads to the end 'Isolated' without 'others asked'"),
    ("isolate", [(OFF, between(OFF, "read-again", "close-board"), "")], "others-have-their-lock", "'others too' to 'Who will put hands in here while this lock is on?' leads to the end 'Isolated' without 'locks of others'"),
    ("isolate", [(OFF, "      - read-by-two(motor-circuit, board-box)\n", "")], "others-have-their-lock", "does not need 'read-by-two'"),
    ("isolate", [(OFF, "- {name: others too}", "- {name: another crew}")], "others-have-their-lock", "nobody can answer 'others too'"),
    ("isolate", [(OFF, between(OFF, "leave-board", "leave-told"), "")], "what-stays-open-is-attended", f"'uncover board-cover' in {BOX} leads to the end 'Referred to a qualified person; nothing more is done here' without 'left guarded or cover it or take down it'"),
    ("isolate", [(OFF, "    evidence: left guarded\n", "")], "what-stays-open-is-attended", f"'uncover board-cover' in {BOX} leads to the end 'Referred"),
    ("energized-load-test", [(LIVE, between(LIVE, "leave-disconnect", "leave-told"), "")], "what-stays-open-is-attended", "'uncover disconnect-cover' in 'Take the cover off the disconnect's box, or open its door.' leads to"),
    ("energized-load-test", [(LIVE, "    when: disconnect-cover is in place\n", "    when: board-cover is in place\n")], "what-stays-open-is-attended", "'uncover disconnect-cover' in "),
    ("run-motor-directly", [(RUN, between(RUN, "leave-board", "leave-told"), "")], "what-stays-open-is-attended", "'fit test-lead' in 'Connect the motor for one speed"),
    ("isolate", [(OFF, ATTENDED, ATTENDED.replace("'}", "', changes: [cover board-cover], counts: yes}"))], "a-cover-is-on-when-it-is", "speaks of 'barred' and counts as 'cover'"),
    ("isolate", [(OFF, ATTENDED, ATTENDED.replace("barred off, and somebody stays beside it'}", "there is none', changes: [cover board-cover], counts: yes}"))], "a-cover-is-on-when-it-is", "counts as 'cover board-cover' whatever is answered"),
    ("isolate", [(OFF, ATTENDED, ATTENDED.replace("'}", "', changes: [cover board-cover], counts: yes}") + "      - {name: neither}\n")], "a-cover-is-on-when-it-is", "speaks of 'barred' and counts as 'cover'"),
    ("isolate", [(OFF, ATTENDED, "      - {name: nobody can stay}\n")], "what-stays-open-is-attended", "'nobody can stay' to 'The box of the board is open."),
    ("energized-load-test", [(LIVE, "not_decided: close-box-only", "not_decided: refer")], "what-stays-open-is-attended", "'uncover disconnect-cover' in "),
    ("energized-load-test", [(LIVE, "then: close-box-only, finding: 'neutral open, shared", "then: supply-off, finding: 'neutral open, shared"), (LIVE, "next: [after-a-trip]}", "next: [after-a-trip, take-down-what-was-left]}")], "what-stays-open-is-attended", "leads to the end 'The supply is at fault, not the motor'"),
    ("energized-load-test", [(LIVE, between(LIVE, "leave-disconnect", "leave-told"), ""), (LIVE, "    when: board-cover is in place\n", "")], "what-stays-open-is-attended", "'uncover disconnect-cover' in "),
    ("take-down-what-was-left", [(DOWN, between(DOWN, "leave-disconnect", "leave-told"), "")], "what-stays-open-is-attended", "'Cover of the disconnect's box off' from an earlier run leads to"),
    ("isolate", [*LAMP, (OFF, "    operates: disconnect\n    changes: [open disconnect, hold off disconnect]\n", "    operates: lamp-switch\n    changes: [open lamp-switch, hold off lamp-switch]\n")], "after-trouble-it-is-held-off", "without 'everything is held off'"),
    ("cooling-check", [*STILL, (COOL, "changes: [open disconnect, hold off disconnect]", "changes: [open disconnect]")], "after-trouble-it-is-held-off", "without 'everything is held off'"),
    ("isolate", [(OFF, RAISED, SWAPPED)], "others-have-their-lock", "leads to the end 'Isolated' without 'cover'"),
    ("isolate", [(OFF, "    operates: disconnect\n    changes: [open disconnect, hold off disconnect]\n", "")], "after-trouble-it-is-held-off", "'something was left in place' to 'Look before you touch. Is anything tripped, bridged, or left here by somebody?' leads to the end 'Referred"),
    ("isolate", [(OFF, "changes: [open disconnect, hold off disconnect]", "changes: [open disconnect]")], "after-trouble-it-is-held-off", "without 'everything is held off'"),
    ("isolate", [(OFF, "it cannot be set to off, then: leave}", "it cannot be set to off, then: leave-told}")], "after-trouble-it-is-held-off", "'it cannot be set to off' to "),
    *((p, [(f"{p}.yaml", SEEN, "")], "looked-before-touched", "the run's beginning leads to 'Take the cover off the ") for p in ("isolate", "run-motor-directly", "motor-tests-dead", "energized-load-test", "three-phase-supply")),
    ("control-call-check", [("control-call-check.yaml", SEEN, "")], "looked-before-touched", "the run's beginning leads to 'Set this zone's control so that it calls"),
    ("after-a-trip", [(TRIP, "    evidence: seen what tripped\n", "")], "looked-before-touched", "the run's beginning leads to "),
    ("take-down-what-was-left", [(DOWN, "    evidence: seen what was left\n", "")], "looked-before-touched", "the run's beginning leads to "),
    ("isolate", [(OFF, "      - {name: somebody else's lock or tag is on it, then: refer, finding: a lock or tag of others was on the machine}\n", "")], "looked-before-touched", "nobody can answer 'somebody else's lock or tag is on it'"),
    ("cooling-check", [(COOL, between(COOL, "air", "thermometer"), "")], "what-burns-is-looked-for", "the run's beginning leads to 'Set the control so that it cools"),
    ("cooling-check", [(COOL, "      - {name: refrigerant in the air, then: leave, finding: refrigerant in the air around the unit}\n", "")], "what-burns-is-looked-for", "nobody can answer 'refrigerant in the air'"),
    ("cooling-check", [(COOL, "    needs: [briefed, qualified(motor-circuit)]\n", "    needs: [briefed]\n")], "gauges-need-the-certificate", "does not need 'qualified'"),
    ("cooling-check", [(COOL, between(COOL, "connect", "call"), "")], "gauges-need-the-certificate", "the run's beginning leads to 'Suction pressure' without 'gauges on'"),
    ("isolate", [(OFF, "      - {name: a device has tripped, changes: [trip branch-breaker], then: leave, finding: a device had tripped on arrival}\n", "")], "looked-before-touched", "nobody can answer 'trip'"),
    ("cooling-check", [(COOL, "      - {name: burnt or oily, then: leave, finding: 'burnt wiring, or oil on the refrigerant lines'}\n", "")], "looked-before-touched", "nobody can answer 'burnt or oily'"),
    ("isolate", [(OFF, NOTHING, NOTHING + "      - {name: 'a padlock hangs there, its owner has gone home'}\n")], "what-counts-is-known", "'a padlock hangs there, its owner has gone home' to 'Look before you touch."),
    ("after-a-trip", [(TRIP, "- {name: nothing unusual}", "- {name: 'a little brown at one terminal, it holds'}")], "what-counts-is-known", "counts as 'circuit looked at'; only these do: nothing unusual"),
    ("after-a-trip", [(TRIP, "'the branch breaker, a ground-fault or arc-fault device', changes: [trip branch-breaker], counts: yes,", "'the breaker, it only needs a reset', counts: yes,")], "what-counts-is-known", "'the breaker, it only needs a reset' to"),
    ("after-a-trip", [(TRIP, "{name: nothing that can be seen, then: leave,", "{name: nothing that can be seen,")], "looked-before-touched", "'nothing that can be seen' to"),
    ("isolate", [("gates/looked-over.yaml", "    options:\n", "    options:\n      - {name: 'worn, the insulation still covers'}\n")], "damage-is-refused", "is no answer with which it may be held"),
    ("isolate", [("gates/machine-known.yaml", "      - {name: only what", "      - {name: 'a second supply, for the control only'}\n      - {name: only what")], "a-further-supply-stops", "is no answer with which it may be held"),
    ("isolate", [(OFF, "      - {name: it cannot be set to off, then: leave}\n", "      - {name: it cannot be set to off, then: leave}\n      - {name: 'it stays on, the disconnect is open anyway'}\n")], "what-counts-is-known", "counts as 'call off'; only these do: off; all of them are off"),
    ("cooling-check", [(COOL, "r-410a, r-454b]", "r-410a, r-454b, r-290]"), (COOL, "fact.refrigerant = r-410a\n", "fact.refrigerant = r-410a or fact.refrigerant = r-290\n")], "what-burns-is-looked-for", "'a refrigerant that does not burn' to"),
    ("run-motor-directly", [(RUN, "- {name: 'no, or it cannot be read', then: bad-off, finding: the disconnect is not shown to be rated for this motor}", "- {name: 'it has no plate, it always worked'}")], "what-counts-is-known", "'it has no plate, it always worked' to"),
    ("energized-load-test", [(LIVE, CALLED, CALLED.replace("    changes: [turn fan]\n", "").replace("      - protected-from(fan)\n", ""))], "what-calls-says-what-turns", "does not say 'turn' in its changes"),
    ("energized-load-test", [(LIVE, CALLED, CALLED.replace("      - area-clear\n", ""))], "what-calls-says-what-turns", "does not need 'area-clear'"),
    ("isolate", [(DEAD, "functions: [ac volts, dc volts where it.can-hold-dc]", "function: ac volts")], "dead-test-is-a-dead-test", "nothing with 'absence of voltage' is read with dc volts: source 'suits'"),
    ("isolate", [("gates/read-by-two.yaml", "functions: [ac volts, dc volts where it.can-hold-dc]", "function: ac volts")], "second-reader-is-another", "nothing with 'absence of voltage' is read with dc volts"),
    ("isolate", [(DEAD, "      - require: gear.own-voltage > 0 V\n        otherwise: The register does not say its voltage. Take one whose voltage is known.\n", "")], "a-bad-meter-stops", "it does not ask that gear.own-voltage > 0 V"),
    ("isolate", [(OFF, "something else comes in, changes", "another cable enters, changes")], "what-counts-is-known", "nobody can answer 'something else comes in'"),
    ("three-phase-supply", [("three-phase-supply.yaml", "'off, loose or broken', then: leave, finding: the guard of the coupling was not in order", "in the workshop")], "what-counts-is-known", "'in the workshop' to 'The pump may run"),
    ("energized-load-test", [(LIVE, "it runs on although the call is off, then: leave,", "it keeps turning,")], "what-counts-is-known", "nobody can answer 'it runs on although the call is off'"),
    ("after-a-trip", [(TRIP, LATCHES, LATCHES.replace("off-again", "cause"))], "a-trip-is-answered-after-looking", "leads to 'Say what made it trip, as it will stand in the record.' without 'circuit looked at'"),
    ("after-a-trip", [(TRIP, "    if_interrupted: off-again\n", "    if_interrupted: cause\n")], "a-trip-is-answered-after-looking", "'it tripped again' to 'Close the branch breaker, once"),
    ("after-a-trip", [(TRIP, LATCHES, LATCHES.replace("off-again", "resistance-ground"))], "a-trip-is-answered-after-looking", "without 'circuit looked at'"),
    ("energized-load-test", [(LIVE, "motor-circuit.to-ground <= 300 V and line-side", "line-side")], "its-scope-is-known", "its scope does not refuse more than 600 V to ground on 'Motor circuit': motor-circuit.to-ground <= 600 V"),
    ("energized-load-test", [(LIVE, "line-side.to-ground <= 300 V", "line-side.to-ground <= 3 kV")], "its-scope-is-known", "on 'Line side of the disconnect'"),
    ("run-motor-directly", [(RUN, "machine.closings-in-24-h < 2", "machine.closings-in-24-h <= 2")], "its-scope-is-known", "does not refuse a machine that was closed again 2 times in 24 h"),
]  # fmt: skip


@pytest.mark.parametrize(("procedure", "edits", "rule", "words"), WAYS, ids=[f"{w[2]}-{i}" for i, w in enumerate(WAYS)])
def test_a_way_that_leaves_out_what_must_lie_on_it_is_told(procedure, edits, rule, words):
    told = stories(procedure, planted(edits))
    assert any(story.startswith(f"{rule}: ") and words in story for story in told), told


def test_the_shortest_way_that_leaves_it_out_is_told_step_by_step_and_what_is_wrong_last():
    library = planted([(OFF, between(OFF, "leave-board", "leave-told"), "")])
    verdict = prove(compile_chart(make_plan(library, "isolate")), library, until="what-stays-open-is-attended")
    told = next(s for s in verdict.stories if s.rule == "what-stays-open-is-attended")
    lines = [line.rpartition(" (isolate.yaml:")[0] or line for line in told.lines]
    assert lines == [
        f"'uncover board-cover' in {BOX}",
        "cannot hold 'Briefed - what can hurt, who helps, whom to call', which is needed for 'It was read dead here. Follow the wires by eye and hand - does anything else come into this box?'",
        "answers 'done' to 'Set the calling control to off, then open the disconnect and put your own lock and tag on it.'",
        "answers 'confirmed' to 'Tell the owner and the qualified person what was found and that nobody uses the machine until they have looked.'",
        f"'uncover board-cover' in {BOX} leads to the end 'Referred to a qualified person; nothing more is done here' without 'left guarded or cover it or take down it'",
    ]


LOOKED = "- {name: nothing unusual}"
CLOSES = between(TRIP, "close", "open-live")
BUMP, RETURNED = between(RUN, "bump", "opened"), between(RUN, "return-close", "call-back")
BARED = between(OFF, "open-board", "read-dead")


@pytest.mark.parametrize(
    ("procedure", "edits", "rule", "words"),
    [
        ("after-a-trip", [(TRIP, between(TRIP, "resistance-ground", "cause"), "")], "a-trip-is-answered-after-looking", "leads to 'Say what made it trip, as it will stand in the record.' without 'circuit read to ground'"),
        ("after-a-trip", [(TRIP, between(TRIP, "resistance-between", "cause"), "")], "a-trip-is-answered-after-looking", "without 'circuit read between conductors'"),
        ("after-a-trip", [(TRIP, LOOKED, LOOKED.replace("}", ", then: cause}"))], "a-trip-is-answered-after-looking", "without 'circuit looked at'"),
        ("after-a-trip", [(TRIP, CLOSES, CLOSES.replace("      - qualified(line-side)\n", ""))], "after-a-trip-it-is-closed-protected", "begins 'Close the branch breaker, once"),
        ("after-a-trip", [(TRIP, CLOSES, CLOSES.replace("      - protection-on\n", ""))], "after-a-trip-it-is-closed-protected", "begins 'Close the branch breaker, once"),
        ("isolate", [(OFF, between(OFF, "open-board", "read-dead"), between(OFF, "open-board", "read-dead").replace("      - locked-out(motor-circuit)\n", ""))], "what-is-bared-live-has-its-reason", "begins 'Take the cover off the board's box.'"),
        ("after-a-trip", [(TRIP, between(TRIP, "open-live", "live"), between(TRIP, "open-live", "live").replace("      - reason-for-live\n", ""))], "what-is-bared-live-has-its-reason", "begins 'Take the cover off the disconnect's box."),
        ("run-motor-directly", [(RUN, BUMP, BUMP.replace("      - qualified(motor-circuit)\n", ""))], "what-stands-open-is-fed-protected", "begins 'Close the disconnect for one second"),
        ("run-motor-directly", [(RUN, "    kind: lead\n", "    kind: bypass\n"), (RUN, "      - lead-rated(motor-circuit)\n      - meter-rated(clamp", "      - meter-rated(clamp")], "lead-is-rated", "begins 'Connect the motor for one speed"),
        ("isolate", [(OFF, "kind: guard, at: board-box}", "kind: guard, on: [run-capacitor]}"), (OFF, "    cover: board-cover\n", ""), (OFF, BARED, BARED.replace("      - locked-out(motor-circuit)\n", ""))], "what-is-bared-live-has-its-reason", "begins 'Take the cover off the board's box.'"),
        ("run-motor-directly", [(RUN, "    cover: board-cover\n", "")], "what-stands-open-is-fed-protected", "begins 'Close the disconnect. What did it do?'"),
        ("run-motor-directly", [(RUN, BUMP, BUMP.replace(", turn fan", ""))], "a-closing-says-what-it-starts", "begins 'Close the disconnect for one second"),
        ("run-motor-directly", [(RUN, RETURNED, RETURNED.replace(", turn fan", ""))], "a-closing-says-what-it-starts", "begins 'Close the disconnect. What did it do?'"),
        ("isolate", [(OFF, between(OFF, "open-board", "read-dead") + between(OFF, "read-dead", "others"), between(OFF, "read-dead", "others") + between(OFF, "open-board", "read-dead")), (OFF, "  leave-board:\n    when: board-cover is in place\n", "  leave-board:\n")], "a-box-is-opened-first", "Stored charge let out and read"),
        ("isolate", [(OFF, "leaves: {motor-circuit: held off}, next", "next")], "an-end-says-what-is", "answers 'confirmed' to 'See that lock and tag are on"),
        ("take-down-what-was-left", [(DOWN, "holds: [line-side, motor-circuit]", "holds: [line-side, motor-circuit, run-capacitor]"), (DOWN, "discharged(run-capacitor, board-box)", "discharged(run-capacitor, disconnect-box)")], "hands-need-discharged", "begins "),
        ("take-down-what-was-left", [*NAMED, (DOWN, "holds: [line-side, motor-circuit]", "holds: [line-side, motor-circuit, source-capacitor]"), (DOWN, "discharged(source-capacitor, board-box)", "discharged(source-capacitor, disconnect-box)")], "hands-need-discharged", "begins "),
    ],
)  # fmt: skip
def test_a_way_to_harm_through_what_was_left_out_is_told(procedure, edits, rule, words):
    library = planted(edits)
    verdict = prove(compile_chart(make_plan(library, procedure)), library, until=rule)
    lines = [line for story in verdict.stories if story.rule == rule for line in story.lines]
    assert any(words in line for line in lines), [s.render() for s in verdict.stories]


def test_routines_that_lose_each_other_for_ever_are_told_although_no_rule_breaks():
    library = planted([(OFF, "then: found-live, finding: another supply", "then: close-board, finding: another supply")])
    told = [s.rule for s in prove(compile_chart(make_plan(library, "isolate")), library).stories]
    assert "gates-lose-each-other" in told


def test_a_way_after_an_answer_that_leads_nowhere_is_no_permit():
    table = table_of("isolate")
    odd = replace(table, data={**table.data, "landings": {"others": "nowhere"}})
    rules = {n: s for n, s in shipped().rules.items() if n == "what-stops-work-stops"}
    with pytest.raises(BrokenError, match="'nowhere' is neither a step nor an end"):
        list(routine_faults(odd, rules))


def test_a_store_whose_id_holds_a_word_of_the_rules_is_a_store_like_another():
    library = planted(NAMED)
    assert prove(compile_chart(make_plan(library, "take-down-what-was-left")), library).proved
