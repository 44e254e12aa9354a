"""The rarer paths of the inner rooms, each a fact of its own."""

from decimal import Decimal

import pytest

from ohmward.account.judge import Accuracy, judge_reading
from ohmward.chart.compile import compile_chart, starts, uninterrupted
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, Move, advance
from ohmward.errors import Diagnostic, FaultyFileError, StoreError, UsageError
from ohmward.language.effects import EffectError, parse_effect, parse_event
from ohmward.language.library import load_library, load_one
from ohmward.language.models import Group
from ohmward.language.suggest import remedy_for
from ohmward.proof.explore import Breach
from ohmward.proof.routines import routine_faults
from ohmward.proof.story import tell
from ohmward.proof.verdict import prove
from ohmward.record.entry import NOTHING, Entry, Kind
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.models import Register, Roster
from ohmward.shop.shipped import shipped_files
from ohmward.shop.tables import FOLDER, keep_table, kept_table
from ohmward.store.sqlite import SqliteStore
from ohmward.trade.quantity import QuantityError, parse_quantity
from tests.conftest import cut, shipped, table_of
from tests.facts.shopping import DAY
from tests.facts.test_proof import cut_edited, edited
from tests.generated import legal

NAME = "take-down-what-was-left"


@pytest.mark.parametrize("rule", ["isolating-in-order", "every-source-found", "dead-test-is-a-dead-test"])
def test_a_routine_that_lacks_what_its_rule_wants_is_told_with_its_path(rule):
    library = edited(shipped().rules[rule].model.bad)
    found = list(routine_faults(compile_chart(make_plan(library, NAME)), library.rules))
    assert rule in {name for name, _, _ in found}
    assert all(story for _, _, story in found)
    assert list(routine_faults(table_of(NAME), shipped().rules)) == []


def test_a_dead_limit_that_the_job_decides_is_unbounded():
    files = shipped_files()
    files["gates/verified-dead.yaml"] = files["gates/verified-dead.yaml"].replace(b"below: 3 V, then: after", b"below: 0.1 * it.to-ground, then: after", 1)
    library = load_library(files)
    found = list(routine_faults(compile_chart(make_plan(library, NAME)), library.rules))
    assert "'dead' counts up to anything; the rule allows at most 3 V" in {story for _, _, story in found}


def test_a_story_is_told_in_the_steps_own_words_with_file_and_line():
    library = cut_edited("cut-down.yaml", b"{name: it tripped, changes: [trip branch], then: off}", b"{name: it tripped, changes: [trip branch], then: unlock}")
    verdict = prove(compile_chart(make_plan(library, "cut-down")), library)
    assert not verdict.proved
    text = verdict.stories[0].render()
    assert "cut-down.yaml:" in text
    assert "basis (" in text
    library = cut_edited("cut-down.yaml", b"    needs:\n      - qualified(load)\n      - verified-dead(load, box)\n", b"    needs:\n      - qualified(load)\n")
    story = prove(compile_chart(make_plan(library, "cut-down")), library).stories[0].render()
    assert "begins 'Lead on.'" in story
    assert "what must be so here and is not:" in story


TOLD = [
    ("go-on@", "a qualified person lets it go on with 'Supplies found.' (gates/locked-out.yaml:"),
    ("leave-out@s0", "a qualified person leaves out 'Do 0.' (generated.yaml:"),
    ("correct@open-box", "corrects the answer to 'Lid off.' (cut-down.yaml:"),
    ("answered-late@open-box", "answers 'done' to 'Lid off.' (late: a gate was lost meanwhile) (cut-down.yaml:"),
    ("lapsed@area-clear", "time runs out for: Clear"),
    ("answered@reconcile.bump.device.switch=closed", "looks how it stands - Switch: closed"),
    ("answered@reconcile.bump.trip.branch=yes", "looks how it stands - Branch, has it tripped: yes"),
    ("begin@safe.temporary.lead", "makes safe - Lead: begins"),
    ("interrupted", "the work is interrupted: nobody knows what was done"),
    ("found", "something is found that the procedure does not know"),
]


@pytest.mark.parametrize(("move", "words"), TOLD, ids=[t[0] for t in TOLD])
def test_every_kind_of_move_is_told_in_words(move, words):
    table, rule = table_of("cut-down"), shipped().rules["hands-need-dead"]
    if move.startswith("leave-out"):  # no step of the cut says what comes where it is absent
        ((_, _, table),) = legal([5570], small=True)
    line = [(position, position, ()) for position in starts(table)]
    seen = {position for position, _, _ in line}
    for position, start, path in line:
        offered = table.packed[position & NODE_MASK]
        taken = next((t for t in offered if t.startswith(move)), None)
        if taken is not None:
            breach = Breach(rule="r", words="w", path=path, start=start, at=table.node(position).name, trigger=taken)
            assert tell(table, rule, breach).lines[-1].startswith(words)
            return
        for trigger in offered:
            to = advance(table, position, trigger)
            if isinstance(to, Move) and to.position not in seen:
                seen.add(to.position)
                line.append((to.position, start, (*path, trigger)))
    raise AssertionError("no such move")


def test_a_gate_that_can_never_be_held_and_an_end_that_is_never_reached_are_told():
    library = cut_edited("gates/area-clear.yaml", b"      - {name: clear}", b"      - {name: clear, then: fail}")
    with pytest.raises(FaultyFileError, match="unreachable"):
        compile_chart(make_plan(library, "cut-down"))
    library = cut_edited("cut-down.yaml", b"  refer: {title: Referred}", b"  refer: {title: Referred}\n  never: {title: Never}")
    verdict = prove(compile_chart(make_plan(library, "cut-down")), library)
    assert {s.rule for s in verdict.stories} == {"end-not-reached"}
    assert "'end never' can never be reached" in verdict.stories[0].render()


def test_a_procedure_whose_usual_answers_lead_to_making_safe_has_a_verdict():
    """Not held is a need that comes round again: the lead is still in place, so its end asks what is left first."""
    ((_, library, table),) = legal([5570], small=True)
    waiting, seen = starts(table), set()
    while waiting:
        position = waiting.pop()
        seen.add(position)
        moves = [advance(table, position, t) for t in table.packed[position & NODE_MASK] if uninterrupted(t)]
        waiting += [m.position for m in moves if isinstance(m, Move) and m.position not in seen]
    assert "safe left" in {table.node(p).name for p in seen}
    assert {s.rule for s in prove(table, library).stories} == {"end-not-reached"}


@pytest.mark.parametrize(
    ("text", "code"),
    [
        (b"group: a\ntitle: t\nsteps: [x]\n", "wrong-kind"),
        (b"group: a\ntitle: [x]\nsteps: {s: {confirm: c}}\n", "wrong-kind"),
        (b"group: A!\ntitle: t\nsteps: {s: {confirm: c}}\n", "bad-value"),
        (b"group: a\ntitle: ''\nsteps: {s: {confirm: c}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: {confirm: c, again: 9}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: {confirm: c, unit: furlong}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: {confirm: c, wait: shift}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: {confirm: c, wait: soon}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: x}\n", "wrong-kind"),
        (b"group: a\ntitle: " + b"x" * 2100 + b"\nsteps: {s: {confirm: c}}\n", "bad-value"),
        (b"group: a\ntitle: t\nsteps: {s: {confirm: c, hands: 3}}\n", "wrong-kind"),
    ],
)
def test_a_value_of_another_kind_is_a_fault_in_words(text, code):
    with pytest.raises(FaultyFileError) as caught:
        load_one(text, "a.yaml", Group)
    assert {d.code for d in caught.value.diagnostics} == {code}


@pytest.mark.parametrize(
    ("model", "text"),
    [
        (Roster, b"people: [{id: 'P 1', name: x, role: apprentice}]"),
        (Roster, b"people: [{id: P-1, name: x, role: apprentice, until: soon}]"),
        (Register, b"gear: [{id: M-1, label: x, slots: [hat]}]"),
        (Register, b"gear: [{id: M-1, label: x, slots: [clamp], months: many}]"),
        (Register, b"gear: [{id: M-1, label: x, slots: [clamp], voltage: high}]"),
        (Register, b"gear: [{id: M-1, label: x, slots: [clamp], accuracy: {clamp amps: {percent: x, counts: 1, resolution: 1 A}}}]"),
    ],
)
def test_shop_values_are_held_to_their_kind(model, text):
    with pytest.raises(FaultyFileError):
        load_one(text, "f.yaml", model)


def test_words_that_are_no_effect_or_event_are_told():
    with pytest.raises(EffectError):
        parse_effect("frob x")
    with pytest.raises(EffectError):
        parse_event("frobbed x")
    assert str(parse_effect("hold off a")) == "hold off a"
    assert remedy_for("x", (), what="gates") == "there are no gates here"
    assert Diagnostic(file="f", line=1, column=1, code="c", problem="p", remedy="r").render() == "f:1:1: c: p\n   remedy: r"


STEP = {"unit": "V", "slot": "voltmeter", "bands": [{"name": "low", "below": "3 V"}, {"name": "mid", "below": "fact.x"}, {"name": "high"}], "outcomes": [{"name": n, "then": "", "effects": []} for n in ("low", "mid", "high")], "decided_by": "largest"}
GOOD = Accuracy(percent=Decimal(1), counts=2, resolution=parse_quantity("0.1 V"))


@pytest.mark.parametrize(
    ("said", "how", "accuracy", "outcome"),
    [
        (["1"], "largest", GOOD, "low"),
        (["-1"], "largest", GOOD, "low"),  # a minus sign is polarity, not less voltage
        (["-80"], "largest", GOOD, "not decided"),
        (["3.1"], "largest", GOOD, "not decided"),
        (["1", "1"], "smallest", GOOD, "low"),
        (["OL"], "largest", GOOD, "not decided"),
        (["1", "OL"], "largest", GOOD, "not decided"),
        (["OL"], "smallest", GOOD, "not decided"),
        (["1"], "largest", None, "not decided"),
        ([], "each", GOOD, "not decided"),
        (["1", "3.0"], "each", GOOD, "not decided"),
    ],
)
def test_a_reading_counts_only_as_far_as_the_instrument_can_tell(said, how, accuracy, outcome):
    step = {**STEP, "decided_by": how}
    assert judge_reading(step, [(str(i), s) for i, s in enumerate(said)], accuracy, {}).outcome == outcome


def test_a_reading_in_another_unit_is_refused():
    with pytest.raises(QuantityError):
        judge_reading(STEP, [("a", "1 A")], GOOD, {})
    with pytest.raises(QuantityError):
        judge_reading({**STEP, "unit": "A"}, [("a", "1 A")], GOOD, {})
    bare = {**STEP, "slot": ""}
    assert judge_reading(bare, [("a", "1")], None, {}).values[0].low == "1 V"


def test_a_kept_table_that_cannot_be_read_is_compiled_again(tmp_path):
    keep_table(tmp_path, "k", table_of("cut-down"))
    again = kept_table(tmp_path, "k")
    assert again is not None
    assert again.packed == table_of("cut-down").packed
    (tmp_path / FOLDER / "k.json").write_text("[1")
    assert kept_table(tmp_path, "k") is None
    assert kept_table(tmp_path, "other") is None
    (tmp_path / "file").write_text("")
    keep_table(tmp_path / "file", "k", table_of("cut-down"))  # a folder that cannot be made is no fault


def test_a_shop_that_cannot_be_made_or_read_is_told(tmp_path):
    (tmp_path / "file").write_text("")
    with pytest.raises(StoreError):
        make_shop(tmp_path / "file" / "shop", DAY.date())
    make_shop(tmp_path / "shop", DAY.date())
    (tmp_path / "shop" / "gear.yaml").unlink()
    with pytest.raises(UsageError, match="cannot be read"):
        open_shop(str(tmp_path / "shop"))


def test_a_closed_store_tells_and_keeps_nothing(tmp_path):
    store = SqliteStore(tmp_path / "r.db")
    store.close()
    entry = Entry(run="a", number=1, previous=NOTHING, time="t", actor="p", device="d", kind=Kind.NOTED).to_bytes()
    for act in (lambda: store.append("a", after=NOTHING, data=entry), lambda: store.head("a"), lambda: list(store.fetch("a")), store.runs):
        with pytest.raises(StoreError):
            act()
    assert store.faults()[0].startswith("it cannot be read")
    assert cut().procedures
