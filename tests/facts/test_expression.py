"""Limits and conditions: exact, typed, total, and never more permissive than what is known."""

from decimal import Decimal

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.language.evaluate import decide, evaluate, kind_of
from ohmward.language.expression import Call, ExpressionError, Truth, Undecided, names_in, parse_expression
from ohmward.trade.quantity import Quantity, parse_quantity

KINDS = {"it.to-ground": "voltage", "fact.hp": "power", "fact.kind": "text", "split": "text", "gear.ok": "truth", "n": "number"}
VALUES = {"it.to-ground": parse_quantity("120 V"), "fact.kind": "split", "split": "split", "gear.ok": True, "n": parse_quantity("2")}


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("0.9 * 208 V", "187.2 V"),
        ("208 V * 0.9", "187.2 V"),
        ("(1 - 6 %) * 7.5 uF", "7.05 uF"),  # Source: 7.5 uF ±6 % -> 7.05 (trade forum, secondary)
        ("(1 + 6 %) * 7.5 uF", "7.95 uF"),
        ("max(1 V, 2 V, 1.5 V)", "2 V"),
        ("min(1 V, 2 V)", "1 V"),
        ("abs(-3 V)", "3 V"),
        ("10 V / 2", "5 V"),
        ("10 V / 5 V", "2"),
        ("1 kV + 500 V", "1.5 kV"),
        ("- 5 V + 8 V", "3 V"),
    ],
)
def test_arithmetic_is_exact(text, value):
    assert str(evaluate(parse_expression(text), VALUES)) == value


@pytest.mark.parametrize(
    ("text", "truth"),
    [
        ("it.to-ground <= 300 V", Truth.YES),
        ("it.to-ground < 120 V", Truth.NO),
        ("it.to-ground >= 120 V and gear.ok", Truth.YES),
        ("not gear.ok or it.to-ground = 120 V", Truth.YES),
        ("fact.kind = split", Truth.YES),
        ("fact.kind != split", Truth.NO),
        ("it.to-ground != 120 V", Truth.NO),
        ("unknown.a < 3 V", Truth.UNDECIDED),
        ("unknown.a < 3 V and not gear.ok", Truth.NO),  # Kleene: no with anything is no
        ("unknown.a < 3 V or gear.ok", Truth.YES),
        ("unknown.a < 3 V or not gear.ok", Truth.UNDECIDED),
        ("unknown.a < 3 V and gear.ok", Truth.UNDECIDED),
        ("1 V / 0 > 3 V", Truth.UNDECIDED),
        ("1 V", Truth.UNDECIDED),
        ("min(unknown.a, 1 V) < 3 V", Truth.UNDECIDED),
        ("not unknown.ok", Truth.UNDECIDED),
        ("- unknown.a > 1 V", Truth.UNDECIDED),
        ("fact.kind < 3 V", Truth.UNDECIDED),
        ("gear.ok < 3 V", Truth.UNDECIDED),
        ("not fact.kind", Truth.UNDECIDED),
        ("it.to-ground < 3 A", Truth.UNDECIDED),
        ("fact.kind and gear.ok", Truth.UNDECIDED),
        ("max(fact.kind, 1 V) > 0 V", Truth.UNDECIDED),
    ],
)
def test_only_what_is_known_to_be_true_is_true(text, truth):
    assert decide(parse_expression(text), VALUES)[0] is truth


@pytest.mark.parametrize(
    ("text", "kind"),
    [("it.to-ground < 3 V", "truth"), ("n * 3 V", "voltage"), ("3 V / n", "voltage"), ("3 V / 1 V", "number"), ("fact.kind = split", "truth"), ("not gear.ok", "truth"), ("-n", "number"), ("max(n, 1)", "number"), ("gear.ok and gear.ok", "truth"), ("3 V - 1 V", "voltage"), ("n + n", "number"), ("3 V * n", "voltage"), ("abs(3 V)", "voltage"), ("max(3 V)", "voltage"), ("10 degC + 5 K", "temperature"), ("10 degC - 5 K", "temperature"), ("10 degC - 5 degC", "temperature difference"), ("10 degC < 5 degC", "truth")],
)
def test_kinds_are_known_before_any_value(text, kind):
    assert kind_of(parse_expression(text), KINDS) == kind


@pytest.mark.parametrize(
    ("text", "problem", "column"),
    [
        ("it.to-grund < 3 V", "'it.to-grund' is not a name known here", 0),
        ("it.to-ground < 3 A", "voltage and current do not go together", 13),
        ("it.to-ground * 3 V", "voltage times voltage is not part of the language", 13),
        ("3 A / 3 V", "current cannot be divided by voltage", 4),
        ("gear.ok + 1", "'+' does not go with truth and number", 8),
        ("fact.kind < split", "'<' does not go with text and text", 10),
        ("gear.ok and 3 V", "'and' joins conditions, not truth and voltage", 8),
        ("not 3 V", "'not' does not go with a voltage", 0),
        ("- gear.ok", "'-' does not go with a truth", 0),
        ("max(3 V, 3 A)", "max cannot take voltage, current", 0),
        ("abs(1, 2)", "abs cannot take number, number", 0),
    ],
)
def test_what_cannot_work_is_a_fault_with_its_place(text, problem, column):
    with pytest.raises(ExpressionError) as caught:
        kind_of(parse_expression(text), KINDS)
    assert (caught.value.problem, caught.value.column) == (problem, column)


@pytest.mark.parametrize("text", ["", "3 V <", "< 3", "1 < 2 < 3", "3 furlong", "foo(1)", "(1", "max(1", "1000000000000 V", "1" * 13, "1 2", "a $ b", "1 and", "x" * 301, "(" * 40 + "1" + ")" * 40, "not", "*"])
def test_what_is_no_expression_is_refused(text):
    with pytest.raises(ExpressionError):
        parse_expression(text)


def test_the_suggestion_names_the_nearest():
    with pytest.raises(ExpressionError) as caught:
        kind_of(parse_expression("it.to-grund < 3 V"), KINDS)
    assert caught.value.remedy == "did you mean 'it.to-ground'?"


def test_every_name_is_found_in_order():
    assert [n.name for n in names_in(parse_expression("a + max(b, -c) * 2 < d"))] == ["a", "b", "c", "d"]
    assert isinstance(parse_expression("max(1)"), Call)


@given(st.text(max_size=60))
def test_any_text_is_read_or_refused_and_nothing_else(text):
    try:
        tree = parse_expression(text)
    except ExpressionError:
        return
    result = evaluate(tree, {})
    assert isinstance(result, Quantity | bool | str | Undecided)


@given(st.decimals(min_value=0, max_value=1000, places=3), st.decimals(min_value=0, max_value=1000, places=3))
def test_comparison_is_that_of_the_numbers(a, b):
    less, _ = decide(parse_expression("a < b"), {"a": Quantity(a, "V"), "b": Quantity(b, "V")})
    assert less is (Truth.YES if Decimal(a) < Decimal(b) else Truth.NO)
