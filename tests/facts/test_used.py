"""Readings that use what was read before: judged with each value's own instrument, never asked, never from stale values."""

import atexit
import shutil
import tempfile
from dataclasses import replace
from datetime import timedelta
from functools import cache
from pathlib import Path

import pytest

from ohmward.account.fold import fold
from ohmward.account.judge import NOT_DECIDED
from ohmward.chart.resolve import make_plan
from ohmward.errors import FaultyFileError
from ohmward.language.library import load_library
from ohmward.record.entry import Kind
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.tables import keep_table, key_of
from ohmward.work.intents import Answer, Begin, Stop
from tests.conftest import ROOT, shipped_files, table_of
from tests.facts.shopping import DAY, Bench

PROCEDURES = {"cooling-check": "job-store-cooler.yaml", "three-phase-supply": "job-filter-pump.yaml"}
SCRIPTS = {name: (ROOT / "tests" / "rehearsals" / f"{name}.yaml").read_text() for name in PROCEDURES}


@cache
def prepared():
    folder = Path(tempfile.mkdtemp(prefix="shop-")) / "s"
    atexit.register(shutil.rmtree, folder.parent, ignore_errors=True)
    make_shop(folder, DAY.date())
    files, _ = open_shop(str(folder)).files()
    for name in PROCEDURES:
        keep_table(folder, key_of(files, name), table_of(name))
    return folder


class Run(Bench):
    """A rehearsal of one of the two, up to a step."""

    def __init__(self, folder, name, until):
        shutil.copytree(prepared(), folder)
        super().__init__(folder, procedure=name, job=PROCEDURES[name])
        self.play(SCRIPTS[name].partition(f"- step: {until}")[0])

    def read(self, *said):
        if self.view.mode == "ready":
            self.session.apply(Begin(step=self.view.step))
        return self.session.apply(Answer(step=self.view.step, said=said))

    def last(self, step):
        return next(e for e in reversed(self.account.entries) if e.step == step and e.kind is Kind.ANSWERED)


@pytest.fixture
def pump(tmp_path):
    return Run(tmp_path / "s", "three-phase-supply", "running")


@pytest.fixture
def cooler(tmp_path):
    return Run(tmp_path / "s", "cooling-check", "suction\n")


def test_what_was_read_is_worked_out_by_itself_with_its_values_and_instrument(pump):
    told = pump.read("206.1", "208.4", "207.9")
    read, found = pump.last("running"), pump.last("unbalance")
    assert (read.outcome, found.outcome) == ("within the motor's rating", "even enough to run it")
    assert [v.said for v in found.values] == ["206.1 V", "208.4 V", "207.9 V"]
    assert [(v.low, v.high) for v in found.values] == [(v.low, v.high) for v in read.values]
    assert (found.instrument, found.taken) == ("M-07", read.taken)
    assert any("as read before: even enough to run it" in m for m in told.messages)
    assert pump.view.for_gate.startswith("The instrument is good enough")  # the next thing that is asked


# NEMA MG 1, 12.44 (secondary): within 10 % of the rated voltage, here 208 V; the width is the meter's
@pytest.mark.parametrize(("said", "outcome"), [("187.1", NOT_DECIDED), ("185.5", "low under load"), ("189", "within the motor's rating"), ("228.8", NOT_DECIDED), ("231", "high under load")])
def test_the_running_voltage_is_judged_by_what_the_motor_is_rated_for(pump, said, outcome):
    pump.read("208", "208", said)
    assert pump.last("running").outcome == outcome


@pytest.mark.parametrize(("said", "outcome"), [(("6.3", "6.6", "6.4"), "alike"), (("5.0", "6.6", "6.4"), "uneven"), (("5.7", "6.6", "6.4"), NOT_DECIDED)])
def test_currents_are_held_against_each_other(pump, said, outcome):
    pump.read("206.1", "208.4", "207.9")
    pump.play(SCRIPTS["three-phase-supply"].partition("- step: currents")[0].partition("207.9']\n")[2])
    pump.read(*said)
    assert pump.last("current-unbalance").outcome == outcome


def test_values_of_several_instruments_go_into_one_calculation_each_with_its_own_span(cooler):
    cooler.read("118")
    cooler.read("53.4")
    found = cooler.last("superheat")
    assert found.outcome == "at target"
    assert (found.instrument, [v.said for v in found.values]) == ("R-06; T-03", ["118 psig", "53.4 degF"])
    assert [(v.low, v.high) for v in found.values] == [("116.4 psig", "119.6 psig"), ("52.9 degF", "53.9 degF")]


@pytest.mark.parametrize(("line", "outcome"), [("43", "liquid may reach the compressor"), ("46.5", "below target"), ("45", NOT_DECIDED), ("58.5", NOT_DECIDED), ("60", "above target")])
def test_superheat_counts_only_as_far_as_both_instruments_can_tell(cooler, line, outcome):
    cooler.read("118")
    cooler.read(line)
    assert cooler.last("superheat").outcome == outcome


def test_what_is_older_than_a_quarter_of_an_hour_is_not_used(cooler):
    cooler.read("118")
    cooler.clock.offset += timedelta(minutes=14)
    cooler.session.apply(Begin(step=cooler.view.step))
    while cooler.view.step != "suction-line" or cooler.view.mode == "ready":  # what time took is asked again
        if cooler.view.mode == "ready":
            cooler.session.apply(Begin(step=cooler.view.step))
            continue
        cooler.session.apply(Answer(step=cooler.view.step, said=("nobody is",)))
    cooler.clock.offset += timedelta(minutes=2)
    cooler.session.apply(Answer(step=cooler.view.step, said=("53.4",)))
    found = cooler.last("superheat")
    assert (found.outcome, found.values) == (NOT_DECIDED, ())
    assert "a value is used for 15 minutes" in found.note


@pytest.mark.parametrize("event", ["gauges found bad", "a stop"])
def test_nothing_is_used_from_before_a_stop_or_bad_gear(cooler, event):
    from ohmward.account.used import judge_used

    cooler.read("118")
    cooler.read("53.4")
    step = cooler.account.steps["superheat"]
    before = replace(cooler.account, entries=cooler.account.entries[:-1])
    assert judge_used(before, step, DAY + timedelta(minutes=30)).judged.outcome == NOT_DECIDED  # by its age
    now = cooler.clock()
    assert judge_used(before, step, now).judged.outcome == "at target"
    last = before.entries[-1]
    broken = {
        "gauges found bad": last._replace(kind=Kind.LOST, note="gauges found bad", step="", values=()),
        "a stop": last._replace(kind=Kind.STOPPED, note="", step="", values=()),
    }[event]
    for where in (len(before.entries), len(before.entries) - 1):
        entries = (*before.entries[:where], broken, *before.entries[where:])
        found = judge_used(replace(before, entries=entries), step, now)
        assert found.judged.outcome == NOT_DECIDED
        assert "something happened since" in found.judged.why


def test_over_range_gives_nothing_to_work_out(pump):
    step = pump.account.steps["unbalance"]
    from ohmward.account.judge import judge_spans

    assert judge_spans(step, [None, None, None], {}) == (NOT_DECIDED, "one value is over range: nothing is worked out from it")


def test_nobody_types_a_value_where_nothing_is_read(pump):
    from ohmward.work.answering import decide_answer
    from ohmward.work.view import view_of

    pump.read("206.1", "208.4", "207.9")
    entries = pump.account.entries
    at = next(n for n, e in enumerate(entries) if e.step == "unbalance")
    account = fold(entries[:at])
    view = view_of(account, pump.clock())
    assert (view.step, view.points) == ("unbalance", ())
    refused = decide_answer(account, Answer(step="unbalance", said=("1",)), view, {}, pump.clock())
    assert refused.why == "nobody reads anything here: it is worked out from what was read before"


FORGERIES = {
    "another outcome": lambda e: e._replace(outcome="too uneven to run it", trigger="answered@unbalance=too uneven to run it"),
    "other values": lambda e: e._replace(values=e.values[::-1]),
    "another instrument": lambda e: e._replace(instrument="M-08"),
    "another moment": lambda e: e._replace(taken=e.time[:17] + "59Z"),
    "no values": lambda e: e._replace(values=(), said="cannot"),
}


@pytest.mark.parametrize("name", FORGERIES)
def test_what_does_not_come_of_the_readings_before_it_is_not_possible(pump, name):
    pump.read("206.1", "208.4", "207.9")
    entries = [FORGERIES[name](e) if e.step == "unbalance" else e for e in pump.account.entries]
    assert "what was read before says" in fold(entries).impossible or "its trigger" in fold(entries).impossible


def test_a_break_in_between_leaves_it_undecided_and_the_way_out_is_taken(cooler):
    cooler.read("118")
    cooler.session.apply(Stop(how="pause", why="lunch"))
    cooler.resume()
    for _ in range(8):
        if cooler.view.step == "suction-line":
            break
        cooler.session.apply(Answer(step=cooler.view.step, said=(cooler.view.options[0],)))
    cooler.read("53.4")
    assert cooler.last("superheat").outcome == NOT_DECIDED
    assert "something happened since" in cooler.last("superheat").note
    assert cooler.view.step == "off-open"


FAULTS = [
    ("uses: [running]", "uses: [later]", "not-read-before"),
    ("uses: [running]", "uses: [current-unbalance]", "not-read-before"),
    ("uses: [running]", "uses: [call]", "not-read-before"),
    ("uses: [running]", "uses: [running]\n    slot: voltmeter", "reads-nothing"),
    ("uses: [running]", "uses: [running]\n    evidence: call off", "reads-nothing"),
    ("    computes: voltage-unbalance(value-1, value-2, value-3)\n", "", "reads-nothing"),
    ("value-1, value-2, value-3)\n    not_decided: close-bad\n    bands:\n      - {name: even", "value-1, value-2, value-2)\n    not_decided: close-bad\n    bands:\n      - {name: even", "not-worked-out"),
    ("computes: voltage-unbalance(value-1, value-2, value-3)", "computes: voltage-unbalance(value, value, value)", "limit"),
    ("computes: current-unbalance(value-1, value-2, value-3)", "computes: voltage-unbalance(value-1, value-2, value-3)", "limit"),
]


@pytest.mark.parametrize(("find", "put", "code"), FAULTS)
def test_what_cannot_be_used_is_a_fault_with_its_place(find, put, code):
    files = shipped_files()
    text = files["three-phase-supply.yaml"].decode()
    assert find in text
    with pytest.raises(FaultyFileError) as caught:
        make_plan(load_library({**files, "three-phase-supply.yaml": text.replace(find, put, 1).encode()}), "three-phase-supply")
    assert code in {d.code for d in caught.value.diagnostics}
