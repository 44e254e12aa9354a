"""Comparing revisions in what no shipped procedure has: counted answers, kept answers, steps that can be left out."""

from dataclasses import replace

import pytest

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.proof.bounds import Weight
from ohmward.proof.difference import difference
from tests.facts.test_language import PROCEDURE, compiled, library_with

L, S, O = Weight.LOOSER, Weight.STRICTER, Weight.OTHER  # noqa: E741

EDITS = [
    ("    if_absent: done-looking\n", "", S, L, "where it is not on the machine: done-looking -> cannot be left out"),
    ("repeats: 2, exhausted: leave", "repeats: 3, exhausted: leave", L, L, "leads to round-1 2 times, then leave -> round-1 3 times, then leave"),
    ("through: [switch], ", "", L, L, "through: switch -> none. Read what may hold it off now"),
    ("    then: over\n", "    then: shut\n", O, L, "end over: cannot be reached any more when nothing goes wrong"),
    ("most: 3", "most: 2", L, O, "is no longer asked: 'Look at this zone.'"),
]


@pytest.mark.parametrize(("find", "put", "weight", "back", "words"), EDITS, ids=range(len(EDITS)))
def test_an_edit_of_any_kind_is_told_by_what_it_means(find, put, weight, back, words):
    assert find in PROCEDURE
    old, new = compiled(), compiled(PROCEDURE.replace(find, put, 1))
    forth = difference(old, new)
    assert any(words in f"{c.where}: {c.words}" for c in forth.of(weight)), forth
    assert difference(new, old).of(back)


GATE = """\
gate: asked-once
title: Asked once
why: One answer is kept.
basis: [ours]
status: ours
lost_by: [left site]
holds_for: shift
{keeps}steps:
  first: {{confirm: Is it so?, by: what you see}}
  second: {{confirm: Is it so now?, by: what you see}}
"""
ASKING = PROCEDURE.replace("    sign: I have looked at everything.\n", "    needs: [asked-once]\n    sign: I have looked at everything.\n")


def keeping(keeps):
    library = library_with(every_kind=ASKING, gates__asked_once=GATE.format(keeps=keeps))
    return compile_chart(make_plan(library, "every-kind"))


def test_an_answer_that_is_kept_is_looser_and_more_that_ends_it_is_stricter():
    none, one, two = keeping(""), keeping("keeps: {first: [worker changed]}\n"), keeping("keeps: {first: [worker changed, left site]}\n")
    assert any("now keeps the answer to 'first'" in c.words for c in difference(none, one).of(L))
    assert any("no longer keeps the answer to 'first'" in c.words for c in difference(one, none).of(S))
    assert any("now asks 'first' again after: left site" in c.words for c in difference(one, two).of(S))
    assert any("no longer asks 'first' again after: left site" in c.words for c in difference(two, one).of(L))


def test_steps_in_another_order_are_told():
    first, second = "  who-made-it: {fact: maker}\n", "  plate:\n    photo: Take a picture of the nameplate.\n"
    swapped = compiled(PROCEDURE.replace(first + second, second + first))
    assert any("'who-made-it' comes after 'plate'; it came before" in c.words for c in difference(compiled(), swapped).of(L))


def test_rows_that_differ_and_that_no_line_names_are_looser():
    table = compiled()
    fewer = replace(table, rows=table.rows[:-1])
    (change,) = difference(table, fewer).changes
    assert (change.weight, change.where) == (L, "moves")
