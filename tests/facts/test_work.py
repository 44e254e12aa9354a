"""A run worked through the same door as at a terminal: gates, mistakes, breaks, crashes, trips, stops."""

from datetime import timedelta

import pytest

from ohmward.account.fold import NoRecordError, end_label, fold, open_account, open_matters
from ohmward.errors import AnswerError, FaultyFileError, MovedOnError, RefusedError, UsageError
from ohmward.record.chain import verify_chain
from ohmward.record.entry import Kind
from ohmward.work.intents import Answer, Begin, Correct, Found, GoOn, Happened, MakeSafe, Stop
from tests.conftest import ROOT
from tests.facts.shopping import Bench, good

TO_BUMP = good(until="step: bump")
TO_HANDS = good(until="step: read.leads-off")
TO_WINDINGS = good(until="step: read.windings")


@pytest.fixture
def bench(tmp_path):
    return Bench(tmp_path)


def last(bench):
    return bench.account.entries[-1]


def test_the_whole_rehearsal_ends_held_off_and_its_record_is_possible(bench):
    bench.play(good())
    account = bench.account
    assert end_label(account) == "Held off for repair"
    chain = verify_chain(bench.session.store.fetch(account.run), run=account.run)
    again = fold(chain.entries)
    assert chain.intact
    assert not again.impossible
    assert again.position == account.position
    assert [(m.kind, m.name, m.owner) for m in open_matters(account)] == [("lock", "disconnect", "P-02")]


def test_an_apprentice_is_told_what_to_fetch(bench):
    bench.play(good(until="motor-circuit).which"))
    told = bench.session.apply(Answer(step="meter-rated(voltmeter, motor-circuit).which", said=("M-04",)))
    assert told.messages == (
        "M-04 is Pocket multimeter, CAT II 600 V. It is CAT II 600 V, by the lowest of instrument, leads and probes; this place is CAT III. A higher voltage does not make up for it. In the register that would do: M-07, M-08.",
    )


def test_a_number_on_the_thing_comes_before_a_place_in_the_list(bench):
    bench.play(good(until="motor-circuit).which"))
    bench.session.apply(Answer(step=bench.view.step, said=("m-07",)))
    assert bench.account.slots["voltmeter"] == "M-07"


def test_a_bare_tick_confirms_nothing(bench):
    bench.play(good(until="machine-known.told"))
    for text in ("", "y", "ok", "done", "g"):
        assert not bench.session.apply(Answer(step=bench.view.step, said=(text,))).taken
    assert bench.session.apply(Answer(step=bench.view.step, said=("2",))).taken


def test_a_deed_is_on_record_before_it_is_shown_as_begun(bench):
    bench.play(TO_BUMP)
    before = bench.session.store.commits
    bench.session.apply(Begin(step="bump"))
    assert bench.session.store.commits == before + 1
    assert (last(bench).kind, bench.view.mode) == (Kind.BEGUN, "doing")
    bench.session.apply(Answer(step="bump", said=("it turned",)))
    assert bench.session.store.commits == before + 2


def test_a_crash_in_the_middle_of_closing_is_reconciled_before_anything_else(bench):
    bench.play(TO_BUMP)
    bench.session.apply(Begin(step="bump"))
    bench.resume()
    assert last(bench).kind is Kind.INTERRUPTED
    assert bench.view.mode == "reconcile"
    bench.session.apply(Answer(step="reconcile.disconnect", said=("opened",)))
    for device in ("lead-fuse", "branch-breaker", "upstream"):
        assert bench.view.step == f"reconcile.{device}"
        bench.session.apply(Answer(step=bench.view.step, said=("no",)))
    assert bench.view.step == "run-off"


def test_a_trip_that_cannot_be_ruled_out_keeps_the_machine_off(bench):
    bench.play(TO_BUMP)
    bench.session.apply(Begin(step="bump"))
    bench.session.apply(Stop(how="unsafe", why="smell of burning"))
    assert bench.view.mode == "safe"
    while not bench.account.ended:
        bench.session.apply(Answer(step=bench.view.step, said=("done",)))
    assert end_label(bench.account) == "Stopped and made safe as far as noted"
    left = {(m.kind, m.name) for m in open_matters(bench.account)}
    assert {("trip", "branch-breaker"), ("temporary", "test-lead"), ("lock", "disconnect")} <= left
    with pytest.raises(RefusedError, match="Work `take-down-what-was-left` first"):
        bench.open()
    assert bench.open("take-down-what-was-left").account.node.startswith("ask ")


def test_an_open_run_blocks_another_on_the_same_machine(tmp_path):
    bench = Bench(tmp_path, rehearsal=False)
    with pytest.raises(RefusedError, match="is still open"):
        bench.open(rehearsal=False)


def test_an_open_rehearsal_stands_in_nobodys_way(bench):
    assert bench.open().account.node == "ask arrival"


def test_a_break_keeps_the_place_and_a_lapse_loses_the_gate(bench):
    bench.play(good(until="step: unlock"))
    assert bench.account.is_held("area-clear")
    bench.session.apply(Stop(how="pause", why="lunch"))
    bench.clock.offset += timedelta(minutes=45)
    bench.resume()
    bench.session.tick()
    assert not bench.account.is_held("area-clear")
    assert bench.view.step == "area-clear.look"


def test_leaving_the_site_for_lunch_asks_the_gates_again_where_the_work_stands(bench):
    bench.play(TO_HANDS)
    bench.session.apply(Happened(event="left site"))
    assert not bench.account.is_held("verified-dead(motor-circuit, board-box)")
    assert bench.view.step == "briefed.brief"
    assert not bench.account.slots


def test_the_end_of_the_shift_loses_what_holds_for_a_shift(bench):
    bench.play(TO_HANDS)
    bench.clock.offset += timedelta(hours=11)
    assert "shift ended" in bench.session.tick()[0]
    assert not bench.account.held


def test_a_clock_that_went_back_loses_every_timed_gate_and_says_so(bench):
    bench.play(TO_HANDS)
    bench.clock.offset -= timedelta(hours=3)
    assert "clock went back" in bench.session.tick()[0]
    assert not bench.account.held
    bench.clock.offset += timedelta(hours=72)
    assert bench.session.tick()


def test_hands_come_out_when_the_supervisor_leaves(bench):
    bench.play(TO_HANDS)
    bench.session.apply(Begin(step="read.leads-off"))
    bench.session.apply(Happened(event="supervisor left"))
    assert bench.view.mode == "late"
    assert bench.session.apply(Answer(step="read.leads-off", said=("black, red, white",))).taken
    assert last(bench).trigger == "answered-late@read.leads-off=confirmed"
    assert bench.view.step == "qualified(motor-circuit).who"


def test_a_meter_found_bad_loses_what_it_proved_and_stays_out_of_use(bench):
    bench.play(TO_HANDS)
    bench.session.apply(Happened(event="voltmeter found bad"))
    assert not bench.account.is_held("verified-dead(motor-circuit, board-box)")
    assert bench.view.step == "meter-rated(voltmeter, motor-circuit).which"
    told = bench.session.apply(Answer(step=bench.view.step, said=("M-07",)))
    assert "withdrawn from service" in told.messages[-1]
    assert bench.session.apply(Answer(step=bench.view.step, said=("M-08",))).taken
    bench.session.apply(Stop(how="emergency"))
    while not bench.account.ended:
        bench.session.apply(Answer(step=bench.view.step, said=("done",)))
    following = bench.open("take-down-what-was-left")
    assert following.account.opened["gear"]["M-07"]["names"]["withdrawn"] == "true"


@pytest.mark.parametrize(
    "step",
    ["shock-protection(board-box).gloves", "meter-rated(voltmeter, motor-circuit).which", "qualified(motor-circuit).who"],
)
def test_a_corrected_answer_never_answers_itself(bench, step):
    bench.play(TO_HANDS)
    assert bench.session.apply(Correct(step=step, why="it was another one")).taken
    assert (bench.account.slots, bench.account.supervisor) == ({}, "")
    assert not [e for e in bench.account.entries if e.note.startswith("as before") and e.time >= last(bench).time]


def test_what_is_found_bad_in_one_slot_is_out_of_use_in_every_other(tmp_path):
    bench = Bench(tmp_path)
    gear = bench.folder / "gear.yaml"
    gear.write_text(gear.read_text().replace("label: Multimeter, CAT III 600 V\n    slots: [voltmeter]", "label: Multimeter, CAT III 600 V\n    slots: [voltmeter, clamp]"))
    gear.write_text(gear.read_text().replace("      microfarads:", "      clamp amps: {percent: 2.0, counts: 5, resolution: 0.01 A}\n      microfarads:", 1))
    bench.session = bench.open()
    bench.play(good(until="fit-lead").replace("say: C-02", "say: M-07"))
    assert bench.account.slots["clamp"] == bench.account.slots["voltmeter"] == "M-07"
    bench.session.apply(Happened(event="voltmeter found bad"))
    assert "clamp" not in bench.account.slots
    assert not bench.account.is_held("meter-rated(clamp, motor-circuit)")


def test_a_known_source_found_bad_takes_back_what_it_proved(bench):
    bench.play(TO_HANDS)
    assert bench.account.is_held("verified-dead(motor-circuit, board-box)")
    bench.session.apply(Happened(event="known-source found bad"))
    assert not bench.account.is_held("verified-dead(motor-circuit, board-box)")
    assert not bench.account.is_held("meter-proved(voltmeter)")
    assert "known-source" not in bench.account.slots


def test_a_lead_found_bad_is_not_closed_onto(bench):
    bench.play(TO_BUMP)
    bench.session.apply(Happened(event="test-lead found bad"))
    assert bench.view.step == "lead-rated(motor-circuit).which"


def test_another_meter_in_the_middle_loses_what_the_first_one_showed(bench):
    bench.play(TO_HANDS)
    bench.session.apply(Happened(event="voltmeter changed"))
    assert bench.view.step == "meter-rated(voltmeter, motor-circuit).which"
    bench.session.apply(Answer(step=bench.view.step, said=("M-08",)))
    events = [e.trigger for e in bench.account.entries if e.kind is Kind.LOST]
    assert events == ["voltmeter changed"]


def test_a_correction_loses_every_gate_and_goes_back_or_makes_safe(bench):
    bench.play(TO_HANDS)
    name = "verified-dead(motor-circuit, board-box).dead"
    assert bench.session.apply(Correct(step=name, why="wrong terminals")).taken
    assert not bench.account.held
    assert bench.view.step in {"briefed.brief", "safe.left"}
    assert not bench.session.apply(Correct(step="bump")).taken
    assert last(bench).kind is Kind.REFUSED


def test_something_found_waits_for_a_qualified_person(bench):
    bench.play(TO_HANDS)
    bench.session.apply(Found(words="a second black wire"))
    assert bench.view.mode == "hold"
    assert not bench.session.apply(GoOn(person="P-02")).taken
    assert not bench.session.apply(GoOn(person="P-99")).taken
    assert bench.session.apply(GoOn(person="P-01", why="it is the float switch")).taken
    assert bench.view.step == "read.leads-off"
    bench.session.apply(Found(words="again"))
    assert bench.session.apply(MakeSafe(person="P-02")).taken
    assert bench.view.mode == "safe"


def test_a_lock_is_taken_off_by_its_owner_alone(bench):
    bench.play(good(until="step: unlock"))
    bench.session.apply(Happened(event="worker changed", who="P-03"))
    while bench.view.step != "unlock":
        said = {"tools-accounted-for.count": "9 tools", "area-clear.look": "nobody is"}[bench.view.step]
        bench.session.apply(Answer(step=bench.view.step, said=(said,)))
    told = bench.session.apply(Begin(step="unlock"))
    assert not told.taken
    assert "the lock is on by Tomas Reyl (P-02)" in told.messages[0]


def test_a_reading_within_the_meters_uncertainty_of_a_limit_is_not_decided(bench):
    bench.play(TO_WINDINGS)
    told = bench.session.apply(Answer(step="read.windings", said=("4.1", "14.6")))
    assert told.messages[-1] == "the instrument cannot tell 'shorted' from 'in order' here (about 3.80736 ohm to 4.26575 ohm)"  # brought from 24 to 20 degC
    assert bench.account.entries[-2].outcome == "not decided"
    assert (last(bench).kind, bench.view.mode) == (Kind.BEGUN, "doing")


@pytest.mark.parametrize(("said", "why"), [("12 A", "of different kinds"), ("abc", "does not begin with a number"), ("1e3", "is not a unit"), ("", "does not begin")])
def test_what_is_no_value_is_refused_and_on_record(bench, said, why):
    bench.play(good(until="box).fed"))
    bench.session.apply(Begin(step=bench.view.step))
    told = bench.session.apply(Answer(step=bench.view.step, said=(said,)))
    assert not told.taken
    assert why in told.messages[-1]
    assert last(bench).kind is Kind.REFUSED


def test_a_value_from_before_its_deed_does_not_count(bench):
    bench.play(good(until="box).fed"))
    step = bench.view.step
    early = bench.clock()
    bench.clock.offset += timedelta(seconds=50)
    bench.session.apply(Begin(step=step))
    assert "before the step was begun" in bench.session.apply(Answer(step=step, said=("0",), taken=early)).messages[-1]
    bench.clock.offset += timedelta(minutes=10)
    assert "a value counts for 2 minutes" in bench.session.apply(Answer(step=step, said=("0",), taken=early)).messages[-1]


def test_gloves_out_of_test_are_refused_on_the_day_of_the_answer(bench):
    bench.play(good(until="briefed.brief"))
    bench.clock.offset += timedelta(days=500)
    bench.session.tick()
    again = good(until="shock-protection(board-box).gloves").split("\n")
    bench.play("\n".join(again[next(i for i, line in enumerate(again) if "briefed" in line) :]))
    told = bench.session.apply(Answer(step="shock-protection(board-box).gloves", said=("G-11",)))
    assert "Their electrical test is out of date" in told.messages[-1]


def test_of_two_terminals_on_one_run_the_second_is_told(bench):
    other = Bench.__new__(Bench)
    other.__dict__.update(bench.__dict__)
    other.resume()
    with pytest.raises(MovedOnError):
        bench.session.apply(Answer(step="arrival", said=("nothing of the kind",)))


@pytest.mark.parametrize(
    ("line", "problem"),
    [
        ("- {step: bump, say: it turned}", "a.yaml:1: the answer is for 'bump'; the question now is 'arrival'"),
        ("- {step: arrival, say: no idea}", "a.yaml:1: not taken: one of: nothing of the kind"),
        ("- {event: rain}", "a.yaml:1: not taken: 'rain' is not an event here"),
        ("- {correct: bump}", "a.yaml:1: not taken: 'bump' cannot be corrected here"),
        ("- {go_on: P-01}", "a.yaml:1: not taken: nothing waits for that here"),
        ("- {worker: P-77}", "a.yaml:1: not taken: 'P-77' is not in the roster"),
    ],
)
def test_a_wrong_line_of_an_answers_file_stops_with_its_place(bench, line, problem):
    with pytest.raises(AnswerError) as caught:
        bench.play(line + "\n")
    assert problem in str(caught.value)


@pytest.mark.parametrize("text", ["{}", "- 3", "- {say: x}", "- {step: a}", "- {step: a, say: [[b]]}", "- {after: soon}", "- {after: 99999999 d}", "- {stop: now}", "- {step: a, say: b, taken: noon}", "- {step: [a], say: b}", "- {step: a, say: b, why: c}", "", "- {step: a, say: b, taken: []}"])
def test_a_malformed_answers_file_is_a_fault_with_its_place(bench, text):
    with pytest.raises(FaultyFileError) as caught:
        bench.play(text)
    assert caught.value.diagnostics[0].remedy


@pytest.mark.parametrize(
    ("find", "put", "problem"),
    [
        ("motor-kind: split-capacitor", "motor-kind: three-phase", "This kind of motor must not be fed directly"),
        ("    to_ground: 120 V\n    phase_to_phase: 120 V", "    to_ground: 347 V\n    phase_to_phase: 347 V", "Above 300 V to ground"),
        ("    to_ground: 120 V\n    phase_to_phase: 120 V", "    to_ground: 120 V\n    phase_to_phase: 208 V", "Two live conductors"),
    ],
)
def test_a_job_outside_the_scope_is_refused(tmp_path, find, put, problem):
    bench = Bench(tmp_path / "a")
    job = bench.folder / "job-proving-fan.yaml"
    job.write_text(job.read_text().replace(find, put).replace("equipment: proving-fan", "equipment: other-fan"))
    with pytest.raises(RefusedError, match=problem):
        bench.open()


@pytest.mark.parametrize(
    ("find", "put", "code"),
    [
        ("full-load-current: 3.2 A", "full-load-current: 400 A", "not-believed"),
        ("speed-leads: [black, red]", "speed-leads: [black, black]", "not-believed"),
        ("worker: P-02", "worker: P-77", "unknown-person"),
        ("category: 3", "category: 0", "bad-value"),
        ("to_ground: 120 V", "to_ground: -120 V", "bad-value"),
        ("protection: 15 A", "protection: 15 V", "bad-value"),
        ("conductors: [line, neutral]", "conductors: [line, line]", "bad-value"),
        ("address:", "adress:", "unknown-field"),
    ],
)
def test_a_wrong_job_sheet_is_a_fault_at_its_line(tmp_path, find, put, code):
    bench = Bench(tmp_path / "a")
    job = bench.folder / "job-proving-fan.yaml"
    job.write_text(job.read_text().replace(find, put, 1).replace("equipment: proving-fan", "equipment: other-fan"))
    with pytest.raises(FaultyFileError) as caught:
        bench.open()
    assert code in {d.code for d in caught.value.diagnostics}


@pytest.mark.parametrize(("name", "find", "put"), [("gear.yaml", "resolution: 0.1 V", "resolution: 0 V"), ("gear.yaml", "id: M-08", "id: M-07"), ("gear.yaml", "category: 3", "category: 33"), ("gear.yaml", "leads: {category: 3, voltage: 600 V}", "leads: {category: 3, voltage: 600 A}"), ("shop.yaml", "shift: 10 h", "shift: 10 V"), ("roster.yaml", "role: apprentice", "role: boss"), ("gear.yaml", "ohms:", "omhs:")])
def test_a_wrong_shop_file_is_a_fault_at_its_line(tmp_path, name, find, put):
    bench = Bench(tmp_path / "a")
    path = bench.folder / name
    path.write_text(path.read_text().replace(find, put, 1))
    with pytest.raises(FaultyFileError) as caught:
        bench.open()
    assert caught.value.diagnostics[0].file == str(path)


def test_an_own_file_never_replaces_a_shipped_one(tmp_path):
    from ohmward.shop.folder import open_shop
    from ohmward.shop.shipped import shipped_files

    bench = Bench(tmp_path / "a")
    own = bench.folder / "procedures" / "gates"
    own.mkdir()
    (own / "verified-dead.yaml").write_bytes(shipped_files()["gates/verified-dead.yaml"].replace(b"3 V", b"200 V"))
    with pytest.raises(FaultyFileError, match="duplicate-id"):
        open_shop(str(bench.folder)).library()


def test_what_is_not_proved_is_not_worked(tmp_path, monkeypatch):
    import ohmward.terminal.approvals as approvals

    bench = Bench(tmp_path / "a")
    monkeypatch.setattr(approvals, "load_verdicts", lambda _paths: {})
    with pytest.raises(RefusedError, match="is not proved: run `ohmward check`"):
        bench.open(rehearsal=False)


def test_a_real_run_takes_the_shipped_verdict(tmp_path):
    bench = Bench(tmp_path, rehearsal=False)
    assert bench.account.opened["proof"].startswith("proved: ")
    with pytest.raises(UsageError, match="did you mean 'run-motor-directly'"):
        bench.open("run-motor-directy")


# -- what a record must not get away with ---------------------------------------------------------------


def forged(bench, number, **changes):
    """The record with one entry changed, as if re-chained: what the account says of it."""

    entries = list(bench.account.entries)
    entries[number] = entries[number]._replace(**changes)
    return fold(entries).impossible


def find(bench, step, kind=Kind.ANSWERED):
    return next(i for i, e in enumerate(bench.account.entries) if e.step == step and e.kind is kind)


def test_a_record_that_cannot_have_been_is_told_with_its_first_impossible_move(bench):
    bench.play(good())
    dead = find(bench, "verified-dead(motor-circuit, board-box).dead")
    supply = find(bench, "read.windings")
    meter = find(bench, "looked-over(voltmeter).look")
    value = bench.account.entries[dead].values[0]

    live = (value._replace(said="121"), *bench.account.entries[dead].values[1:])
    assert "say 'live', the entry says 'dead'" in forged(bench, dead, values=live) or forged(bench, dead, values=live)
    assert "has no values" in forged(bench, dead, values=())
    assert "its trigger says" in forged(bench, dead, step="")
    assert "its trigger says" in forged(bench, supply, outcome="open")
    assert "is not recorded" in forged(bench, meter, time="2027-11-25T09:00:00Z")
    assert "is not recorded" in forged(bench, meter, time="2020-11-25T09:00:00Z")
    assert "cannot be read" in forged(bench, meter, time="junk")
    assert "does not meet" in forged(bench, find(bench, "qualified(motor-circuit).who"), said="P-02")
    assert "does not meet" in forged(bench, meter - 1, said="M-04")
    assert "not offered" in forged(bench, supply, trigger="begin@bump", step="bump", kind=Kind.BEGUN, outcome="")
    assert forged(bench, supply, kind=Kind.OPENED) == f"entry {supply + 1}: a run is opened once"
    assert "has 1 of 3 values" in forged(bench, dead, values=bench.account.entries[dead].values[:1])
    assert "not with what is in use" in forged(bench, dead, instrument="M-99")
    assert "not between its begin and its entry" in forged(bench, dead, taken="1999-01-01T00:00:00Z")
    tried = find(bench, "locked-out(motor-circuit).try")
    assert "was said, the outcome is" in forged(bench, tried, said="something moved or lit")
    assert "was said, the outcome is" in forged(bench, find(bench, "read.leads-off"), said="cannot")
    assert "is not reported by an entry 'noted'" in forged(bench, tried, kind=Kind.NOTED)
    foreign = {**bench.account.entries[0].data, "locks": {"disconnect": ["P-03"]}}
    assert "the lock is on by P-03" in forged(bench, 0, data=foreign)


def test_a_hostile_table_is_told_and_crashes_nothing(bench):

    bench.play(TO_HANDS)
    first = bench.account.entries[0]
    table = first.data["table"]
    for data in ({"gates": {}}, {}, {"steps": {}}, {**table["data"], "gates": 3}):
        spoiled = first._replace(data={**first.data, "table": {**table, "data": data}})
        told = ""
        try:
            told = fold([spoiled, *bench.account.entries[1:]]).impossible
        except NoRecordError as error:
            told = str(error)
        assert told, data


def test_what_does_not_begin_as_a_run_is_none(bench):

    first = bench.account.entries[0]
    for data in ({}, {**first.data, "table": {}}, {**first.data, "gear": 3}, {**first.data, "locks": 3}, {**first.data, "job": {}}):
        with pytest.raises(NoRecordError):
            open_account(first._replace(data=data))
    with pytest.raises(NoRecordError):
        fold([])
    with pytest.raises(NoRecordError):
        open_account(first._replace(kind=Kind.NOTED))


def test_a_circuit_counts_as_limited_only_where_the_job_sheet_says_so(tmp_path):
    bench = Bench(tmp_path / "a")
    job = bench.folder / "job-proving-fan.yaml"
    text = job.read_text()
    for wrong in (text.replace("to_ground: 24 V", "to_ground: 120 V"), text[: text.index("  control:")]):
        job.write_text(wrong)
        with pytest.raises(RefusedError, match="Control circuit counts as limited here"):
            bench.open()


def test_a_second_supply_seen_in_the_box_does_not_end_as_isolated(tmp_path):
    bench = Bench(tmp_path)
    bench.session = bench.open("isolate")
    script = (ROOT / "tests" / "rehearsals" / "isolate.yaml").read_text()
    before = script[: script.index("- step: read-dead")]
    bench.play(before + "- step: read-dead\n  say: something else comes in\n")
    assert bench.view.step == "found-live"
    assert not bench.account.is_held("verified-dead(motor-circuit, board-box)")


def test_live_at_the_first_point_ends_the_reading_and_stands_in_the_record(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="verified-dead(motor-circuit, board-box).dead"))
    step = bench.view.step
    if bench.view.mode == "ready":
        bench.session.apply(Begin(step=step))
    refused = bench.session.apply(Answer(step=step, said=("0.2",)))
    assert (refused.taken, refused.messages[0][:22]) == (False, "3 values are needed, i")
    assert not bench.session.apply(Answer(step=step, said=("0.2",) * 4)).taken
    assert bench.session.apply(Answer(step=step, said=("119",))).taken
    answer = next(e for e in reversed(bench.account.entries) if e.kind is Kind.ANSWERED)
    assert (answer.outcome, [v.point for v in answer.values]) == ("live", ["line to neutral"])
    assert not fold(bench.account.entries).impossible
    dead = answer._replace(outcome="dead", trigger=answer.trigger.replace("=live", "=dead"), values=(answer.values[0]._replace(said="0.2", low="0 V", high="0.41 V"),))
    assert "has 1 of 3 values" in fold([dead if e is answer else e for e in bench.account.entries]).impossible
