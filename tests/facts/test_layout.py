"""The condition algebra against truth tables."""

from itertools import product

from hypothesis import given
from hypothesis import strategies as st

from ohmward.chart.layout import ALWAYS, NEVER, Layout, Variable, exactly_one, holds

LAYOUT = Layout((Variable("a", ("0", "1")), Variable("b", ("0", "1", "2")), Variable("c", ("0", "1"))))
EVERY = [dict(zip("abc", values, strict=True)) for values in product("01", "012", "01")]
names = st.sampled_from([("a", "0"), ("a", "1"), ("b", "0"), ("b", "2"), ("c", "1")])
conditions = st.lists(st.lists(names, min_size=1, max_size=3), max_size=3).map(lambda cubes: LAYOUT.either(*(LAYOUT.both(*(LAYOUT.being(n, v) for n, v in cube)) for cube in cubes)))


def truth(condition):
    return [holds(condition, LAYOUT.pack(v)) for v in EVERY]


@given(conditions, conditions)
def test_and_or_not_mean_what_they_say(p, q):
    assert truth(LAYOUT.both(p, q)) == [a and b for a, b in zip(truth(p), truth(q), strict=True)]
    assert truth(LAYOUT.either(p, q)) == [a or b for a, b in zip(truth(p), truth(q), strict=True)]
    assert truth(LAYOUT.opposite(p)) == [not a for a in truth(p)]


@given(conditions)
def test_words_come_back_as_the_same_condition(p):
    assert LAYOUT.from_words(LAYOUT.words(p)) == p


@given(conditions, st.sampled_from("012"))
def test_judged_as_if_already_changed(p, value):
    changed = [holds(p, LAYOUT.pack({**v, "b": value})) for v in EVERY]
    assert truth(LAYOUT.after(p, {"b": value})) == changed


@given(conditions)
def test_without_holds_at_least_as_often(p):
    assert all(b or not a for a, b in zip(truth(p), truth(LAYOUT.without(p, ("b",))), strict=True))


@given(st.lists(conditions, min_size=1, max_size=4))
def test_exactly_one_agrees_with_counting(rows):
    counts = [sum(holds(c, LAYOUT.pack(v)) for c in rows) for v in EVERY]
    found = exactly_one(LAYOUT, rows)
    assert (found is None) == all(n == 1 for n in counts)
    if found is not None:
        n = sum(holds(c, LAYOUT.pack(found[1])) for c in rows)
        assert (found[0] == "no row") == (n == 0)


def test_reading_is_the_opposite_of_packing():
    for values in EVERY:
        assert LAYOUT.read(LAYOUT.pack(values)) == values
    assert holds(ALWAYS, LAYOUT.pack({}))
    assert not holds(NEVER, LAYOUT.pack({}))
