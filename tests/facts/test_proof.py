"""The proof: rules are broken by what must break them, the search is exact, the verdicts on file are today's."""

from collections import deque
from pathlib import PurePosixPath

import pytest

from ohmward.approval.approval import read_verdicts
from ohmward.chart.compile import check_exactly_one, compile_chart, starts
from ohmward.chart.document import (
    NotATableError,
    canonical_bytes,
    checked_document,
    digest_of_table,
    from_document,
    to_document,
)
from ohmward.chart.layout import holds
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_BITS, NODE_MASK, Move, Refused, advance, begin_at
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof import example
from ohmward.proof.covering import Covering
from ohmward.proof.explore import Explorer
from ohmward.proof.forget import Everything, forgetter, reads_by_node
from ohmward.proof.obligations import Obligations, obligations
from ohmward.proof.routines import routine_faults
from ohmward.proof.standing import digest_of_rules, rules_among
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files, shipped_folder
from tests.conftest import CUT_RULES, ROOT, cut, shipped, table_of


def naive(table, extra=()):
    """Every reachable position, without observers, without forgetting."""
    waiting = deque(starts(table))
    seen = set(waiting)
    while waiting:
        position = waiting.popleft()
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger)
            assert isinstance(move, Move)
            if move.position not in seen:
                seen.add(move.position)
                waiting.append(move.position)
    return seen


SMALL_FIRST = ("energized-load-test", "isolate", "take-down-what-was-left", "run-motor-directly", "after-a-trip")


def edited(bad):
    """The shipped files with one of a rule's own edits made."""
    return load_library(example.edited(shipped_files(), bad))


def tables_with(library, bad):
    """The table of each shipped procedure that reads the edited file; one that the file names, alone."""
    named = bad.file.removesuffix(".yaml")
    for name in [named] if "/" not in named else SMALL_FIRST:
        plan = make_plan(library, name)
        if any(f.endswith(bad.file) for f in plan.digests):
            yield compile_chart(plan)


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(n for n, r in shipped().rules.items() if r.model.bad))
def test_a_rules_own_bad_example_breaks_it(name):
    rule = shipped().rules[name].model
    library = edited(rule.bad)
    if name == "hold-before-discharge":  # the compiler already refuses this one: nothing charged is ever discharged
        with pytest.raises(FaultyFileError, match="unreachable"):
            compile_chart(make_plan(library, "isolate"))
        return
    verdicts = (prove(table, library, until=name) for table in tables_with(library, rule.bad))
    verdict, story = next((v, s) for v in verdicts for s in v.stories if s.rule == name)
    assert not verdict.proved
    assert story.remedy
    assert story.basis
    assert name in story.render()


@pytest.mark.long
@pytest.mark.parametrize("name", sorted(n for n, r in shipped().rules.items() if r.model.good))
def test_a_rules_own_good_example_keeps_it(name):
    """Where no shipped file does what a rule watches: an edit that does, and that the rule lets pass."""
    rule = shipped().rules[name].model
    library = edited(rule.good)
    table = next(tables_with(library, rule.good))
    assert name not in {s.rule for s in prove(table, library).stories}


def test_forgetting_loses_no_position_and_invents_none():
    """Position by position: the reduced search knows exactly the unreduced positions, seen through forgetting."""
    table, library = table_of("cut-down"), cut()
    asked = obligations(table, library.rules, frozenset(library.gates))
    forget = forgetter(table, starts(table), reads_by_node(table, asked))
    reduced = Explorer(table, asked, forget, plain=True).run(starts(table))
    everything = naive(table)
    assert {forget(p) for p in everything} == reduced.positions
    assert len(reduced.positions) < len(everything) / 5
    for position in everything:
        for check in asked.checks:
            if not check.trigger and table.index[check.node] == position & NODE_MASK:
                assert holds(check.must, position >> NODE_BITS)


def test_forgetting_everything_would_be_noticed():
    """The control: a forgetter that forgets too much does not pass the comparison."""
    table, library = table_of("cut-down"), cut()
    asked = obligations(table, library.rules, frozenset(library.gates))
    span = table.layout.span("gate qualified(load)")
    rest = table.layout.bit("gate qualified(load)", "not held")

    class TooMuch(Everything):
        def masks(self, node, bits):
            return ~span, rest

    too_much = TooMuch()
    found = Explorer(table, asked, too_much, plain=True).run(starts(table), most=20000)
    assert {too_much(p) for p in naive(table)} != found.positions or found.breaches


class Hurried(Covering):
    """Unsound: what stood in the way of the rows that were not taken is not read."""

    def _pick(self, *where):
        row, noticed, _ = super()._pick(*where)
        return row, noticed, row[0][0]


def test_a_move_that_is_remembered_by_too_little_would_be_noticed():
    """The control: leaps that read too little do not pass the comparison."""
    table = table_of("cut-down")
    nothing = Obligations(checks=(), orders=(), released=())
    reads = [Covering(table), Hurried(table)]
    sound, hurried = (Explorer(table, nothing, Everything(), plain=True, covering=c).run(starts(table)).positions for c in reads)
    assert sound == naive(table)
    assert hurried != sound


def test_the_cut_down_procedure_is_proved_and_has_every_kind_of_node():
    verdict = prove(table_of("cut-down"), cut())
    assert verdict.proved, verdict.stories
    kinds = {n.kind for n in table_of("cut-down").nodes}
    assert {"ask", "doing", "late", "hold", "reconcile", "safe", "safe-hands", "safe-doing", "end"} <= kinds
    assert len(table_of("cut-down").data["order"]) >= 7
    assert len(table_of("cut-down").data["gates"]) >= 7


def test_a_search_that_is_cut_off_says_so_and_proves_nothing():
    verdict = prove(table_of("cut-down"), cut(), most=50)
    assert not verdict.proved
    assert verdict.stories[-1].rule == "not-decided"


def test_the_same_table_gives_the_same_verdict_and_the_same_bytes():
    again = compile_chart(make_plan(cut(), "cut-down"))
    assert canonical_bytes(to_document(again)) == canonical_bytes(to_document(table_of("cut-down")))
    assert prove(again, cut()) == prove(table_of("cut-down"), cut())


@pytest.mark.parametrize("name", ["run-motor-directly", "take-down-what-was-left", "cut-down"])
def test_a_table_comes_back_from_its_document_as_it_was(name):
    table = table_of(name)
    back = from_document(to_document(table))
    assert digest_of_table(back) == digest_of_table(table)
    assert back.packed == table.packed
    check_exactly_one(back)


@pytest.mark.parametrize("spoil", [{"format": "x"}, {"rows": [[1]]}, {"variables": 3}, {"nodes": [["a"]]}, {"free": 1}, {"rows": [["ask nowhere", "x", [], "=", [], []]]}])
def test_what_is_no_table_is_refused(spoil):
    with pytest.raises(NotATableError):
        from_document({**to_document(table_of("cut-down")), **spoil})
    with pytest.raises(NotATableError):
        from_document("text")


def test_a_trigger_that_is_not_offered_is_refused():
    table = table_of("cut-down")
    assert advance(table, starts(table)[0], "begin@bump") == Refused("not offered")
    with pytest.raises(ValueError, match="cannot start with device switch set"):
        begin_at(table, {"device switch": "closed"})


def test_the_verdicts_on_file_are_those_of_todays_tables_and_rules():
    known = read_verdicts((shipped_folder() / "verdicts.json").read_bytes(), "verdicts.json")
    for name in shipped().procedures:
        approval = known[digest_of_table(table_of(name))]
        assert approval.rules == digest_of_rules(rules_among(shipped_files())), "run `ohmward check --keep procedures/verdicts.json`"


@pytest.mark.long
def test_the_shipped_procedures_are_proved():
    known = read_verdicts((shipped_folder() / "verdicts.json").read_bytes(), "verdicts.json")
    for name in shipped().procedures:
        verdict = prove(table_of(name), shipped())
        assert verdict.proved, [s.render() for s in verdict.stories]
        assert verdict.positions == known[digest_of_table(table_of(name))].positions


RULE = b"rule: mine\nsays: s\nbasis: [ours]\nstatus: ours\nwhenever: WHEN\nmust: [MUST]\nremedy: r\nbad: {file: x.yaml, find: [a]}\n"


@pytest.mark.parametrize(
    ("when", "must", "problem"),
    [
        ("hands in circuit", "source is held off", "'hands in circuit' is not something that a rule can watch"),
        ("hands on circuit", "source is off", "'source is off' is not something that a rule can demand"),
        ("gate nope", "source is held off", "there is no gate 'nope'"),
    ],
)
def test_a_rule_whose_words_are_not_known_is_a_fault(when, must, problem):
    files = shipped_files()
    files["own/rules/mine.yaml"] = RULE.replace(b"WHEN", when.encode()).replace(b"MUST", must.encode())
    library = load_library(files)
    with pytest.raises(FaultyFileError) as caught:
        obligations(table_of("take-down-what-was-left"), library.rules, frozenset(library.gates))
    assert caught.value.diagnostics[0].problem == problem


@pytest.mark.long
def test_a_shop_may_add_a_rule_and_it_is_checked():
    files = shipped_files()
    files["own/rules/mine.yaml"] = RULE.replace(b"WHEN", b"release device").replace(b"MUST", b"'verified-dead(motor-circuit, board-box) held'")
    library = load_library(files)
    verdict = prove(table_of("run-motor-directly"), library, until="mine")
    assert any(s.rule == "mine" for s in verdict.stories)


def test_every_rule_file_names_what_it_rests_on():
    for name, source in shipped().rules.items():
        assert PurePosixPath(source.file).stem == name
        assert source.model.basis


def cut_edited(file, find, put):
    folder = ROOT / "tests" / "cut"
    files = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.yaml")}
    files |= {f"rules/{n}.yaml": (ROOT / "procedures" / "rules" / f"{n}.yaml").read_bytes() for n in CUT_RULES}
    assert find in files[file]
    return load_library({**files, file: files[file].replace(find, put, 1)})


@pytest.mark.parametrize(
    ("find", "put", "code"),
    [
        (b"    at: box\n    hands: [load]\n    probes: none\n    changes: [take down lead]", b"    changes: [take down lead]", "no-hands-on"),
        (b"kind: lead, at: box, on: [load]}", b"kind: lead, at: box}", "touches-nothing"),
        (b"    confirm: Told.\n", b"    confirm: Told.\n    wait: 5 s\n", "wait-unbegun"),
    ],
)
def test_hands_that_the_files_do_not_own_up_to_are_a_fault(find, put, code):
    with pytest.raises(FaultyFileError, match=code):
        make_plan(cut_edited("cut-down.yaml", find, put), "cut-down")


def test_an_answer_that_goes_elsewhere_is_no_evidence():
    told = b"    confirm: Told.\n    by: number\n    evidence: people told\n"
    asked = b"    choice: Told?\n    evidence: people told\n    options:\n      - {name: told}\n      - {name: nobody was told, then: bump}\n"
    library = cut_edited("cut-down.yaml", told, asked)
    verdict = prove(compile_chart(make_plan(library, "cut-down")), library)
    assert [s.rule for s in verdict.stories] == ["before-closing"]


def test_a_dead_test_without_a_reading_is_none():
    library = shipped()
    files = shipped_files()
    text = files["gates/verified-dead.yaml"].decode()
    start, end = text.index("  dead:\n"), text.index("  after:")
    files["gates/verified-dead.yaml"] = (text[:start] + "  dead:\n    confirm: Looks dead?\n    by: what you see\n    evidence: absence of voltage\n" + text[end:]).encode()
    library = load_library(files)
    table = compile_chart(make_plan(library, "take-down-what-was-left"))
    found = list(routine_faults(table, library.rules))
    assert ("dead-test-is-a-dead-test", "verified-dead(motor-circuit, board-box)", "'Looks dead?' counts as 'absence of voltage' and is no reading in the rule's unit") in found


def test_a_failing_answer_is_never_kept_as_a_good_one():
    table = table_of("cut-down")
    rows = [r for r in table.rows if r.trigger == "answered@locked-out(load).found=cannot"]
    assert rows
    assert not any(name.startswith("kept ") and value == "yes" for r in rows for a in r.assigns for name, value in a.values)


def test_a_table_with_two_rows_for_one_trigger_is_none():
    plain = to_document(table_of("cut-down"))
    twice = next(r for r in plain["rows"] if r[1].startswith("answered@") and r[2] == [[]])
    with pytest.raises(NotATableError, match="contradict each other"):
        checked_document({**plain, "rows": [*plain["rows"], [*twice[:3], "stopped", [], []]]})
    assert checked_document(plain).procedure == "cut-down"
    with pytest.raises(NotATableError):
        checked_document("text")


def test_the_procedure_in_the_guide_is_proved_as_it_stands():
    text = "procedure: " + (ROOT / "DEVELOPERS.md").read_text().split("```yaml\nprocedure: ")[1].split("```")[0]
    library = load_library({**shipped_files(), "own/look-at-the-board.yaml": text.encode()})
    verdict = prove(compile_chart(make_plan(library, "look-at-the-board")), library)
    assert verdict.proved, [s.render() for s in verdict.stories]


@pytest.mark.parametrize(
    ("exposure", "rules"),
    [
        ("    hands: [motor-circuit]\n    probes: none\n", {"a-box-is-opened-first", "hands-need-dead", "opened-is-not-off", "boxes-need-qualified", "somebody-helps"}),
        ("    hands: none\n    probes: [motor-circuit]\n", {"a-box-is-opened-first", "probes-need-qualified", "probes-need-a-fit-instrument", "opened-is-not-off", "boxes-need-qualified", "live-work-has-its-reason"}),
    ],
)
def test_a_cover_that_counts_as_on_protects_nobody_who_reaches_behind_it(exposure, rules):
    text = f"""\
procedure: behind
revision: 1
title: Behind the cover
purpose: See it.
not_covered: Everything.
basis: [ours]
scope: [{{require: motor-circuit.to-ground <= 300 V, otherwise: Not here.}}]
devices: {{switch: {{kind: disconnect, label: Switch}}}}
sources: {{motor-circuit: {{kind: circuit, through: [switch], label: Motor circuit}}}}
places: {{box: {{holds: [motor-circuit], cover: lid}}}}
temporary: {{lid: {{label: Lid off, kind: guard, at: box}}}}
steps:
  reach:
    choice: Reach in. How is it?
    at: box
{exposure}    options: [{{name: fine}}]
    then: over
ends: {{over: {{title: Over, next: [take-down-what-was-left]}}}}
"""
    library = load_library({**shipped_files(), "own/behind.yaml": text.encode()})
    assert {s.rule for s in prove(compile_chart(make_plan(library, "behind")), library).stories} == rules


GATE = "gates/verified-dead.yaml"
WEAK = [
    ("{name: unexplained, below: 50 V}", "{name: unexplained, below: 50 V, counts: yes, then: before, repeats: 1, exhausted: after}"),
    ("  low-impedance:\n", "  low-impedance:\n    when: motor-circuit.to-ground > 200 V\n"),
    ("    between: pairs(it.conductors, ground)\n    expect", "    between: pairs(it.conductors, ground)\n    decided_by: smallest\n    expect"),
]


@pytest.mark.parametrize(("find", "put"), WEAK, ids=["a bounded repeat", "a condition", "the smallest value"])
def test_a_dead_reading_that_is_weakened_by_a_detour_is_seen(find, put):
    files = shipped_files()
    text = files[GATE].decode()
    assert find in text
    files[GATE] = text.replace(find, put, 1).encode()
    library = load_library(files)
    table = compile_chart(make_plan(library, "isolate"))
    assert "dead-test-is-a-dead-test" in {rule for rule, _, _ in routine_faults(table, library.rules)}


@pytest.mark.parametrize(("takes", "short"), [(b"5 min", False), (b"10 min", False), (b"11 min", True)])
def test_a_gate_that_holds_shorter_than_its_step_takes_is_told(takes, short):
    library = cut_edited("cut-down.yaml", b"    changes: [release switch]\n", b"    changes: [release switch]\n    takes: " + takes + b"\n")
    verdict = prove(compile_chart(make_plan(library, "cut-down")), library)
    told = [s for s in verdict.stories if s.rule == "holds-too-short"]
    assert bool(told) is short
    assert all("'area-clear' holds for 10 min" in s.says and s.remedy for s in told)
