"""The language beyond the shipped files: groups with names, lists, conditions, counted repeats, every step kind."""

import json

import pytest

from ohmward.account.facts import check_declared, decided_conditions
from ohmward.account.fold import fold
from ohmward.chart.compile import compile_chart, starts
from ohmward.chart.resolve import make_plan
from ohmward.chart.usual import usual_way
from ohmward.errors import FaultyFileError, RefusedError
from ohmward.language.library import load_library
from ohmward.language.models import Gate, Group, Procedure, Rule
from ohmward.language.schema import schemas
from ohmward.language.steps import Step
from ohmward.proof.verdict import prove
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.models import shop_schemas
from ohmward.shop.shipped import shipped_files
from ohmward.terminal.opening import open_run
from ohmward.trade.quantity import QuantityError
from ohmward.work.intents import Answer, Begin, Found, GoOn, LeaveOut
from tests.conftest import shipped, table_of
from tests.facts.shopping import DAY
from tests.oracle import Oracle

PROCEDURE = """\
procedure: every-kind
revision: 1
title: Every kind of step
purpose: See them all.
not_covered: Real work.
basis: [ours]
accepts: [temporary]
scope: [{require: motor-circuit.to-ground <= 300 V, otherwise: Not here.}]
facts:
  zones: {ask: Which zones, list_of: text}
  maker: {ask: Who made it, kind: text}
  built: {ask: When was it built, kind: date}
  motor-kind: {ask: Which kind, one_of: [split-capacitor, three-phase]}
devices:
  switch: {kind: disconnect, label: The switch}
sources:
  motor-circuit: {kind: circuit, through: [switch], label: Motor circuit}
  run-capacitor: {kind: stored, charged_by: motor-circuit, label: Run capacitor}
places:
  box: {label: The box, holds: [motor-circuit, run-capacitor], cover: lid}
temporary:
  lid: {label: Lid off, kind: guard, at: box}
when_not_held: {others: leave}
steps:
  who-made-it: {fact: maker}
  plate:
    photo: Take a picture of the nameplate.
  round:
    for_each: fact.zones
    most: 3
    confirm: Look at this zone.
    by: what you see
  only-three:
    when: fact.motor-kind = three-phase
    confirm: Look at the third phase.
    by: what you see
  fuse:
    choice: Is the strip heater's fuse whole?
    if_absent: done-looking
    options:
      - {name: whole}
      - {name: look again, then: round, repeats: 2, exhausted: leave}
  pull:
    choice: How is the switch kept off?
    options:
      - {name: in my hand, only_if: motor-circuit.kind-of-means = plug, otherwise: Only a plug can be in your hand.}
      - {name: it is not}
  done-looking:
    sign: I have looked at everything.
    role: worker
    means: performed
  shut:
    when: lid is in place
    confirm: The lid is off, see that somebody stays.
    by: who stays
  leave:
    action: Open the switch and lock it; at an open box somebody stays.
    operates: switch
    changes: [open switch, hold off switch]
    evidence: left guarded
    then: over
ends: {over: {title: Over, next: [take-down-what-was-left]}}
"""


def library_with(**files):
    """The shipped files with own ones beside them; `gates__x` stands for gates/x.yaml."""
    own = {f"own/{name.replace('__', '/').replace('_', '-')}.yaml": text.encode() for name, text in files.items()}
    return load_library({**shipped_files(), **own})


def compiled(text=PROCEDURE):
    return compile_chart(make_plan(library_with(every_kind=text), "every-kind"))


def faults(text):
    with pytest.raises(FaultyFileError) as caught:
        compiled(text)
    return {d.code for d in caught.value.diagnostics}


@pytest.fixture
def run(tmp_path):
    def start(**edits):
        make_shop(tmp_path, DAY.date())
        (tmp_path / "procedures" / "every-kind.yaml").write_text(PROCEDURE)
        job = tmp_path / "job-proving-fan.yaml"
        text = job.read_text()
        for find, put in edits.values():
            assert find in text
            text = text.replace(find, put)
        job.write_text(text.replace("facts:\n", "facts:\n  built: 2019-05-01\n"))
        return open_run(open_shop(str(tmp_path)), job, "every-kind", lambda: DAY, rehearsal=True)

    return start


def say(session, *words):
    return session.apply(Answer(step=session.view().step, said=words))


def test_every_kind_of_step_is_worked_and_its_record_is_possible(run):
    session = run()
    assert session.view().step == "who-made-it"
    assert not say(session, "").taken
    assert say(session, "Kornbau").taken
    assert session.account.opened["job"]["facts"]["maker"] == "Kornbau"
    assert not say(session, "plate.jpg").taken
    assert say(session, f"sha256:{'a' * 64} plate.jpg").taken
    assert session.view().each == "zones: proving room (1 of 2)"
    say(session, "7 lamps")
    assert session.view().each == "zones: flour store (2 of 2)"
    say(session, "5 lamps")
    assert session.view().step == "fuse"
    assert say(session, "look again").taken
    assert session.view().step == "round-1"
    for words in ("7", "5", "look again", "7", "5", "whole"):
        assert say(session, words).taken, words
    refused = say(session, "in my hand")
    assert (refused.taken, refused.messages[-1]) == (False, "Only a plug can be in your hand.")
    assert say(session, "it is not").taken
    assert not say(session, "P-01").taken
    assert say(session, "P-02").taken
    assert session.view().step == "leave"
    assert say(session, "done").taken
    assert session.account.ended
    assert not fold(session.account.entries).impossible


def test_a_counted_repeat_leads_elsewhere_once_it_is_used_up(run):
    session = run()
    for words in ("Kornbau", "cannot"):
        say(session, words)
    assert session.view().mode == "hold"
    session.apply(GoOn(person="P-01"))
    say(session, f"sha256:{'b' * 64}")
    for _ in range(3):
        for words in ("7", "5", "look again"):
            say(session, words)
    assert session.view().step == "leave"


def test_what_is_not_on_the_machine_is_left_out_only_by_a_qualified_person(run):
    session = run()
    for words in ("Kornbau", f"sha256:{'b' * 64}", "7", "5"):
        say(session, words)
    session.apply(Found(words="not on this machine: there is no heater"))
    assert session.view().options == ("go on here", "make safe", "leave it out")
    assert not session.apply(LeaveOut(person="P-02")).taken
    assert session.apply(LeaveOut(person="P-01", why="plate says no heater")).taken
    assert session.view().step == "done-looking"


def test_a_condition_on_the_job_is_decided_once_and_held_against_the_record(run):

    session = run(kind=("motor-kind: split-capacitor", "motor-kind: three-phase"))
    assert session.account.opened["start"]["data fact.motor-kind = three-phase"] == "yes"
    first = session.account.entries[0]
    forged = first._replace(data={**first.data, "start": {**first.data["start"], "data fact.motor-kind = three-phase": "no"}})
    assert "is yes by the job sheet" in fold([forged]).impossible


def test_more_items_than_a_list_takes_are_refused_before_the_first_step(run):
    with pytest.raises(RefusedError, match="zones: 4 are named, this procedure takes 3"):
        run(zones=("zones: [proving room, flour store]", "zones: [a, b, c, d]"))


def test_gear_and_people_in_use_are_asked_for_once_and_judged_again():
    carried = {a.step for a in usual_way(table_of("energized-load-test")) if a.carried}
    assert carried == {
        "meter-rated(voltmeter, motor-circuit).which",
        "qualified(motor-circuit).who",
        "shock-protection(board-box).gloves",
    }


def test_conditions_by_how_it_stands_are_asked_on_arrival():
    table = compiled()
    assert prove(table, library_with(every_kind=PROCEDURE)).proved
    assert "shut" not in {a.step for a in usual_way(table)}
    assert len(starts(table)) == 16  # two and three zones or not, three phases or not, the lid off or not


def test_the_oracle_reads_every_kind_alike():
    library = library_with(every_kind=PROCEDURE)
    oracle = Oracle(library, "every-kind")
    from tests.facts.test_witnesses import as_oracle_says, as_plain

    begun = {tuple(as_plain(oracle.plain(w))) for w in oracle.starts()}
    assert {tuple(as_plain(as_oracle_says(compiled(), p))) for p in starts(compiled())} == begun


@pytest.mark.parametrize(
    ("find", "put", "code"),
    [
        ("for_each: fact.zones", "for_each: fact.maker", "no-list"),
        ("for_each: fact.zones", "for_each: zones", "no-list"),
        ("    for_each: fact.zones\n", "", "no-list"),
        ("when: fact.motor-kind", "when: fact.motor-knd", "limit"),
        ("when: fact.motor-kind = three-phase", "when: voltmeter.category >= 3", "when-too-late"),
        ("when: fact.motor-kind = three-phase", "when: fact.maker = three-phase", "when-too-late"),
        ("when: lid is in place", "when: lids is in place", "unknown-name"),
        ("repeats: 2, exhausted: leave", "repeats: 2", "half-a-repeat"),
        ("repeats: 2, exhausted: leave", "exhausted: leave", "half-a-repeat"),
        (", otherwise: Only a plug can be in your hand.}", "}", "half-a-condition"),
        ("    means: performed\n", "", "no-meaning"),
        ("{fact: maker}", "{fact: makr}", "unknown-name"),
        ("maker: {ask: Who made it, kind: text}", "maker: {kind: text}", "no-question"),
        ("operates: switch", "operates: swich", "unknown-name"),
        ("if_absent: done-looking", "if_absent: nowhere", "unknown-target"),
        ("    by: what you see\n  only", "    by: what you see\n    with: {a: b}\n  only", "no-group"),
    ],
)
def test_a_wrong_use_of_the_language_is_its_own_fault(find, put, code):
    assert find in PROCEDURE
    assert code in faults(PROCEDURE.replace(find, put, 1))


GROUP = "group: look\nof: {place: here, step: otherwise}\ntitle: Look\nsteps:\n  at-it:\n    choice: How is it?\n    at: here\n    hands: none\n    probes: none\n    options:\n      - {name: fine}\n      - {name: bad, then: otherwise}\n"
USE = "  shut:\n"


def with_group(use, group=GROUP):
    text = PROCEDURE.replace(USE, f"  looked:\n    group: look\n{use}{USE}")
    return lambda: compile_chart(make_plan(library_with(every_kind=text, groups__look=group), "every-kind"))


def test_a_group_takes_its_names_from_where_it_is_used():
    table = with_group("    with: {here: box, otherwise: leave}\n")()
    steps = table.data["steps"]
    assert steps["looked.at-it"]["place"] == "box"
    assert [o["then"] for o in steps["looked.at-it"]["outcomes"]] == ["", "leave", ""]


@pytest.mark.parametrize(
    ("use", "code"),
    [
        ("    with: {here: box}\n", "group-needs"),
        ("    with: {here: bax, otherwise: leave}\n", "unknown-name"),
        ("    with: {here: box, otherwise: nowhere}\n", "unknown-target"),
        ("    with: {here: box, otherwise: leave, more: box}\n", "unknown-field"),
        ("    with: {here: box, otherwise: leave}\n    hands: none\n", "not-for-a-group"),
    ],
)
def test_a_group_used_wrongly_is_a_fault_at_its_use(use, code):
    with pytest.raises(FaultyFileError) as caught:
        with_group(use)()
    assert code in {d.code for d in caught.value.diagnostics}


def test_where_nothing_follows_a_passed_over_step_the_procedure_falls_off():
    assert "falls-off" in faults(PROCEDURE.replace("  leave:\n", "  leave:\n    when: lid is in place\n"))


@pytest.mark.parametrize(
    ("declared", "said", "kept"),
    [({"kind": "date"}, "2026-02-28", "2026-02-28"), ({"kind": "text"}, "  x ", "x"), ({"list_of": "text"}, "a, b", ["a", "b"]), ({"unit": "A"}, "3.2", "3.2 A")],
)
def test_a_fact_is_kept_in_its_form(declared, said, kept):
    assert check_declared(declared, "f", said) == kept


@pytest.mark.parametrize(("declared", "said"), [({"kind": "date"}, "2026-02-30"), ({"kind": "text"}, " "), ({"list_of": "text"}, "a, a"), ({"unit": "A"}, "3,2 A"), ({"unit": "A"}, "3 V")])
def test_a_fact_that_cannot_be_is_refused(declared, said):
    with pytest.raises(QuantityError):
        check_declared(declared, "f", said)


def test_a_condition_that_the_job_does_not_decide_stops_the_start():
    decided, undecided = decided_conditions(compiled(), {"facts": {"zones": ["a"]}, "circuits": {}}, "2026-11-25")
    assert undecided == {"fact.motor-kind = three-phase": "fact.motor-kind is not known"}
    assert decided["data zones has 2 or more"] == "no"


# -- JSON Schema ------------------------------------------------------------------------------------------


def objects(schema):
    yield schema.get("title"), schema.get("properties", {})
    for inner in schema.get("$defs", {}).values():
        yield inner.get("title"), inner.get("properties", {})


@pytest.mark.parametrize("name", [*schemas(), *shop_schemas()])
def test_the_schema_of_every_kind_of_file_explains_every_field(name):
    schema = {**schemas(), **shop_schemas()}[name]
    for title, fields in objects(schema):
        for field, what in fields.items():
            meant = schema.get("$defs", {}).get(what.get("$ref", "").rpartition("/")[2], {})
            assert what.get("description") or meant.get("description"), (title, field)


def test_the_schemas_keys_are_the_models_fields():
    models = {"procedure": Procedure, "gate": Gate, "group": Group, "rule": Rule}
    for name, model in models.items():
        assert set(schemas()[name]["properties"]) == {f.alias or n for n, f in model.model_fields.items()}
    assert set(schemas()["procedure"]["$defs"]["Step"]["properties"]) == {f.alias or n for n, f in Step.model_fields.items()}


@pytest.mark.long
def test_every_shipped_file_fits_its_schema():
    import yaml
    from jsonschema import Draft202012Validator

    kinds = {"gates": "gate", "groups": "group", "rules": "rule"}
    for name, data in shipped_files().items():
        checker = Draft202012Validator(schemas()[kinds.get(name.partition("/")[0], "procedure")])
        found = [e.message for e in checker.iter_errors(yaml.load(data, yaml.CBaseLoader))]  # noqa: S506  scalars stay text
        assert not found, (name, found[:2])
    wrong = Draft202012Validator(schemas()["group"]).is_valid({"group": "a", "title": "t", "steps": {"s": {"confrim": "x"}}})
    assert not wrong


def test_the_schemas_are_json():
    assert json.loads(json.dumps(schemas())) == schemas()


# -- every shipped procedure: proved within its budget of questions (verdicts), rehearsed to the page --------------


def test_shipped_procedures_ask_little_before_a_reading_and_before_hands():
    from ohmward.chart.budget import spent_by

    for name in shipped().procedures:
        for spent in spent_by(table_of(name)):
            assert not spent.over, (name, spent)


def test_a_procedure_that_asks_too_much_is_not_proved():
    many = "".join(f"  ask-{n}:\n    confirm: Say it again.\n    by: words\n" for n in range(30))
    text = shipped_files()["isolate.yaml"].decode().replace("procedure: isolate", "procedure: many").replace("  call-off:\n", many + "  call-off:\n", 1)
    library = library_with(many=text)
    verdict = prove(compile_chart(make_plan(library, "many")), library, most=10)
    assert "too-many-questions" in {s.rule for s in verdict.stories} or "not-decided" in {s.rule for s in verdict.stories}


def test_begun_goes_on_by_itself_only_at_the_same_place(tmp_path):
    from tests.facts.shopping import Bench, good

    bench = Bench(tmp_path)
    bench.play(good(until="read.leads-off"))
    assert bench.view.mode == "ready"
    bench.session.apply(Begin(step="read.leads-off"))
    bench.session.apply(Answer(step="read.leads-off", said=("black, red",)))
    assert (bench.view.step, bench.view.mode) == ("read.windings", "doing")


def test_the_guide_lists_every_field_as_the_models_have_them():
    from tests.docs import GUIDE, guide

    assert GUIDE.read_text() == guide(GUIDE.read_text()), "run python -m tests.docs"


# -- several supplies: one stands for all -------------------------------------------------------------------


def several():
    """Isolate, with any further supplies that the job sheet lists."""
    text = shipped_files()["isolate.yaml"].decode().replace("procedure: isolate", "procedure: several")
    for find, put in (
        ("  disconnect: {kind", "  further-means: {kind: disconnect, label: Means of each further supply, count: from job}\n  disconnect: {kind"),
        ("  run-capacitor: {kind", "  further: {kind: circuit, label: Any further supply, through: [further-means], count: from job}\n  run-capacitor: {kind"),
        ("holds: [motor-circuit, control", "holds: [motor-circuit, further, control"),
        ("      - locked-out(motor-circuit)\n", "      - locked-out(motor-circuit)\n      - locked-out(further)\n"),
        ("      - verified-dead(motor-circuit, board-box)\n", "      - qualified(further)\n      - verified-dead(motor-circuit, board-box)\n      - verified-dead(further, board-box)\n"),
    ):
        assert find in text
        text = text.replace(find, put)
    return text


SUPPLIES = """supplies:
  further:
    - {label: Heater, means: plug behind the oven, to_ground: 120 V, phase_to_phase: 120 V, category: 2, protection: 15 A, conductors: [line, neutral], can_hold_dc: no}
    - {label: Lamp, means: switch at the door, to_ground: 277 V, phase_to_phase: 277 V, category: 3, protection: 20 A, conductors: [line, neutral], can_hold_dc: no}
"""


@pytest.mark.long
def test_a_procedure_with_counted_supplies_is_proved_and_fails_without_their_gate():
    library = library_with(several=several())
    assert prove(compile_chart(make_plan(library, "several")), library).proved
    less = library_with(several=several().replace("      - verified-dead(further, board-box)\n", ""))
    verdict = prove(compile_chart(make_plan(less, "several")), less, until="hands-need-dead")
    assert "hands-need-dead" in {s.rule for s in verdict.stories}


def open_several(folder, extra):
    make_shop(folder, DAY.date())
    (folder / "procedures" / "several.yaml").write_text(several())
    job = folder / "job-proving-fan.yaml"
    job.write_text(job.read_text() + extra)
    return open_run(open_shop(str(folder)), job, "several", lambda: DAY, rehearsal=True)


GOOD = {"machine-known.told": "2", "qualified(motor-circuit).who": "P-01"}


def on_to(session, step):
    """Answers as usual up to a step."""
    while session.view().step != step:
        view = session.view()
        if view.mode == "ready":
            session.apply(Begin(step=view.step))
            continue
        known = session.account.steps[view.step]
        usual = next(o["name"] for o in known["outcomes"] if o["usual"])
        words = GOOD.get(view.step) or {"gear": "G-11" if known.get("slot") == "gloves" else "M-07", "person": "P-01"}.get(known["kind"], usual)
        said = (words,) * max(1, len(view.several))
        assert session.apply(Answer(step=view.step, said=said)).taken, (view.step, words)


def test_a_deed_on_counted_supplies_is_done_only_when_it_is_done_for_each(tmp_path):
    session = open_several(tmp_path, SUPPLIES)
    on_to(session, "locked-out(further).open")
    assert session.view().several == ("Heater - plug behind the oven", "Lamp - switch at the door")
    assert not say(session, "done").taken
    assert say(session, "done", "done").taken
    assert not say(session, "my lock and my tag are on it", "perhaps").taken
    assert say(session, "my lock and my tag are on it", "it cannot be held off").taken
    assert session.account.table.value(session.account.position, "device further-means") == "opened"
    assert session.account.entries[-1].outcome == "it cannot be held off"
    assert not fold(session.account.entries).impossible


def test_the_worst_of_several_supplies_decides_and_each_is_read(tmp_path):
    session = open_several(tmp_path, SUPPLIES)
    job = session.account.opened["job"]
    assert job["circuits"]["further"]["to-ground"] == "277 V"
    assert job["circuits"]["further"]["category"] == "3"
    from ohmward.account.names import points_of

    step = session.account.steps["verified-dead(further, board-box).dead"]
    assert points_of(session.account.opened, step) == tuple(f"{s}: {p}" for s in ("Heater", "Lamp") for p in ("line to neutral", "line to ground", "neutral to ground"))


def test_where_no_further_supply_is_listed_nothing_is_asked_about_it(tmp_path):
    session = open_several(tmp_path, "")
    assert session.account.opened["start"]["data further is there"] == "no"
    on_to(session, "open-board")
    assert not [e for e in session.account.entries if "further" in e.step]


@pytest.mark.parametrize(
    ("find", "put"),
    [
        ("label: Means of each further supply, count: from job}", "label: Means of each further supply}"),
        ("through: [further-means], count: from job}", "through: [further-means]}"),
        ("through: [further-means], count", "fed_by: [line-side], through: [further-means], count"),
    ],
)
def test_a_supply_counted_by_halves_is_a_fault(find, put):
    text = several()
    assert find in text
    with pytest.raises(FaultyFileError) as caught:
        compile_chart(make_plan(library_with(several=text.replace(find, put)), "several"))
    assert "half-counted" in {d.code for d in caught.value.diagnostics}


def test_the_oracle_reads_counted_supplies_alike():
    import random

    from ohmward.chart.table import NODE_MASK, Move, advance
    from tests.facts.test_witnesses import alike, as_oracle_says

    library = library_with(several=several())
    table, oracle, chance = compile_chart(make_plan(library, "several")), Oracle(library, "several"), random.Random(26)
    worlds = list(oracle.starts())
    for first in starts(table):
        for _ in range(4):
            position = first
            world = next(w for w in worlds if oracle.plain(w) == as_oracle_says(table, first))
            for _ in range(110):
                triggers = sorted(table.packed[position & NODE_MASK])
                assert alike(set(triggers), oracle, world, frozenset())
                usual = [t for t in triggers if t.startswith(("begin@", "answered@"))]
                if not triggers:
                    break
                trigger = chance.choice(usual if usual and chance.random() < 0.85 else triggers)
                move, world = advance(table, position, trigger), oracle.press(world, trigger)
                assert isinstance(move, Move)
                position = move.position
                assert as_oracle_says(table, position) == oracle.plain(world), trigger
