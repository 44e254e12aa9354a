"""Answers that a record cannot hold: who signs, what was picked, where it was read, which word a fact is."""

from datetime import UTC, datetime, timedelta

import pytest

from ohmward.account.answers import may_sign, unlike_values
from ohmward.account.facts import check_declared
from ohmward.account.history import closings_after_trips, earlier_readings
from ohmward.account.judge import judge_reading
from ohmward.account.moments import moment
from ohmward.account.names import accuracy_of
from ohmward.record.entry import Kind
from ohmward.trade.quantity import QuantityError
from tests.facts.shopping import DAY, Bench, good
from tests.facts.test_judge import EXACT, step
from tests.facts.test_work import find, forged

TODAY = "2026-11-25"


@pytest.fixture
def bench(tmp_path):
    made = Bench(tmp_path)
    made.play(good())
    return made


@pytest.mark.parametrize(
    ("role", "person", "why"),
    [
        ("worker", "P-02", ""),
        ("worker", "P-01", "P-01 is not the worker here"),
        ("second", "P-01", ""),
        ("second", "P-02", "the worker cannot be the second person"),
        ("supervisor", "P-01", ""),
        ("supervisor", "P-02", "P-02 is not somebody else who is qualified for this equipment"),
        ("supervisor", "P-04", "P-04 is not somebody else who is qualified for this equipment"),
    ],
)
def test_who_may_sign_in_which_role(bench, role, person, why):
    assert may_sign(bench.account, {"role": role}, person, TODAY) == why


def test_gear_that_is_not_for_the_slot_was_not_picked(bench):
    at = next(i for i, e in enumerate(bench.account.entries) if e.outcome == "suits" and e.step.startswith("meter-rated("))
    gloves = next(n for n, g in bench.account.opened["gear"].items() if "gloves" in g["slots"])
    assert f"{gloves} is not registered for voltmeter" in forged(bench, at, said=gloves)


def test_a_reading_at_other_points_was_not_read(bench):
    at = next(i for i, e in enumerate(bench.account.entries) if e.kind is Kind.ANSWERED and len(e.values) > 1)
    entry = bench.account.entries[at]
    assert "has other points than its step" in forged(bench, at, values=entry.values[::-1])


def test_an_answer_that_nobody_could_give_is_no_wrong_one(bench):
    at = find(bench, next(e.step for e in bench.account.entries if e.step.startswith("meter-rated(")))
    entry = bench.account.entries[at]._replace(outcome="not decided", said="cannot")
    assert unlike_values(bench.account, entry) == ""


def test_a_word_that_a_fact_cannot_be_is_refused():
    with pytest.raises(QuantityError, match="'steam' is not one of: gas, oil"):
        check_declared({"one_of": ["gas", "oil"]}, "fuel", "steam")
    assert check_declared({"one_of": ["gas", "oil"]}, "fuel", "oil") == "oil"


def test_a_moment_without_its_zone_is_none():
    assert moment("2026-11-25T10:00:00+02:00") == datetime(2026, 11, 25, 8, tzinfo=UTC)
    with pytest.raises(ValueError, match="lacks its time zone"):
        moment("2026-11-25T10:00:00")


def test_a_value_above_every_band_is_in_none():
    found = judge_reading(step([{"name": "low", "below": "3 V"}]), [("p", "5")], EXACT, {})
    assert (found.outcome, found.why) == ("not decided", "no band takes this value")


def test_an_instrument_that_states_no_accuracy_has_none(bench):
    assert accuracy_of({"gear": {}}, {}, {"slot": "voltmeter"}, "ac volts") is None
    assert accuracy_of({"gear": {"M-1": {"accuracy": {}}}}, {"voltmeter": "M-1"}, {"slot": "voltmeter"}, "ac volts") is None


def test_what_cannot_have_been_tells_no_earlier_reading_and_still_counts_its_closings(bench):
    from dataclasses import replace

    account = bench.account
    equipment = account.opened["job"]["equipment"]
    late = DAY + timedelta(hours=20)
    assert earlier_readings([account], equipment, rehearsal=True)
    forged_one = replace(account, impossible="entry 3: it cannot be")
    assert earlier_readings([forged_one], equipment, rehearsal=True) == {}
    tripped = replace(account, opened={**account.opened, "start": {**account.opened["start"], "trip branch-breaker": "unanswered"}})
    once = closings_after_trips([tripped], equipment, late, rehearsal=True)
    assert once == closings_after_trips([replace(tripped, impossible="x")], equipment, late, rehearsal=True)
    assert once > closings_after_trips([account], equipment, late, rehearsal=True) == 0
