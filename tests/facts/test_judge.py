"""Where a reading stands: at, just under and just over each bound of range, span, band and of what decides."""

from decimal import Decimal

import pytest

from ohmward.account.judge import NOT_DECIDED, Accuracy, judge_reading, judge_spans, parse_value
from ohmward.trade.quantity import QuantityError, parse_quantity, with_unit
from ohmward.trade.span import Interval

Q = parse_quantity


def accuracy(percent="0", counts=0, resolution="0.1 V", up_to=None):
    return Accuracy(percent=Decimal(percent), counts=counts, resolution=Q(resolution), up_to=Q(up_to) if up_to else None)


EXACT = accuracy()
GOOD = accuracy("1", 2)
BANDS = [{"name": "dead", "below": "3 V"}, {"name": "unexplained", "below": "50 V"}, {"name": "live"}]


def step(bands=BANDS, leaving=(), **more):
    outcomes = [{"name": b["name"], "then": "fail" if b["name"] in leaving else "", "effects": []} for b in bands]
    return {"unit": "V", "slot": "voltmeter", "decided_by": "largest", "bands": bands, "outcomes": outcomes} | more


def judged(*said, known=EXACT, names=None, **more):
    return judge_reading(step(**more), [(f"p{n}", text) for n, text in enumerate(said)], known, names or {})


def test_the_lowest_temperature_there_is_can_be_typed_and_nothing_below_it():
    assert parse_value("-273.15", "degC") == Q("-273.15 degC")
    with pytest.raises(QuantityError, match="below absolute zero"):
        parse_value("-273.16", "degC")


@pytest.mark.parametrize(("said", "outcome"), [("599.9", "live"), ("600", "live"), ("600.1", NOT_DECIDED), ("6000", NOT_DECIDED)])
def test_a_value_above_the_range_of_the_instrument_is_not_one_that_it_shows(said, outcome):
    found = judged(said, known=accuracy(up_to="600 V"))
    assert found.outcome == outcome
    assert found.why == (f"{said} at p0 is above the range of the instrument (600 V)" if outcome == NOT_DECIDED else f"{said} V to {said} V")


@pytest.mark.parametrize(
    ("said", "low", "high"),
    [("0.5", "0.29 V", "0.71 V"), ("0.1", "0 V", "0.31 V"), ("10", "9.7 V", "10.3 V"), ("10.3", "9.99 V", "10.61 V"), ("33.3", "32.76 V", "33.84 V")],
)
def test_a_span_is_printed_to_a_tenth_of_a_count_outwards_and_never_below_nothing(said, low, high):
    (value,) = judged(said, known=GOOD).values
    assert (value.low, value.high) == (low, high)


@pytest.mark.parametrize(("said", "outcome"), [(("2.9", "2.9"), "dead"), (("2.9", "3"), "unexplained"), (("0", "49.9"), "unexplained"), (("0", "50"), "live"), (("50", "0"), "live")])
def test_the_largest_decides_in_whatever_order_they_are_read(said, outcome):
    assert judged(*said).outcome == outcome


def test_the_largest_alone_decides_though_a_smaller_one_would_leave():
    assert judged("1", "60", leaving=("dead",)).outcome == "live"
    assert judged("1", "60", leaving=("dead",), decided_by="each").outcome == "dead"


def test_the_smallest_alone_decides_though_a_larger_one_would_leave():
    assert judged("1", "60", leaving=("live",), decided_by="smallest").outcome == "dead"
    assert judged("60", "1", leaving=("live",), decided_by="smallest").outcome == "dead"
    assert judged("1", "OL", leaving=("live",), decided_by="smallest").outcome == "dead"


def test_of_two_spans_the_one_that_reaches_further_decides():
    functions = (accuracy("0", 0), accuracy("0", 40))  # 2.9 V, and 1 V give or take 4 V
    found = judged("2.9", "1", known=functions)
    assert found.outcome == NOT_DECIDED
    assert "'dead' from 'unexplained'" in found.why
    found = judged("1", "2.9", known=functions[::-1], decided_by="smallest", bands=[{"name": "none", "below": "0.5 V"}, {"name": "some"}])
    assert found.outcome == NOT_DECIDED


def test_a_limit_that_is_not_known_is_said_from_whichever_side_it_is_met():
    unknown = [{"name": "low", "below": "3 V"}, {"name": "mid", "below": "fact.x"}, {"name": "high"}]
    found = judged("2.99", known=GOOD, bands=unknown)
    assert found.outcome == NOT_DECIDED
    assert found.why.startswith("the limit of 'mid' is not known")
    found = judged("5", known=GOOD, bands=unknown)
    assert found.why.startswith("the limit of 'mid' is not known")
    assert judged("2", known=GOOD, bands=unknown).outcome == "low"


def test_over_range_is_the_last_band_only_where_the_range_reaches_into_it():
    bands = [{"name": "low", "below": "5 ohm"}, {"name": "some", "below": "50 ohm"}, {"name": "open", "over_range": "here"}]
    for top, outcome in (("49.9 ohm", NOT_DECIDED), ("50 ohm", "open"), ("60 ohm", "open")):
        assert judged("OL", known=accuracy(resolution="0.1 ohm", up_to=top), bands=bands, unit="ohm").outcome == outcome


@pytest.mark.parametrize(("text", "whole"), [("12", "12 V"), ("12 V", "12 V"), ("12V", "12V"), ("1.5 kV", "1.5 kV"), ("3 %", "3 %"), ("OL", "OL"), ("4 Ω", "4 Ω"), ("7 V ", "7 V ")])
def test_a_bare_number_takes_the_unit_and_anything_else_stays_as_it_is(text, whole):
    assert with_unit(text, "V") == whole


def test_what_is_worked_out_from_spans_needs_every_one_of_them():
    small = Interval(Q("1 V"), Q("2 V"))
    assert judge_spans(step(), (small, small), {})[0] == "dead"
    assert judge_spans(step(), (small, None), {}) == (NOT_DECIDED, "one value is over range: nothing is worked out from it")
