"""A second opinion on the proof: SPIN explores the exported chart and finds the same states and the same broken rules."""

from collections import Counter

import pytest

from ohmward.chart.compile import starts
from ohmward.errors import DONE
from ohmward.proof.forget import Everything
from ohmward.proof.obligations import obligations
from ohmward.proof.promela import to_promela
from ohmward.proof.search import Search, prepare
from ohmward.terminal.main import main
from tests.checker import run, spin
from tests.conftest import cut, shipped, table_of
from tests.facts.test_covering import different
from tests.generated import legal

MOST = 3000  # states without forgetting; larger generated charts are left out, and counted


def both(table, library, *, most=10**7):
    """What this project's plain search knows of a chart, nothing forgotten, and what SPIN knows. None: too large."""
    asked = obligations(table, library.rules, frozenset(library.gates))
    whole = Search(table, asked, Everything(), starts(table))
    found = whole.explorer(plain=True).run(starts(table), most=most)
    if not found.complete:
        return None
    whole.run(10**7)
    if whole.credit:  # found meanwhile: without it corrections would come with less
        found = whole.explorer(plain=True).run(starts(table))
    return (len(found.kept), set(found.breaches)), spin(table, asked, whole.credit)


def agreed(seeds, wanted):
    """Holds both against each other on generated charts until `wanted` were decided; how often each verdict came."""
    counts = Counter()
    for seed, library, table in legal(seeds, small=True):
        pair = both(table, library, most=MOST)
        if pair is None:
            counts["too large"] += 1
            continue
        ours, theirs = pair
        assert ours == theirs, seed
        counts["broken" if ours[1] else "proved"] += 1
        counts.update({f"rule {r}": 1 for r in ours[1]})
        counts.update({f"kind {n.kind}": 1 for n in table.nodes})
        if counts["broken"] + counts["proved"] == wanted:
            break
    assert counts["broken"] + counts["proved"] == wanted, counts
    assert min(counts["broken"], counts["proved"]) >= wanted / 5, counts
    assert len([c for c in counts if c.startswith("rule ")]) >= 6, counts
    assert {f"kind {k}" for k in ("ask", "doing", "late", "hold", "reconcile", "safe", "safe-hands", "safe-doing", "end")} <= set(counts), counts
    return counts


@pytest.mark.long
def test_spin_stores_the_same_number_of_states_and_breaks_the_same_rules_on_200_generated_charts():
    agreed(range(5000, 8000), 200)


@pytest.mark.long
def test_spin_agrees_on_the_cut():
    ours, theirs = both(table_of("cut-down"), cut())
    assert ours == theirs
    assert ours[0] > 20_000


@pytest.mark.longer
def test_spin_agrees_on_a_shipped_chart_state_by_state():
    ours, theirs = both(table_of("isolate"), shipped())
    assert ours == theirs
    assert ours[0] > 80_000
    assert ours[1] == set()


def forgetting(table, library):
    """As `both`, with what nothing ahead reads forgotten in both: an order of magnitude fewer states."""
    search = prepare(table, library)
    search.run(10**7)
    found = search.explorer(plain=True).run(starts(table))
    return (len(found.kept), set(found.breaches)), spin(table, search.asked, search.credit, search.forget)


@pytest.mark.long
@pytest.mark.parametrize("name", shipped().procedures)
def test_both_searches_and_spin_know_the_same_states_of_every_shipped_chart_to_its_end_and_break_no_rule(name):
    """Both searches position by position, SPIN by how many there are."""
    table = table_of(name)
    search = prepare(table, shipped())
    found = search.run(10**7)
    plain = search.explorer(plain=True).run(starts(table))
    assert different(search.last, plain, search.forget) == []
    assert not found.breaches
    assert not plain.breaches
    assert len(found.kept) < len(plain.kept) * 0.7
    assert spin(table, search.asked, search.credit, search.forget) == (len(plain.kept), set())


@pytest.mark.long
def test_spin_agrees_on_generated_charts_in_which_what_nothing_reads_is_forgotten():
    counts = Counter()
    for seed, library, table in legal(range(8000, 9000), small=True):
        ours, theirs = forgetting(table, library)
        assert ours == theirs, seed
        counts["broken" if ours[1] else "proved"] += 1
        if min(counts["broken"], counts["proved"]) == 10:
            break
    assert min(counts["broken"], counts["proved"]) == 10, counts


@pytest.mark.longer
def test_spin_agrees_on_2000_generated_charts():
    agreed(range(10_000, 40_000), 2000)


def test_draw_writes_the_model_that_spin_reads(tmp_path, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["draw", "energized-load-test", "-o", "chart.pml"]) == DONE
    assert run(tmp_path, "spin", "-a", "chart.pml") == ""
    assert (tmp_path / "pan.c").stat().st_size > 0


def test_the_model_says_each_variable_each_rule_and_each_order_once():
    table, library = table_of("cut-down"), cut()
    search = prepare(table, library)
    search.run(10**6)
    text = to_promela(table, search.asked, search.credit)
    for variable in table.layout.variables:
        assert text.count(f"/* {variable.name}: ") == 1
    for rule in {c.rule for c in search.asked.checks} | {o.rule for o in search.asked.orders}:
        assert f"broken: {rule}" in text
    assert text == to_promela(table, search.asked, search.credit)


def test_the_smaller_model_sets_to_rest_exactly_what_the_search_forgets():
    table, library = table_of("cut-down"), cut()
    search = prepare(table, library)
    found = search.run(10**6)
    rest = {v.name: v.values[0] for v in table.layout.variables}
    forgotten = {}
    for node, bound, names in search.forget.told():
        forgotten.setdefault(table.nodes[node].name, {})[bound] = set(names)
    for position in found.positions:
        here = forgotten[table.node(position).name]
        names = here.get(table.value(position, "bound"), here.get("", set()))
        assert all(table.value(position, name) == rest[name] for name in names)
        changed = {n for n in rest if n not in names}
        assert {n: table.value(search.forget(position), n) for n in changed} == {n: table.value(position, n) for n in changed}
    whole, smaller = (to_promela(table, search.asked, search.credit, f) for f in (None, search.forget))
    assert smaller.count(" = 0;") > whole.count(" = 0;")
    assert smaller.startswith(whole[: whole.index("active proctype")])
    assert smaller == to_promela(table, search.asked, search.credit, search.forget)
