"""Laws that hold for every value: change of unit, order, permutation, and that a span holds what it must."""

from decimal import Decimal
from itertools import product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.formula import Refused, Turn
from ohmward.trade.quantity import UNITS, Quantity, QuantityError, dimension_of
from ohmward.trade.span import Interval, added, ends_of, holds, magnitude, outermost, ratio, scaled

pytestmark = pytest.mark.long  # nothing here walks a line that no other fact walks

# unit and believable range in which each kind of input is drawn
DRAWN = {
    "voltage": ("V", "0.5", "900"), "current": ("A", "0.1", "300"), "resistance": ("Mohm", "0.1", "4000"), "capacitance": ("uF", "1", "90"),
    "number": ("%", "1", "5"), "apparent power": ("VA", "10", "500000"), "power": ("hp", "0.5", "10"), "frequency": ("Hz", "60", "60"), "time": ("s", "0.01", "100"),
    "length": ("ft", "2", "300"), "wire area": ("cmil", "1000", "90000"), "temperature": ("degF", "56", "75"), "temperature difference": ("delta-degF", "1", "30"),
    "gauge pressure": ("psig", "50", "250"), "airflow": ("cfm", "330", "440"), "energy": ("J", "1", "9"), "speed": ("rpm", "700", "3600"),
}
WHOLE = {"runs", "trips", "answered", "closings", "category", "needed"}


def drawn(data, wanted) -> Quantity | str:
    if wanted.kind == "text":
        return data.draw(st.sampled_from(wanted.words))
    if wanted.name in WHOLE:
        return Quantity(Decimal(data.draw(st.integers(1, 4))))
    if wanted.name == "year":
        return Quantity(Decimal(data.draw(st.integers(1950, 2020))))
    if wanted.name == "service-factor":
        return Quantity(data.draw(st.decimals("1", "1.5", places=2)))
    unit, low, high = DRAWN[wanted.kind.split(" or ")[0]]
    return Quantity(data.draw(st.decimals(low, high, places=3)), unit)


def same_amounts(value: Quantity) -> list[Quantity]:
    """In every other unit where the change itself is exact: horsepower in watts with 28 digits is another power."""
    return [o for o in (value.to(u) for u in UNITS if dimension_of(u) == value.dimension) if o.base == value.base]


def computed(formula, values):
    try:
        return formula(*values)
    except Refused:
        return None


@pytest.mark.parametrize("name", FORMULAS)
@settings(max_examples=40)
@given(data=st.data())
def test_a_change_of_unit_changes_no_result(name, data):
    formula = FORMULAS[name]
    values = [drawn(data, i) for i in formula.inputs]
    other = [v if isinstance(v, str) else data.draw(st.sampled_from(same_amounts(v))) for v in values]
    first, second = computed(formula, values), computed(formula, other)
    if isinstance(first, Quantity):
        assert abs(second.base - first.base) <= abs(first.base) * Decimal("1e-20")
    else:
        assert first == second


@pytest.mark.parametrize("name", FORMULAS)
@settings(max_examples=40)
@given(data=st.data())
def test_a_span_holds_the_result_of_every_value_within_it(name, data):
    formula = FORMULAS[name]
    loose = [i for i, wanted in enumerate(formula.inputs) if wanted.turn is not Turn.EXACT]
    if not loose:
        return
    values = [drawn(data, i) for i in formula.inputs]
    spans, inside = list(values), list(values)
    for i in loose:
        width = data.draw(st.decimals("0", "0.2", places=3)) * abs(values[i].value)
        spans[i] = Interval(Quantity(values[i].value - width, values[i].unit), Quantity(values[i].value + width, values[i].unit))
        inside[i] = Quantity(values[i].value + width * data.draw(st.decimals("-1", "1", places=3)), values[i].unit)
    whole = computed(formula, spans)
    if whole is None:
        return  # refused: nothing is claimed
    one = computed(formula, inside)
    assert one is not None, "a value within the span is refused although the span is not"
    if isinstance(one, Quantity):
        low, high = ends_of(whole)
        slack = abs(one.base) * Decimal("1e-20")
        assert low.base - slack <= one.base <= high.base + slack
    else:
        assert one == whole


@pytest.mark.parametrize("name", [n for n, f in FORMULAS.items() if all(i.turn is Turn.OWN for i in f.inputs)])
@given(data=st.data())
def test_an_unbalance_does_not_rest_on_the_order_of_its_values(name, data):
    values = [drawn(data, i) for i in FORMULAS[name].inputs]
    assert computed(FORMULAS[name], values) == computed(FORMULAS[name], data.draw(st.permutations(values)))


amounts = st.decimals("-50", "50", places=2).map(lambda d: Quantity(d, "V"))


@st.composite
def spans(draw):
    ends = sorted((draw(amounts) for _ in range(2)), key=lambda q: q.base)
    return Interval(*ends)


@given(spans(), spans(), st.decimals("0", "1", places=3), st.decimals("0", "1", places=3))
def test_reckoning_with_spans_loses_no_value(left, right, s, t):
    a, b = (Quantity(i.low.value + (i.high.value - i.low.value) * p, "V") for i, p in ((left, s), (right, t)))

    def within(span, base):
        low, high = ends_of(span)
        return low.base <= base + Decimal("1e-20") and base - Decimal("1e-20") <= high.base

    assert within(added(left, right), a.base + b.base)
    assert within(added(left, right, -1), a.base - b.base)
    assert within(magnitude(left), abs(a.base))
    assert within(outermost([left, right], most=True), max(a.base, b.base))
    assert within(outermost([left, right], most=False), min(a.base, b.base))
    plain = Interval(Quantity(right.low.value), Quantity(right.high.value))
    assert within(scaled(left, plain), a.base * b.base)
    if right.low.value > 0 or right.high.value < 0:
        assert within(ratio(left, right), a.base / b.base)
        assert within(scaled(left, plain, over=True), a.base / b.base)
    else:
        with pytest.raises(QuantityError, match="division by zero"):
            ratio(left, right)


@given(spans(), spans(), st.sampled_from(["<", "<=", ">", ">=", "=", "!="]), st.decimals("0", "1", places=2), st.decimals("0", "1", places=2))
def test_a_comparison_is_told_only_where_every_pair_agrees(left, right, op, s, t):
    told = holds(op, left, right)
    a, b = (i.low.value + (i.high.value - i.low.value) * p for i, p in ((left, s), (right, t)))
    plain = {"<": a < b, "<=": a <= b, ">": a > b, ">=": a >= b, "=": a == b, "!=": a != b}[op]
    assert told is None or told is plain


@pytest.mark.parametrize(
    ("op", "left", "right", "told"),
    [
        ("<=", (1, 2), (2, 3), True), ("<", (1, 2), (2, 3), None), ("<", (2, 3), (1, 2), False), ("<=", (2, 3), (1, 2), None), (">", (2, 3), (1, 2), None),
        (">=", (2, 3), (1, 2), True), ("=", (2, 2), (2, 2), True), ("=", (1, 2), (2, 2), None), ("=", (1, 1.9), (2, 2), False), ("!=", (1, 1.9), (2, 2), True),
        ("!=", (2, 2), (2, 2), False), ("!=", (1, 2), (2, 2), None), (">", (1, 2), (2, 3), False), (">=", (1, 2), (2, 3), None),
    ],
)  # fmt: skip
def test_spans_that_touch_are_told_at_the_touching_end(op, left, right, told):
    first, second = (Interval(*(Quantity(Decimal(str(v)), "V") for v in ends)) for ends in (left, right))
    assert holds(op, first, second) is told


SMALL = [(low, high) for low in range(4) for high in range(low, 4)]
PLAIN = {"<": lambda a, b: a < b, "<=": lambda a, b: a <= b, ">": lambda a, b: a > b, ">=": lambda a, b: a >= b, "=": lambda a, b: a == b, "!=": lambda a, b: a != b}


@pytest.mark.parametrize("op", PLAIN)
def test_a_comparison_of_small_spans_is_what_all_their_points_say(op):
    for left in SMALL:
        for right in SMALL:
            points = ([Decimal(n) / 2 for n in range(2 * low, 2 * high + 1)] for low, high in (left, right))
            said = {PLAIN[op](a, b) for a, b in product(*points)}
            first, second = (Interval(*(Quantity(Decimal(v), "V") for v in ends)) for ends in (left, right))
            assert holds(op, first, second) is (said.pop() if len(said) == 1 else None), (left, op, right)


@pytest.mark.parametrize(
    ("span", "without_sign"),
    [((-3, 2), (0, 3)), ((-3, "0.5"), (0, 3)), (("-0.5", 3), (0, 3)), ((-3, -1), (1, 3)), (("0.5", 2), ("0.5", 2)), ((0, 2), (0, 2)), ((-2, 0), (0, 2)), ((-2, -2), (2, 2))],
)
def test_a_span_without_its_sign_reaches_from_the_nearest_to_the_furthest_from_zero(span, without_sign):
    low, high = ends_of(magnitude(Interval(*(Quantity(Decimal(v), "V") for v in span))))
    assert (low, high) == tuple(Quantity(Decimal(v), "V") for v in without_sign)


def test_an_operator_that_is_no_comparison_is_no_comparison():
    with pytest.raises(KeyError):
        holds("~", Quantity(Decimal(1)), Quantity(Decimal(1)))
