"""Three witnesses that the table means what the files say: an oracle, a second machine, a ghost world."""

import random
from collections import deque

import pytest
import yaml

from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import NODE_MASK, Move, advance
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.proof.forget import forgetter, reads_by_node
from ohmward.proof.obligations import obligations
from ohmward.work.machine import Mirror
from tests.conftest import ROOT, cut, shipped, table_of
from tests.generated import files_of, legal
from tests.ghost import Being, Ghost
from tests.oracle import Oracle

pytestmark = pytest.mark.long  # the oracle and the ghost walk whole charts


def as_oracle_says(table, position):
    return {"node": table.node(position).name, **table.values(position)}


def as_plain(said):
    return sorted(said.items())


def alike(triggers, oracle, world, answered):
    """What both offer: the same, but for corrections. The oracle offers all; the table each that this walk can ask for."""
    said = set(oracle.offered(world))
    corrections = {t for t in said if t.startswith("correct@")}
    wanted = {f"correct@{step}" for step in answered} & corrections
    return triggers - corrections == said - corrections and wanted <= triggers <= said


def answered_after(answered, trigger, table, position):
    """The steps that were answered once this move was made; what is held for a qualified person is no answer."""
    word, _, rest = trigger.partition("@")
    counts = word.startswith("answered") and table.node(position).kind != "hold"
    return answered | {rest.partition("=")[0]} if counts else answered


def compare(table, oracle, *, most=10**9):
    """Walks both from the start through every trigger; gives what differs first, or None, and the count."""
    world = oracle.start()
    first = starts(table)[0]
    if as_oracle_says(table, first) != oracle.plain(world):
        return "start", 0
    waiting = deque([(first, world, frozenset())])
    seen = {first}
    presses = 0
    while waiting and presses < most:
        position, world, answered = waiting.popleft()
        triggers = set(table.packed[position & NODE_MASK])
        if not alike(triggers, oracle, world, answered):
            return f"offered at {table.node(position).name}: {sorted(triggers ^ set(oracle.offered(world)))[:4]}", presses
        for trigger in sorted(triggers):
            move = advance(table, position, trigger)
            after = oracle.press(world, trigger)
            presses += 1
            assert isinstance(move, Move)
            if as_oracle_says(table, move.position) != oracle.plain(after):
                return f"{table.node(position).name}: {trigger}", presses
            if move.position not in seen:
                seen.add(move.position)
                waiting.append((move.position, after, answered_after(answered, trigger, table, move.position)))
    return None, len(seen)


def test_the_table_means_what_the_files_say_on_every_position_of_the_cut():
    differs, positions = compare(table_of("cut-down"), Oracle(cut(), "cut-down"))
    assert differs is None
    assert positions > 20_000


@pytest.mark.parametrize("name", sorted(shipped().procedures))
def test_the_table_means_what_the_files_say_on_random_walks_of_the_whole(name):
    table, oracle = table_of(name), Oracle(shipped(), name)
    chance = random.Random(20261125)
    begun = [(w, as_plain(oracle.plain(w))) for w in oracle.starts()]
    for _ in range(12):
        position = chance.choice(starts(table))
        world = next(w.copy() for w, known in begun if known == as_plain(as_oracle_says(table, position)))
        answered = frozenset()
        for _ in range(90):
            triggers = sorted(table.packed[position & NODE_MASK])
            assert alike(set(triggers), oracle, world, answered)
            if not triggers:
                break
            usual = [t for t in triggers if t.startswith(("begin@", "answered@"))]
            trigger = chance.choice(usual if usual and chance.random() < 0.85 else triggers)
            move, world = advance(table, position, trigger), oracle.press(world, trigger)
            assert isinstance(move, Move)
            position = move.position
            answered = answered_after(answered, trigger, table, position)
            assert as_oracle_says(table, position) == oracle.plain(world), trigger


def read_alike(seeds, wanted, most, **size):
    """Holds the oracle against the table of so many generated procedures; the kinds of node that came up."""
    kinds, charts = set(), 0
    for seed, library, table in legal(seeds, **size):
        differs, _ = compare(table, Oracle(library, "generated"), most=most)
        assert differs is None, (seed, differs)
        kinds |= {n.kind for n in table.nodes}
        charts += 1
        if charts == wanted:
            break
    assert charts == wanted
    return kinds


EVERY_KIND = {"ask", "doing", "late", "hold", "reconcile", "safe", "safe-hands", "safe-doing", "end"}


def test_the_table_means_what_the_files_say_on_200_generated_procedures():
    assert read_alike(range(5000, 8000), 170, 300, small=True) >= EVERY_KIND
    assert read_alike(range(9000, 9900), 30, 900) >= EVERY_KIND


@pytest.mark.longer
def test_the_table_means_what_the_files_say_on_every_position_of_2000_generated_procedures():
    assert read_alike(range(10_000, 40_000), 2000, 20_000, small=True) >= EVERY_KIND


def test_the_oracle_notices_a_generated_gate_that_is_lost_by_less_than_its_file_says():
    """The control: of charts compiled from files in which one gate's first event is gone, some are found out.

    Where the gate is not held within so few moves, or lost by what it rests on all the same, nothing differs.
    """
    found = tried = 0
    for seed in range(5000, 5060):
        files = files_of(seed)
        gate = yaml.safe_load(files.get("gates/g0.yaml", b"{}"))
        if not gate.get("lost_by"):
            continue
        fewer = yaml.safe_dump({**gate, "lost_by": gate["lost_by"][1:]}).encode()
        try:
            table = compile_chart(make_plan(load_library({**files, "gates/g0.yaml": fewer}), "generated"))
            oracle = Oracle(load_library(files), "generated")
        except FaultyFileError:
            continue
        tried += 1
        found += compare(table, oracle, most=600)[0] is not None
    assert tried >= 20
    assert found >= 3


DEFECTS = [
    ("gates/verified-dead.yaml", b"rests_on: [locked-out(it)]\n", b""),
    ("gates/verified-dead.yaml", b"voltmeter found bad]", b"shift ended]"),
    ("gates/area-clear.yaml", b"lost_by: [released any]", b"lost_by: [left site]"),
    ("gates/qualified.yaml", b"lost_by: [worker changed, supervisor left]", b"lost_by: [worker changed]"),
    ("cut-down.yaml", b"    if_interrupted: off\n", b""),
    ("gates/locked-out.yaml", b"  found: [left site]", b"  found: [worker changed]"),
]


@pytest.mark.parametrize(("file", "find", "put"), DEFECTS, ids=[f"{d[0]}-{i}" for i, d in enumerate(DEFECTS)])
def test_the_oracle_notices_when_file_and_table_differ(file, find, put):
    """The control: a table compiled from other files is not what these files say."""
    folder = ROOT / "tests" / "cut"
    files = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.yaml")}
    assert find in files[file]
    other = load_library({**files, file: files[file].replace(find, put)})
    differs, _ = compare(compile_chart(make_plan(other, "cut-down")), Oracle(cut(), "cut-down"), most=60_000)
    assert differs is not None


def reachable(name):
    table = table_of(name)
    library = cut() if name == "cut-down" else shipped()
    asked = obligations(table, library.rules, frozenset(library.gates))
    forget = forgetter(table, starts(table), reads_by_node(table, asked))
    waiting = deque(forget(p) for p in starts(table))
    seen = set(waiting)
    while waiting:
        position = waiting.popleft()
        yield position
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger)
            assert isinstance(move, Move)
            following = forget(move.position)
            if following not in seen:
                seen.add(following)
                waiting.append(following)


def test_a_second_machine_moves_alike_on_every_reachable_position_of_the_cut():
    table = table_of("cut-down")
    mirror = Mirror(table)
    model = mirror.model_at(starts(table)[0])
    moves = 0
    for position in reachable("cut-down"):
        for trigger in table.packed[position & NODE_MASK]:
            move = advance(table, position, trigger)
            assert isinstance(move, Move)
            mirror.stand(model, position)
            assert mirror.fire(model, trigger) == move.position
            moves += 1
    assert moves > 50_000


def test_a_trigger_that_the_table_refuses_the_machine_refuses_too():
    table = table_of("cut-down")
    mirror = Mirror(table)
    position = starts(table)[0]
    assert mirror.fire(mirror.model_at(position), "begin@bump") is None
    assert mirror.fire(mirror.model_at(position), "no such trigger") is None


# -- the ghost world ------------------------------------------------------------------------------------

CASES = [(fault, backfed) for fault in (False, True) for backfed in ((), ("load",))]


def haunt(ghost, born, *, most=10**7):
    """Everything that can happen; gives who was hurt, by what false answer, and the number of states."""
    waiting = deque([born])
    came = {born}
    hurt = {}
    while waiting and len(came) < most:
        being = waiting.popleft()
        for what, after, harm in ghost.moves(being):
            if harm:
                hurt.setdefault((harm, (after.lie or being.lie)), what)
            elif after not in came:
                came.add(after)
                waiting.append(after)
    return hurt, len(came)


@pytest.mark.parametrize(("fault", "backfed"), CASES)
def test_with_true_answers_nobody_is_hurt_whatever_happens(fault, backfed):
    ghost = Ghost(table_of("cut-down"))
    hurt, states = haunt(ghost, ghost.born(starts(table_of("cut-down"))[0], fault=fault, backfed=backfed))
    assert hurt == {}
    assert states > 3000


# One false answer that hurts: each is written down as an assumption in DEVELOPERS.md.
ASSUMED = {
    "locked-out(load).hold: done",
    "verified-dead(load, box).dead: dead",
    "bump: it turned",
    "reconcile.bump.trip.branch=no",
}


@pytest.mark.parametrize(("fault", "backfed"), [(True, ()), (False, ("load",))])
def test_one_false_answer_hurts_only_where_that_is_written_down(fault, backfed):
    ghost = Ghost(table_of("cut-down"))
    hurt, _ = haunt(ghost, ghost.born(starts(table_of("cut-down"))[0], fault=fault, backfed=backfed, lies=1), most=400_000)
    assert {lie for _, lie in hurt} <= ASSUMED
    assert hurt
    text = (ROOT / "DEVELOPERS.md").read_text()
    for lie in ASSUMED:
        assert lie in text


ASIDE = {"fail", "repeat", "leave", "put-aside", "bad-off", "close-box-only", "trip-open", "refer"}


def goes_on(ghost, what):
    """Whether a move is the usual one, so that walks get deep."""
    word, _, rest = what.partition("@")
    name, _, outcome = rest.partition("=")
    if word in {"begin", "(acts)"}:
        return True
    step = ghost.steps.get(name)
    if word != "answered" or step is None:
        return word == "answered"
    return any(o["name"] == outcome and o["leads"] == "on" and o["then"] not in ASIDE for o in step["outcomes"])


def walk(ghost, being, chance, steps, known):
    """One random life; mostly it goes its usual way, so that it gets deep. `known`: what can happen, once looked up."""
    for depth in range(steps):
        options = known.get(being)
        if options is None:
            options = known[being] = list(ghost.moves(being))
        if not options:
            return depth, ""
        usual = [o for o in options if goes_on(ghost, o[0])]
        what, after, harm = chance.choice(usual if usual and chance.random() < 0.985 else options)
        if harm:
            return depth, f"{what}: {harm}"
        being = after
    return steps, ""


def test_on_random_walks_of_the_whole_procedure_nobody_is_hurt():
    table = table_of("run-motor-directly")
    ghost = Ghost(table)
    chance = random.Random(333)
    deepest = []
    known: dict[Being, list] = {}
    for number in range(1_000):
        backfed = ("motor-circuit",) if number % 7 == 0 else ()
        being = ghost.born(starts(table)[0], fault=number % 3 == 0, backfed=backfed)
        depth, harm = walk(ghost, being, chance, 160, known)
        assert not harm
        deepest.append(depth)
    assert sum(d >= 60 for d in deepest) > 40


def test_on_a_hundred_thousand_random_walks_of_the_cut_nobody_is_hurt():
    """Walks over one graph of what can happen, built as they go: each step is looked up once it is known."""
    table = table_of("cut-down")
    ghost = Ghost(table)
    chance = random.Random(1910)
    known: dict[Being, list] = {}
    for number in range(100_000):
        being = ghost.born(starts(table)[0], fault=number % 2 == 0, backfed=("load",) if number % 5 == 0 else ())
        for _ in range(40):
            options = known.get(being)
            if options is None:
                options = known[being] = list(ghost.moves(being))
            if not options:
                break
            _, being, harm = options[int(chance.random() * len(options))]
            assert not harm


# -- controls: what must hurt ---------------------------------------------------------------------------


def test_effects_at_the_answer_and_no_widening_hurt():
    """The control: release and close in one step, effects counted with the answer, nothing widened or asked."""
    from dataclasses import replace

    from ohmward.chart.compile import _table

    folder = ROOT / "tests" / "cut"
    files = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.yaml")}
    files["cut-down.yaml"] = files["cut-down.yaml"].replace(b"changes: [close switch, turn fan]\n    if_interrupted: off", b"changes: [release switch, close switch, turn fan]\n    if_interrupted: take-off").replace(b"    changes: [release switch]\n    if_interrupted: warn\n", b"")
    table = _table(make_plan(load_library(files), "cut-down"), {})
    begun = {r.trigger.removeprefix("begin@"): r.assigns for r in table.rows if r.trigger.startswith("begin@")}
    rows = []
    for row in table.rows:
        word, _, rest = row.trigger.partition("@")
        step = rest.partition("=")[0]
        if word == "begin":
            rows.append(replace(row, assigns=()))
        elif word in {"answered", "answered-late"} and step in begun:
            rows.append(replace(row, assigns=(*begun[step], *row.assigns)))
        elif row.at.startswith(("doing ", "late ")) and row.trigger in {"pause", "interrupted", "unsafe", "emergency", "found"}:
            name = row.at.partition(" ")[2]
            onward = "approach take-off" if name == "bump" else row.to
            rows.append(replace(row, assigns=(), to=onward if row.trigger in {"pause", "interrupted"} else row.to))
        else:
            rows.append(row)
    ghost = Ghost(replace(table, rows=tuple(rows)))
    hurt, _ = haunt(ghost, ghost.born(starts(ghost.table)[0]), most=200_000)
    assert any("hands on load" in harm for harm, _ in hurt)


def test_two_false_dead_readings_in_a_row_hurt():
    ghost = Ghost(table_of("cut-down"))
    hurt, _ = haunt(ghost, ghost.born(starts(table_of("cut-down"))[0], backfed=("load",), lies=2), most=300_000)
    assert any("hands on load" in harm for harm, _ in hurt)
