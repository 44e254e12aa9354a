"""A table that nobody compiled: whatever is wrong in it is said, and nothing is decided by it."""

from dataclasses import replace

import pytest

from ohmward.chart.compile import starts
from ohmward.chart.layout import ALWAYS, NEVER, Layout, Variable
from ohmward.chart.rowcheck import check_exactly_one
from ohmward.chart.table import CHECK, NODE_MASK, STAY, Assign, Node, Refused, Row, Table, advance, begin_at
from ohmward.chart.usual import usual_way
from ohmward.errors import BrokenError
from ohmward.language.nodes import At
from ohmward.language.reader import Faults
from ohmward.proof.covering import Covering
from ohmward.proof.explore import Explorer
from ohmward.proof.forget import Everything, forgetter, reads_by_node
from ohmward.proof.obligations import Check, Obligations
from tests.conftest import table_of

NAME = "energized-load-test"


def with_rows(keep=lambda row: True, change=lambda row: row):
    table = table_of(NAME)
    return replace(table, rows=tuple(change(r) for r in table.rows if keep(r)))


def test_a_move_whose_rows_never_hold_is_refused():
    broken = with_rows(change=lambda r: replace(r, when=NEVER) if r.trigger == "pause" else r)
    assert advance(broken, starts(broken)[0], "pause") == Refused("no row is enabled")


def test_a_node_that_leads_nowhere_is_refused_and_no_run_begins_there():
    broken = with_rows(lambda r: not (r.at == "start" and r.trigger == ""))
    with pytest.raises(ValueError, match="start leads nowhere"):
        begin_at(broken, {})
    with pytest.raises(BrokenError, match="start: by itself: no row is enabled"):
        Covering(broken).way(0, "", table_of(NAME).layout.pack({}))


def test_nodes_that_go_on_by_themselves_for_ever_are_refused():
    broken = with_rows(change=lambda r: replace(r, to="start") if r.at == "start" and r.trigger == "" else r)
    with pytest.raises(ValueError, match="more than 64 moves by themselves"):
        begin_at(broken, {})
    with pytest.raises(BrokenError, match="more than 64 moves by themselves"):
        Covering(broken).way(0, "", table_of(NAME).layout.pack({}))


NO_RULES = Obligations(checks=(), orders=(), released=())


def made(nodes, rows, *more, follows=None, **start):
    """A table of one gate and what else it is given, by hand; nothing compiled it."""
    layout = Layout((Variable("bound", ("(nothing)", "a step")), Variable("gate g", ("not held", "held")), *more))
    consequences = follows(layout) if follows else ()
    table = Table(procedure="p", revision=1, layout=layout, nodes=nodes, rows=rows(layout), consequences=consequences, start=start, free=(), data={})
    check_exactly_one(table)
    return table


def searched(table, *, plain=False, asked=NO_RULES, forget=None):
    """What a search finds from the table's beginning."""
    return Explorer(table, asked, forget or Everything(), plain=plain).run([begin_at(table, {})])


def reached(table, **how):
    """Where a search finds that a run can stand."""
    return {table.node(p).name for p in searched(table, **how).positions}


def test_a_way_of_too_many_moves_is_refused_also_where_the_rest_of_it_was_gone_before():
    """As `advance` does, whose limit this is: 63 moves by themselves after the one that is made."""
    last = 90
    nodes = (Node(name="ask a", kind="ask"), *(Node(name=f"c{n}", kind="check", waits=False) for n in range(last)), Node(name="done", kind="end"))

    def rows(first):
        onward = (Row(at=f"c{n}", trigger="", when=ALWAYS, to=f"c{n + 1}" if n + 1 < last else "done") for n in range(last))
        return lambda _layout: (*(Row(at="ask a", trigger=t, when=ALWAYS, to=f"c{n}") for t, n in first.items()), *onward)

    good = made(nodes, rows({"short": 40, "long": last - 63}))
    assert reached(good, plain=True) == {"ask a", "done"}
    bad = made(nodes, rows({"short": 40, "long": last - 64}))
    assert advance(good, begin_at(good, {}), "long") != Refused("more than 64 moves by themselves")
    assert advance(bad, begin_at(bad, {}), "long") == Refused("more than 64 moves by themselves")
    with pytest.raises(BrokenError, match="ask a: more than 64 moves by themselves"):
        reached(bad, plain=True)


@pytest.mark.parametrize("takes", [True, False])
def test_events_that_take_the_same_and_lead_elsewhere_are_tried_each(takes):
    """The first stays where it is, the second asks what the node needs: no compiled chart has both."""
    nodes = (Node(name="check a", kind="check", waits=False), Node(name="ask a", kind="ask", check="check a"), Node(name="gone", kind="end"))

    def rows(layout):
        lost = (Assign(ALWAYS, (("gate g", "not held"),)),)
        held = layout.being("gate g", "held")
        events = {"e1": STAY, "e2": CHECK if takes else STAY}
        return (
            Row(at="check a", trigger="", when=held, to="ask a"),
            Row(at="check a", trigger="", when=layout.opposite(held), to="gone"),
            *(Row(at="any ask", trigger=e, when=ALWAYS, to=to, assigns=lost) for e, to in events.items()),
        )

    table = made(nodes, rows, **{"gate g": "held"})
    assert Covering(table).exact
    assert reached(table, plain=False) == reached(table, plain=True) == ({"ask a", "gone"} if takes else {"ask a"})


def test_an_event_after_which_a_check_changes_something_is_refused_and_not_counted_as_a_loss():
    """A position stands for those after an event only where the event takes away and nothing else."""
    nodes = (Node(name="check a", kind="check", waits=False), Node(name="ask a", kind="ask", check="check a"))

    def rows(also):
        lost = (Assign(ALWAYS, (("gate g", "not held"),)),)
        return lambda layout: (
            Row(at="check a", trigger="", when=layout.being("gate g", "held"), to="ask a"),
            Row(at="check a", trigger="", when=layout.being("gate g", "not held"), to="ask a", assigns=also),
            Row(at="any ask", trigger="e", when=ALWAYS, to=CHECK, assigns=lost),
        )

    seen = Variable("seen", ("no", "yes"))
    start = {"gate g": "held"}
    assert len(searched(made(nodes, rows(()), seen, **start)).positions) == 1
    bad = made(nodes, rows((Assign(ALWAYS, (("seen", "yes"),)),)), seen, **start)
    assert len(searched(bad, plain=True).positions) == 2
    with pytest.raises(BrokenError, match="ask a: e: more changes than what is lost"):
        searched(bad)


def test_a_rule_about_a_correction_at_one_node_is_looked_at_there():
    """It is tried once for all nodes that wait, and one move for all that are the same; a rule makes it another."""
    nodes = (Node(name="ask a", kind="ask"), Node(name="ask b", kind="ask"))

    def rows(_layout):
        return (
            Row(at="ask a", trigger="on", when=ALWAYS, to="ask b"),
            Row(at="ask b", trigger="on", when=ALWAYS, to="ask a"),
            Row(at="any ask", trigger="correct@a", when=ALWAYS, to="ask a"),
            Row(at="any ask", trigger="e", when=ALWAYS, to=STAY, assigns=(Assign(ALWAYS, (("gate g", "not held"),)),)),
        )

    table = made(nodes, rows, **{"gate g": "held"})
    checks = tuple(Check(rule=f"r {n.name}", node=n.name, trigger="correct@a", must=NEVER, words="w") for n in nodes)
    asked = Obligations(checks=checks, orders=(), released=())
    assert set(searched(table, asked=asked).breaches) == set(searched(table, asked=asked, plain=True).breaches) == {"r ask a", "r ask b"}


def test_what_is_bound_is_not_forgotten_where_what_follows_by_itself_reads_it():
    nodes = (Node(name="ask a", kind="ask"), Node(name="ask b", kind="ask"), Node(name="good", kind="end"), Node(name="bad", kind="end"))

    def rows(layout):
        seen = layout.being("seen", "yes")
        return (
            Row(at="ask a", trigger="on", when=ALWAYS, to="ask b", assigns=(Assign(ALWAYS, (("bound", "a step"),)),)),
            Row(at="ask b", trigger="on", when=seen, to="bad", assigns=(Assign(ALWAYS, (("wet", "yes"),)),)),
            Row(at="ask b", trigger="on", when=layout.opposite(seen), to="ask b", assigns=(Assign(ALWAYS, (("wet", "yes"),)),)),
            Row(at="ask b", trigger="off", when=ALWAYS, to="good"),
        )

    def follows(layout):
        both = layout.both(layout.being("bound", "a step"), layout.being("wet", "yes"))
        return (Assign(both, (("seen", "yes"),)),)

    table = made(nodes, rows, Variable("seen", ("no", "yes")), Variable("wet", ("no", "yes")), follows=follows)
    forget = forgetter(table, [begin_at(table, {})], {})
    assert reached(table, forget=forget) == reached(table) == {"ask a", "ask b", "good", "bad"}


def test_a_usual_way_that_stops_in_the_middle_is_told_with_its_move():
    table = table_of(NAME)
    first = table.node(starts(table)[0]).step
    dead_end = replace(table, nodes=(*table.nodes, Node(name="nowhere", kind="check", waits=False)))
    broken = replace(dead_end, rows=tuple(replace(r, to="nowhere") if r.trigger.startswith(f"answered@{first}=") else r for r in table.rows))
    with pytest.raises(ValueError, match=rf"ask {first}: answered@{first}=.*nowhere leads nowhere"):
        usual_way(broken)


def test_more_nodes_than_fit_into_a_position_are_refused():
    nodes = tuple(Node(name=f"n{n}", kind="ask") for n in range(NODE_MASK + 2))
    with pytest.raises(ValueError, match="4097 nodes; at most 4096 fit into a position"):
        Table(procedure="p", revision=1, layout=Layout((Variable("bound", ("(nothing)",)),)), nodes=nodes, rows=(), consequences=(), start={}, free=(), data={})


def test_a_condition_in_words_that_is_none_is_refused():
    layout = Layout((Variable("v", ("a", "b")),))
    for words in ([[["v", "a"]]], [[[3, ["a"]]]]):
        with pytest.raises(ValueError, match=r"a condition is made of \[variable, \[values\]\]"):
            layout.from_words(words)


def test_a_check_at_a_node_that_the_table_does_not_have_is_a_fault_of_ours():
    check = Check(rule="r", node="doing nothing", trigger="", must=NEVER, words="w")
    with pytest.raises(BrokenError, match="a rule watches the node 'doing nothing', which this table does not have"):
        reads_by_node(table_of(NAME), Obligations(checks=(check,), orders=(), released=()))


def test_a_covering_over_events_that_do_more_than_take_away_is_not_exact():
    """Each is one way in which a table would not be what the reduction rests on."""
    table = table_of(NAME)
    gate = next(n for n in table.layout.values if n.startswith("gate "))
    held = table.layout.being(gate, "held")
    reading = replace(table.rows[0], assigns=(replace(table.consequences[0], when=held),))
    wins = replace(table.consequences[0], when=table.layout.being("bound", "(nothing)"), values=((gate, "held"),))
    both = replace(table.consequences[0], when=held, values=((f"device {next(iter(table.data['devices']))}", "unknown"),))
    assert Covering(table).exact
    assert not Covering(replace(table, rows=(*table.rows, reading))).exact
    assert not Covering(replace(table, consequences=(*table.consequences, wins))).exact
    assert not Covering(replace(table, consequences=(*table.consequences, both))).exact


def test_faults_that_end_reading_are_raised_at_once():
    faults = Faults("x.yaml", ("a: 1",), [])
    with pytest.raises(Exception, match=r"x.yaml:1:1: not-read"):
        faults.fail(At(1, 1), "not-read", "it could not be read", "look")
