"""A correction is offered where the step can have been answered before, and nowhere else."""

import random

import pytest

from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, Move, advance
from ohmward.language.library import load_library
from ohmward.proof.verdict import prove
from ohmward.shop.shipped import shipped_files
from tests.conftest import shipped, table_of
from tests.facts.test_witnesses import answered_after


def corrected_at(table, step):
    return {n.name for n in table.nodes if f"correct@{step}" in table.packed[table.index[n.name]]}


def test_a_step_after_which_a_run_ends_is_never_corrected():
    table = table_of("isolate")
    assert not corrected_at(table, "tag")
    assert not corrected_at(table, "leave-told")
    assert not corrected_at(table, "found-live")


def test_a_step_is_corrected_wherever_people_are_asked_after_it():
    table = table_of("isolate")
    asked = {n.name for n in table.nodes if n.kind == "ask"}
    assert corrected_at(table, "arrival") == asked
    assert corrected_at(table, "leave-board") == asked  # after the next answer, and then wherever a correction leads


@pytest.mark.parametrize("name", ["isolate", "three-phase-supply", "after-a-trip"])
def test_no_walk_comes_to_a_question_where_what_it_answered_cannot_be_corrected(name):
    table, chance = table_of(name), random.Random(1127)
    asks = 0
    for _ in range(60):
        position, answered = chance.choice(starts(table)), frozenset()
        for _ in range(60):
            offered = table.packed[position & NODE_MASK]
            if table.node(position).kind == "ask":
                asks += len(answered)
                assert {f"correct@{step}" for step in answered if step in table.data["steps"]} <= set(offered)
            usual = [t for t in offered if t.startswith(("begin@", "answered@"))]
            if not offered:
                break
            trigger = chance.choice(sorted(usual) if usual and chance.random() < 0.8 else sorted(offered))
            move = advance(table, position, trigger)
            assert isinstance(move, Move)
            position, answered = move.position, answered_after(answered, trigger, table, move.position)
    assert asks > 100


def test_a_way_to_harm_tells_corrections_only_of_what_was_answered_on_it():
    files = dict(shipped_files())
    text = files["energized-load-test.yaml"].decode()
    assert text.count("      - area-clear\n") >= 1
    files["energized-load-test.yaml"] = text.replace("      - area-clear\n", "").replace("      - protected-from(fan)\n", "").encode()
    library = load_library(files)
    verdict = prove(compile_chart(make_plan(library, "energized-load-test")), library)
    story = next(s for s in verdict.stories if s.rule == "starting-needs-protection")
    answered = [line for line in story.lines if line.startswith("answers ")]
    assert answered
    assert not any(line.startswith("corrects") for line in story.lines)
    assert "protected-from(fan) held" in story.lacking or "area-clear held" in story.lacking


def test_every_shipped_procedure_is_proved_with_ends_that_say_what_they_leave():
    for name, source in shipped().procedures.items():
        ends = source.model.ends
        assert any(end.leaves for end in ends.values()), name
