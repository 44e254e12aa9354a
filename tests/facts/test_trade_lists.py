"""Lists of what differs: a replacement motor, a machine before its hand-over. Missing counts as not in order."""

from dataclasses import replace
from decimal import Decimal

import pytest

from ohmward.errors import FaultyFileError
from ohmward.shop.nameplate import read_nameplate
from ohmward.trade.quantity import Quantity, parse_quantity
from ohmward.trade.replacement import Nameplate, replacement_differences
from ohmward.trade.return_to_service import AsLeft, not_ready
from ohmward.trade.span import Interval

Q = parse_quantity
OLD = Nameplate(
    voltage=Q("120 V"), frequency=Q("60 Hz"), phases="single-phase", power=Q("0.25 hp"), speed=Q("1000 rpm"), full_load=Q("3.2 A"), frame="48Y",
    shaft="1/2 in", rotation="clockwise", capacitance=Q("7.5 uF"), capacitor_voltage=Q("370 V"), protection="automatic",
)  # fmt: skip


def differing(**changed):
    return [(d.what, d.stops) for d in replacement_differences(OLD, replace(OLD, **changed))]


def test_the_same_motor_differs_in_nothing():
    assert replacement_differences(OLD, OLD) == ()


# common practice, no source: what each difference means
@pytest.mark.parametrize(
    ("changed", "found"),
    [
        ({"voltage": Q("0.12 kV")}, []),
        ({"voltage": Q("121 V")}, [("voltage", True)]),
        ({"frequency": Q("50 Hz")}, [("frequency", True)]),
        ({"phases": "three-phase"}, [("phases", True)]),
        ({"power": Q("0.24 hp")}, [("power", True)]),
        ({"power": Q("0.26 hp")}, [("power", False)]),
        ({"speed": Q("1050 rpm")}, []),
        ({"speed": Q("950 rpm")}, []),
        ({"speed": Q("1051 rpm")}, [("speed", True)]),
        ({"speed": Q("949 rpm")}, [("speed", True)]),
        ({"full_load": Q("3.1 A")}, []),
        ({"full_load": Q("3.3 A")}, [("full-load current", True)]),
        ({"frame": "56"}, [("frame", True)]),
        ({"shaft": "5/8 in"}, [("shaft", True)]),
        ({"rotation": "reversible"}, [("rotation", False)]),
        ({"rotation": "counter-clockwise"}, [("rotation", True)]),
        ({"capacitance": Q("10 uF")}, [("run capacitor", True)]),
        ({"capacitance": Q("0 uF"), "capacitor_voltage": None}, [("run capacitor", True)]),
        ({"capacitor_voltage": Q("370 V")}, []),
        ({"capacitor_voltage": Q("371 V")}, [("capacitor's rated voltage", True)]),
        ({"capacitor_voltage": Q("330 V")}, []),
        ({"capacitor_voltage": None}, [("capacitor's rated voltage", True)]),
        ({"protection": "none"}, [("thermal protection", True)]),
        ({"protection": "manual"}, [("thermal protection", False)]),
        *(({name: None}, [(what, True)]) for name, what in (
            ("voltage", "voltage"), ("frequency", "frequency"), ("phases", "phases"), ("power", "power"), ("speed", "speed"), ("full_load", "full-load current"),
            ("frame", "frame"), ("shaft", "shaft"), ("rotation", "rotation"), ("capacitance", "run capacitor"), ("protection", "thermal protection"),
        )),
    ],
)  # fmt: skip
def test_each_difference_is_told_and_what_is_not_said_stops(changed, found):
    assert differing(**changed) == found


def test_what_the_old_plate_does_not_say_stops_as_well():
    for name, what in (("voltage", "voltage"), ("power", "power"), ("speed", "speed"), ("full_load", "full-load current"), ("rotation", "rotation"), ("capacitance", "run capacitor"), ("capacitor_voltage", "capacitor's rated voltage"), ("protection", "thermal protection")):
        assert [(d.what, d.old, d.stops) for d in replacement_differences(replace(OLD, **{name: None}), OLD)] == [(what, "not said", True)]


def test_protection_that_starts_by_itself_stops_where_it_did_not_before():
    old = replace(OLD, protection="manual")
    (only,) = replacement_differences(old, OLD)
    assert (only.what, only.stops) == ("thermal protection", True)
    assert "starts again by itself" in only.means
    assert [d.stops for d in replacement_differences(replace(OLD, protection="none"), replace(OLD, protection="impedance"))] == [False]


def test_a_reversible_motor_for_a_reversible_one_is_no_difference_and_a_fixed_one_is():
    both = replace(OLD, rotation="reversible")
    assert replacement_differences(both, both) == ()
    assert [(d.what, d.stops) for d in replacement_differences(both, OLD)] == [("rotation", True)]


def test_what_stops_comes_first():
    found = replacement_differences(OLD, replace(OLD, power=Q("1 hp"), protection="none"))
    assert [d.stops for d in found] == [True, False]


def test_a_nameplate_is_read_from_its_file_with_every_fault():
    assert read_nameplate(b"voltage: 120 V\ncapacitance: 0 uF\nphases: single-phase\n", "p.yaml") == Nameplate(voltage=Q("120 V"), capacitance=Q("0 uF"), phases="single-phase")
    with pytest.raises(FaultyFileError) as caught:
        read_nameplate(b"voltage: 0 V\nspeed: 12 V\nrotation: left\n", "p.yaml")
    assert [d.code for d in caught.value.diagnostics] == ["bad-value", "bad-value", "unknown-word"]


# -- return to service ------------------------------------------------------------------------------------------

GOOD = AsLeft(guards_on=True, left_in_place=(), unanswered_trips=(), nominal=Q("208 V"), supply=(Q("208 V"), Q("208 V"), Q("208 V")), currents=(Q("7.2 A"), Q("7.1 A"), Q("7.2 A")), full_load=Q("7.2 A"), phases="three-phase", moves_air=False, cools=False)


def unready(**changed):
    return [(n.what, n.why) for n in not_ready(replace(GOOD, **changed))]


def test_what_was_looked_at_and_is_in_order_is_ready():
    assert not_ready(GOOD) == ()


def between(low: str, high: str, unit: str) -> Interval:
    return Interval(Quantity(Decimal(low), unit), Quantity(Decimal(high), unit))


# Source: 29 CFR 1910.147(e), 1910.333(b)(2)(v); NEMA MG 1, 12.44 (secondary); NEC 430.6(A)(2) (secondary)
@pytest.mark.parametrize(
    ("changed", "what", "why"),
    [
        ({"guards_on": None}, "guards and covers", "nobody looked"),
        ({"guards_on": False}, "guards and covers", "not on"),
        ({"left_in_place": None}, "left in place", "nobody looked"),
        ({"left_in_place": ("test lead",)}, "left in place", "test lead"),
        ({"unanswered_trips": None}, "trips without a cause", "nobody looked"),
        ({"unanswered_trips": ("branch breaker",)}, "trips without a cause", "branch breaker"),
        ({"supply": ()}, "supply", "not read, or its nominal voltage is not known"),
        ({"nominal": None}, "supply", "not read, or its nominal voltage is not known"),
        ({"supply": (Q("187.1 V"),), "phases": "single-phase"}, "supply", "187.1 V is not within 187.2 V to 228.8 V"),
        ({"supply": (Q("228.9 V"),), "phases": "single-phase"}, "supply", "228.9 V is not within 187.2 V to 228.8 V"),
        ({"supply": (between("187", "188", "V"),), "phases": "single-phase"}, "supply", "187 V to 188 V is not within 187.2 V to 228.8 V, as far as the instrument can tell"),
        ({"supply": (Q("205 V"), Q("208 V"), Q("212 V"))}, "voltage unbalance", "1.76 % is not shown to be at most 1 %"),
        ({"currents": ()}, "running current", "not read, or the nameplate current is not known"),
        ({"full_load": None}, "running current", "not read, or the nameplate current is not known"),
        ({"currents": (Q("7.21 A"),), "phases": "single-phase"}, "running current", "7.21 A is above the nameplate's 7.2 A"),
        ({"currents": (between("7.1", "7.3", "A"),), "phases": "single-phase"}, "running current", "7.1 A to 7.3 A cannot be told from the nameplate's 7.2 A"),
        ({"moves_air": True}, "airflow", "not read"),
        ({"moves_air": True, "airflow_in_order": False}, "airflow", "not in order"),
        ({"cools": True, "airflow_in_order": True, "charge": "below target"}, "charge", "below target"),
        ({"cools": True, "airflow_in_order": True}, "charge", "not known before the airflow is in order"),
        ({"cools": True, "airflow_in_order": None, "charge": "in order"}, "charge", "not known before the airflow is in order"),
    ],
)  # fmt: skip
def test_each_reason_against_a_hand_over_is_told(changed, what, why):
    assert unready(**changed) == [(what, why)]


def test_the_bounds_themselves_are_in_order():
    assert unready(supply=(Q("187.2 V"),), phases="single-phase") == []
    assert unready(supply=(Q("228.8 V"),), phases="single-phase") == []
    assert unready(supply=(Q("198 V"), Q("200 V"), Q("202 V")), nominal=Q("200 V")) == []
    assert unready(moves_air=True, airflow_in_order=True, cools=True, charge="in order") == []


def test_the_charge_is_never_in_order_while_the_airflow_is_not():
    found = unready(moves_air=True, cools=True, airflow_in_order=False, charge="in order")
    assert [w for w, _ in found] == ["airflow", "charge"]


def test_the_most_dangerous_comes_first():
    assert [w for w, _ in unready(guards_on=False, currents=(), supply=())] == ["guards and covers", "supply", "running current"]
