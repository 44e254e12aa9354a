"""Drills take every move that somebody at the prompt can cause, and each can be worked in a rehearsal, to a verified record."""

import json
from datetime import timedelta
from functools import reduce
from itertools import combinations
from operator import or_

import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.account.fold import fold
from ohmward.chart.compile import starts
from ohmward.chart.table import Move, advance, begin_at
from ohmward.errors import DONE
from ohmward.proof.cover import ahead_of, fewest
from ohmward.proof.drills import caused_by_a_person, drills_of
from ohmward.rehearsal.script import ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.tables import keep_table, key_of
from ohmward.terminal.drilling import lines_of
from ohmward.terminal.main import main
from ohmward.terminal.opening import open_run
from ohmward.work.decide import decide
from ohmward.work.draft import Refusal
from ohmward.work.intents import Answer, Begin, Found, GoOn, LeaveOut, MakeSafe
from tests.conftest import shipped, table_of
from tests.facts.shopping import DAY

NUMBERS = ("0", "0.5", "1", "2", "4", "5", "10", "12", "20", "24", "27", "30", "40", "60", "100", "110", "120", "130", "200", "250", "400", "700", "1500", "OL", "9000")


LARGE = {"after-a-trip", "run-motor-directly", "take-down-what-was-left"}


@pytest.mark.parametrize("name", ["cut-down", *(pytest.param(n, marks=[pytest.mark.long] if n in LARGE else []) for n in sorted(shipped().procedures))])
def test_drills_take_every_move_and_each_follows_the_table_to_an_end(name):
    table = table_of(name)
    found = drills_of(table)
    taken = set()
    for drill in found.drills:
        position = begin_at(table, dict(drill.start))
        for node, trigger in drill.moves:
            assert table.node(position).name == node
            assert caused_by_a_person(trigger)
            move = advance(table, position, trigger)
            assert isinstance(move, Move)
            position = move.position
            taken.add((node, trigger))
        assert table.node(position).kind == "end"
    assert taken == found.moves == every_move(table)
    assert found == drills_of(table)
    assert found.least <= len(found.drills) <= found.least * 1.15
    for number, drill in enumerate(found.drills):
        assert set(drill.moves) - {m for d in (*found.drills[:number], *found.drills[number + 1 :]) for m in d.moves}, "the others take all of it"


def every_move(table):
    """What people can cause, walked anew."""
    waiting, seen, found = list(starts(table)), set(), set()
    while waiting:
        position = waiting.pop()
        if position not in seen:
            seen.add(position)
            for trigger in filter(caused_by_a_person, table.offered(position)):
                move = advance(table, position, trigger)
                if isinstance(move, Move):
                    found.add((table.node(position).name, trigger))
                    waiting.append(move.position)
    return found


def walks_needed(count, onward):
    """The fewest walks from 0 that take every move, by trying all sets of walks without a round: the slow, plain way."""
    walks = [()]
    for walk in walks:  # grows as walks grow
        at = onward[walk[-1]][1] if walk else 0
        walks += [(*walk, n) for n, (source, _) in enumerate(onward) if source == at]
    taken = {frozenset(w) for w in walks}
    for size in range(count):
        if any(len(frozenset().union(*some)) == count for some in combinations(taken, size)):
            return size
    return count


@given(st.lists(st.tuples(st.integers(0, 4), st.integers(1, 5)).filter(lambda e: e[0] < e[1]), min_size=1, max_size=7, unique=True))
def test_no_set_of_walks_takes_every_move_with_fewer_than_the_bound(edges):
    reached = {0}
    for source, to in sorted(edges):
        if source in reached:
            reached.add(to)
    edges = sorted(e for e in edges if e[0] in reached)
    onward = {p: [(n, to) for n, (source, to) in enumerate(edges) if source == p] for p in range(6)}
    ahead = ahead_of(onward)
    for position, ways in onward.items():
        assert ahead[position] == reduce(or_, (1 << n | ahead[to] for n, to in ways), 0)
    assert fewest(len(edges), onward, ahead) == walks_needed(len(edges), edges)


def test_moves_on_a_round_are_taken_by_one_walk_and_no_moves_by_none():
    around = {0: [(0, 1), (1, 0)], 1: [(2, 0)]}
    assert fewest(3, around, ahead_of(around)) == 1
    assert fewest(0, {0: []}, {0: 0}) == 0


def said_for(session, outcome):
    """What somebody would say so that this outcome comes of it; None when nothing that was tried does."""
    view, account = session.view(), session.account
    points = max(1, len(view.several) or len(view.points))
    words = (outcome, "done", "cannot", "two people", "P-09 and a tag", *account.opened["gear"], *account.opened["people"], *NUMBERS)
    for text in words:
        for said in ((text,) * points, (NUMBERS[0],) * (points - 1) + (text,)):
            drafts = decide(account, Answer(step=view.step, said=said), view, now=session.clock())
            if not isinstance(drafts, Refusal) and drafts[-1].outcome == outcome:
                return said
    return None


def intent_for(session, trigger):
    """The intent that makes a move in a real session, None when it cannot be made on this job."""
    word, _, rest = trigger.partition("@")
    step = session.view().step
    match word:
        case "begin":
            return Begin(step=step)
        case "found":
            return Found(words="a second cable under the floor")
        case "go-on":
            return GoOn(person="P-03", why="looked at")
        case "make-safe":
            return MakeSafe(person="P-03", why="not today")
        case "leave-out":
            return LeaveOut(person="P-03", why="it is not on this machine")
        case _:
            said = said_for(session, rest.rpartition("=")[2])
            return Answer(step=step, said=said) if said else None


def worked(folder, name, drill):
    """Works a drill in a rehearsal as far as it goes: what is in use already answers by itself, and is passed over."""
    make_shop(folder, DAY.date())
    shop = open_shop(str(folder))
    files, _ = shop.files()
    keep_table(folder, key_of(files, name), table_of(name))
    clock = ScriptClock(lambda: DAY)
    session = open_run(shop, folder / "job-proving-fan.yaml", name, clock, rehearsal=True)
    moves = list(drill.moves)
    for _ in range(3 * len(moves)):
        if session.account.ended:
            break
        node = session.account.node
        while moves and moves[0][0] != node:
            moves.pop(0)
        if not moves:
            break
        clock.offset += timedelta(seconds=61)  # what is to be waited for is over
        intent = intent_for(session, moves.pop(0)[1])
        if intent is None or not session.apply(intent).taken:
            break
    return session.account


@pytest.mark.long
@pytest.mark.parametrize(("name", "share"), [("energized-load-test", 0.9)])
def test_the_drills_of_a_shipped_procedure_are_worked_through_the_sessions_own_door(tmp_path, name, share):
    """Not every move can be made on one job: what is in use answers by itself, a reading may have no value in a band."""
    table = table_of(name)
    found = drills_of(table)
    wanted = {trigger for _, trigger in found.moves}
    taken, ended = set(), 0
    for number, drill in enumerate(found.drills):
        folder = tmp_path / str(number)  # each on a machine on which nobody left anything
        folder.mkdir()
        account = worked(folder, name, drill)
        again = fold(account.entries)
        assert not again.impossible
        assert again.node == account.node
        taken |= {e.trigger for e in account.entries}
        ended += account.ended
    assert ended
    assert len(wanted & taken) >= share * len(wanted), sorted(wanted - taken)


def test_check_lists_the_drills_as_answers_files_to_fill_in(tmp_path, capsys, monkeypatch):
    monkeypatch.chdir(tmp_path)
    assert main(["check", "energized-load-test", "--drills"]) == DONE
    shown = capsys.readouterr().out
    table = table_of("energized-load-test")
    found = drills_of(table)
    drills = found.drills
    assert f"{len(drills)} drills take each of {len(found.moves)} moves at least once; at least {found.least} are needed" in shown
    parts = shown.split(", drill ")
    assert len(parts) == len(drills) + 1
    lines = read_script("\n".join(x for x in parts[1].splitlines()[1:] if not x.startswith("#")).encode(), "a.yaml")
    answered = [t for _, t in drills[0].moves if not t.startswith("begin@")]
    assert len(lines) == len(answered)
    assert main(["check", "energized-load-test", "--drills", "--json"]) == DONE
    plain = json.loads(capsys.readouterr().out)
    assert [len(d["moves"]) for d in plain[0]["drills"]] == [len(d.moves) for d in drills]


@pytest.mark.long
@pytest.mark.parametrize("name", ["isolate", "take-down-what-was-left"])
def test_a_drill_names_what_is_asked_as_the_session_and_its_answers_files_do(name):
    table = table_of(name)
    things = {*table.data["devices"], *table.data["temporary"], "upstream", "left", "guard"}
    known = {*table.data["steps"], *(f"{kind}.{thing}" for kind in ("reconcile", "safe") for thing in things)}
    named = [json.loads(line.removeprefix("- step: ")) for d in drills_of(table).drills for line in lines_of(table, d) if line.startswith("- step: ")]
    assert any(n.startswith("safe.") for n in named)
    assert set(named) <= known
