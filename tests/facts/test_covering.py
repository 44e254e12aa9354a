"""The search that keeps one position for all that it may lapse to knows exactly the positions of the plain search."""

import random
from collections import Counter
from dataclasses import replace
from itertools import chain

import pytest

from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_BITS, NODE_MASK, advance
from ohmward.proof.covering import Covering
from ohmward.proof.explore import Explorer
from ohmward.proof.search import prepare, told_by
from ohmward.proof.story import tell
from ohmward.proof.verdict import prove
from tests.bench import proof as bench
from tests.conftest import cut, table_of
from tests.generated import files_of, legal

MOST = 1000  # states of the plain search; larger generated charts are counted and left out


def searches(table, library, *, covering=None, most=10**6):
    """Both searches over one table: what they do not agree in, the plain one, the covering one. None: too large."""
    whole = prepare(table, library)
    asked, forget = whole.asked, whole.forget
    plain = whole.explorer(plain=True).run(starts(table), most=most)
    if not plain.complete:
        return None
    whole.run(10**6)
    search = whole.last
    if whole.credit:  # found meanwhile: without it corrections would come with less
        plain = whole.explorer(plain=True).run(starts(table))
    if covering is not None:
        search = Explorer(table, asked, forget, covering=covering(table), credit=whole.credit)
        search.run(starts(table))
    return different(search, plain, forget), plain, search


def different(search, plain, forget):
    """What the two searches do not agree in: positions, and states whose observers nothing kept is as bad as."""
    below = {}
    for kept, seen in search.found.kept:
        for position in Covering.below(search.covering, kept):
            below.setdefault(forget(position), set()).add(seen)
    known = {}
    for position, seen in plain.kept:
        known.setdefault(position, set()).add(seen)
    wrong = list(below.keys() ^ known.keys())
    for position in below.keys() & known.keys():
        missing = [s for s in known[position] if not any(search.observers.no_better(t, s) for t in below[position])]
        invented = [t for t in below[position] if not any(search.observers.no_better(s, t) for s in known[position])]
        wrong += [position] if missing or invented else []
    return wrong


class BySubset(Covering):
    """Unsound: a position stands for every one at its node that holds fewer gates, however they went."""

    def covers(self, more, less):
        return not self.bits(less) & ~self.bits(more)


class ByNode(Covering):
    """Unsound: what the move itself sets, and where nothing can be lost any more, is not looked at."""

    def _go(self, *where):
        return replace(super()._go(*where), pinned=0)

    def last(self, node):
        return 0

    def _standing(self, node, bits):
        return 0, 0, 0


@pytest.mark.long
@pytest.mark.parametrize("large", [300, pytest.param(2000, marks=pytest.mark.longer)])
def test_on_500_generated_charts_both_searches_know_the_same_states_and_break_the_same_rules(large):
    """The first seeds make larger procedures, the others smaller ones."""
    counts = Counter()
    fooled = Counter()
    for seed, library, table in chain(legal(range(large)), legal(range(large, 2500), small=True)):
        both = searches(table, library, most=MOST)
        if both is None:
            counts["too large"] += 1
            continue
        wrong, plain, search = both
        assert wrong == [], seed
        assert set(search.found.breaches) == set(plain.breaches), seed
        counts["broken" if plain.breaches else "proved"] += 1
        counts.update({f"rule {r}": 1 for r in plain.breaches})
        counts.update({f"kind {n.kind}": 1 for n in table.nodes})
        counts["reduced"] += len(search.found.kept) < len(plain.kept)
        if seed < 90:
            fooled.update(k.__name__ for k in (BySubset, ByNode) if differs(table, library, k))
        if counts["broken"] + counts["proved"] == 500:
            break
    assert counts["broken"] + counts["proved"] == 500, counts
    assert min(counts["broken"], counts["proved"], counts["reduced"]) >= 100, counts
    assert len([c for c in counts if c.startswith("rule ")]) >= 7, counts
    assert {f"kind {k}" for k in ("ask", "doing", "late", "hold", "reconcile", "safe", "safe-hands", "safe-doing", "end")} <= set(counts)
    assert fooled["BySubset"] >= 3, fooled
    assert fooled["ByNode"] >= 3, fooled


def differs(table, library, kind):
    """Whether the comparison catches an unsound covering on this table."""
    wrong, plain, search = searches(table, library, covering=kind, most=MOST)
    return bool(wrong) or set(search.found.breaches) != set(plain.breaches)


def test_on_the_cut_both_searches_know_the_same_states():
    wrong, plain, search = searches(table_of("cut-down"), cut())
    assert wrong == []
    assert search.covering.exact
    assert len(search.found.kept) < len(plain.kept) / 2


def anywhere(table, chance, count):
    """Positions of a random walk, and beside them positions that nothing leads to: any node, any values."""
    walked = starts(table)[0]
    asked = [number for number, node in enumerate(table.nodes) if node.waits]
    for _ in range(count):
        yield walked
        yield table.place(table.nodes[chance.choice(asked)].name, {v.name: chance.choice(v.values) for v in table.layout.variables})
        offered = [t for t in table.packed[walked & NODE_MASK] if t]
        walked = advance(table, walked, chance.choice(offered)).position if offered else chance.choice(starts(table))


@pytest.mark.parametrize("name", ["isolate", "after-a-trip"])
def test_a_move_that_is_remembered_is_the_move_that_the_table_makes_wherever_it_is_asked(name):
    table, chance = table_of(name), random.Random(1010)
    covering, moves = Covering(table), Counter()
    for position in anywhere(table, chance, 800):
        node, bits = position & NODE_MASK, position >> NODE_BITS
        for trigger in filter(None, table.packed[node]):
            move, way = advance(table, position, trigger), covering.way(node, trigger, bits)
            assert ((bits & way.keep | way.put) << NODE_BITS | way.node, way.marks) == (move.position, move.marks), trigger
            moves[table.nodes[node].kind] += 1
    assert moves.total() > 20_000
    assert len(moves) >= 7, moves


@pytest.mark.long
def test_the_way_to_harm_is_a_shortest_one():
    checked = 0
    for _, library, table in legal(range(1, 61, 2)):
        both = searches(table, library, most=MOST)
        if both is None or not both[1].breaches:
            continue
        stories = {s.rule: len(s.lines) for s in prove(table, library).stories}
        plain = both[1].breaches
        assert stories.keys() >= plain.keys()
        early = {rule for rule, b in plain.items() if told_by(b)[0]}
        wanted = {rule: len(tell(table, library.rules[rule], b).lines) for rule, b in plain.items()}
        assert all(stories[rule] == wanted[rule] for rule in wanted.keys() - early)
        assert all(stories[rule] >= wanted[rule] for rule in early)  # longer where a possible way was found
        checked += bool(wanted.keys() - early)
    assert checked >= 5


def test_a_generated_library_is_the_same_for_the_same_seed():
    assert files_of(7) == files_of(7)
    assert files_of(7) != files_of(8)


def test_gates_that_lapse_do_not_double_what_is_kept():
    """16 gates that lapse at any moment: 2^16 sets of them at each of 60 steps, and a few states kept."""
    library = bench.chain(60, 16)
    table = compile_chart(make_plan(library, "chain"))
    found = prepare(table, library).run(10**6)
    assert found.complete
    assert len(found.kept) < 5 * len(table.nodes)
