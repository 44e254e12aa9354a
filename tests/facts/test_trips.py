"""After a trip: what shows an overload, and how often something is closed again, over all visits."""

from datetime import timedelta

import pytest

from ohmward.account.history import closings_after_trips, machine_key, readings_of
from ohmward.account.names import names_for
from ohmward.errors import AnswerError, FaultyFileError, RefusedError
from ohmward.rehearsal.script import FileAnswers, ScriptClock, read_script
from ohmward.shop.folder import make_shop, open_shop
from ohmward.shop.snapshot import gear_snapshot
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.opening import accounts_of, open_run
from ohmward.work.drive import drive
from ohmward.work.intents import Correct
from tests.conftest import ROOT
from tests.facts.shopping import DAY, Bench, good

pytestmark = pytest.mark.long  # nothing here walks a line that no other fact walks

SCRIPT = (ROOT / "tests" / "rehearsals" / "after-a-trip.yaml").read_text()
CAUSE = """- step: cause-answered(line-side).cause
  say: 'a fault was found and put right, circuit and equipment read in order'
"""


def overload(device: str, load: str, time: str, *last: str) -> str:
    lines = ["cause", "device", "load", "time", *["shown"] * len(last)]
    said = ["an overload only", device, load, time, *last]
    return SCRIPT.replace(CAUSE, "".join(f"- step: cause-answered(line-side).{n}\n  say: '{s}'\n" for n, s in zip(lines, said, strict=True)))


@pytest.fixture
def shop(tmp_path):
    make_shop(tmp_path, DAY.date())
    return tmp_path


def worked(shop, script: str = SCRIPT, *, later: timedelta = timedelta(0)):
    clock = ScriptClock(lambda: DAY + later)
    session = open_run(open_shop(str(shop)), shop / "job-proving-fan.yaml", "after-a-trip", clock, rehearsal=True)
    try:
        assert drive(session, FileAnswers(read_script(script.encode(), "a.yaml"), "a.yaml", clock))
        return session.account
    finally:
        session.store.close()


# Source: 29 CFR 1910.334(b)(2) and its note; what shows an overload is ours
def test_an_overload_that_loads_and_time_show_is_closed_again(shop):
    account = worked(shop, overload("breaker", "21.5", "90", "yes, and it is taken off"))
    assert account.node == "end supplied"
    assert account.opened["job"]["facts"]["load-at-trip"] == "21.5 A"


@pytest.mark.parametrize(
    ("device", "load", "time", "words"),
    [
        ("breaker", "14.9", "90", "14.9 A for 90 s on a breaker of 15 A does not show an overload. Look for a fault."),
        ("breaker", "21.5", "0.1", "21.5 A for 0.1 s on a breaker of 15 A does not show an overload."),
        ("breaker", "46", "90", "46 A for 90 s"),
        ("ground-fault-device", "21.5", "90", "on a ground-fault-device of 15 A"),
    ],
)
def test_what_they_do_not_show_is_no_overload_and_what_was_too_little_is_said(shop, device, load, time, words):
    with pytest.raises(AnswerError, match="not taken") as caught:
        worked(shop, overload(device, load, time, "yes, and it is taken off"))
    assert words in " ".join(str(caught.value).split())


def test_it_is_closed_twice_within_a_day_and_not_a_third_time(shop):
    worked(shop)
    worked(shop, later=timedelta(hours=1))
    with pytest.raises(RefusedError, match="closed again after a trip 2 times within a day"):
        worked(shop, later=timedelta(hours=2))
    worked(shop, later=timedelta(hours=24, minutes=1))  # the first is more than a day ago, the second is not
    with pytest.raises(RefusedError, match="2 times within a day"):
        worked(shop, later=timedelta(hours=24, minutes=30))


def test_evidence_of_the_trip_is_asked_whatever_the_job_sheet_says(shop):
    job = shop / "job-proving-fan.yaml"
    job.write_text(job.read_text().replace("  capacitance: 7.5 uF\n", "  capacitance: 7.5 uF\n  tripped-device: breaker\n  load-at-trip: 21.5 A\n  time-to-trip: 90 s\n"))
    account = worked(shop, overload("breaker", "25", "60", "yes, and it is taken off"))
    assert account.opened["job"]["facts"]["load-at-trip"] == "25 A"


def test_a_day_is_written_one_way_only(shop):
    register = shop / "gear.yaml"
    register.write_text(register.read_text().replace("tested: 2020-01-15", "tested: 20200115"))
    with pytest.raises(FaultyFileError, match="is not a day such as 2026-03-01"):
        open_shop(str(shop))


def test_a_circuit_that_the_procedure_does_not_declare_gives_no_name(shop):
    job = shop / "job-proving-fan.yaml"
    job.write_text(job.read_text() + "  gear: {to_ground: 1 V, phase_to_phase: 1 V, category: 4, protection: 1 A, conductors: [a]}\n")
    session = open_run(open_shop(str(shop)), job, "isolate", lambda: DAY, rehearsal=True)
    names = names_for(session.account.opened, {}, {"env": {}}, session.account.table.data, "2026-11-25")
    assert not {n for n in names if n.startswith("gear.")}


def test_another_machine_and_a_rehearsal_count_for_themselves(shop):
    worked(shop)
    accounts = accounts_of(SqliteStore(shop / "records.db"))
    assert closings_after_trips(accounts, "proving-fan", DAY, rehearsal=True) == 1
    assert closings_after_trips(accounts, "proving-fan", DAY, rehearsal=False) == 0
    assert closings_after_trips(accounts, "other-fan", DAY, rehearsal=True) == 0
    assert closings_after_trips(accounts, "proving-fan", DAY + timedelta(hours=24), rehearsal=True) == 1
    assert closings_after_trips(accounts, "proving-fan", DAY + timedelta(hours=24, seconds=1), rehearsal=True) == 0


# -- before the first step: what the nameplate says must be possible ------------------------------------------------


def test_a_nameplate_current_that_cannot_be_is_refused_with_its_numbers(shop):
    job = shop / "job-proving-fan.yaml"
    job.write_text(job.read_text().replace("full-load-current: 3.2 A", "full-load-current: 32 A"))
    with pytest.raises(RefusedError) as caught:
        open_run(open_shop(str(shop)), job, "run-motor-directly", lambda: DAY, rehearsal=True)
    assert "32 A is no current for a single-phase motor of 0.25 hp at 120 V. Read the nameplate again." in str(caught.value)


@pytest.mark.parametrize(("bare", "good"), [("2026-10-01", True), ("2026-10-26", False), ("2026-11-20", False), ("2026-11-26", True)])
def test_gloves_used_without_leather_are_out_of_test_from_that_day(shop, bare, good):
    # Source: 29 CFR 1910.137(c)(2)(vii)(D); tested on 2026-10-26 in this shop
    register = shop / "gear.yaml"
    register.write_text(register.read_text().replace('glove_class: "0",', f'glove_class: "0", used_bare: {bare},'))
    folder = open_shop(str(shop))
    first, last = gear_snapshot(folder.register, {})["G-11"]["dates"]
    assert (first <= "2026-11-25" <= last) is good


@pytest.mark.parametrize(("one", "other", "same"), [("proving-fan", "Proving Fan", True), ("proving-fan", "PROVING_FAN ", True), ("proving-fan", "proving-fan-2", False), ("Ofen 1", "Ofen 11", False), ("---", "--", False), ("fan-1-11", "fan-11-1", False), ("pump-1-2", "pump-12", False), ("fan-1", "Fan 01", True), ("m-10", "m-1", False), ("m-0", "m-00", True)])
def test_a_machine_spelled_otherwise_is_the_same_machine_and_another_number_is_another(one, other, same):
    assert (machine_key(one) == machine_key(other)) is same


def test_a_reading_that_was_corrected_is_no_longer_told_as_what_was_read(tmp_path):
    bench = Bench(tmp_path / "s")
    bench.play(good(until="step: read.insulation"))
    step = "read.windings"
    assert step in {e.step for e, _ in readings_of(bench.account)}
    assert bench.session.apply(Correct(step=step, why="the other lead")).taken
    assert step not in {e.step for e, _ in readings_of(bench.account)}
