"""The trade's numbers against what is published; the source stands beside each."""

from datetime import date
from decimal import Decimal

import pint
import pytest
from hypothesis import given
from hypothesis import strategies as st

from ohmward.trade.capacitor import capacitance_under_load
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.fault_current import fault_after_run, fault_highest, with_motors
from ohmward.trade.formula import Refused, up_through
from ohmward.trade.instruments import lowest_rating, rating_covers
from ohmward.trade.quantity import (
    UNITS,
    Quantity,
    QuantityError,
    dimension_of,
    parse_quantity,
    unit_named,
)
from ohmward.trade.refrigerant import airflow_in_order, target_superheat
from ohmward.trade.shock import (
    GLOVE_USE_VOLTAGE,
    OutsideTableError,
    approach_distance,
    glove_class_for,
    gloves_in_test,
    months_after,
    voltage_to_ground,
)
from ohmward.trade.span import Interval

Q = parse_quantity

# Source: 29 CFR 1910.137 Table I-4 (2014 text), maximum use voltage AC rms
TABLE_I_4 = {"00": "500 V", "0": "1000 V", "1": "7500 V", "2": "17000 V", "3": "26500 V", "4": "36000 V"}
# Source: 29 CFR 1910.333(c)(3)(ii) Table S-5
TABLE_S_5 = [
    ("0 V", None), ("0.5 V", None), ("300 V", None), ("300.1 V", "30.5 cm"), ("750 V", "30.5 cm"), ("751 V", "46 cm"), ("2 kV", "46 cm"),
    ("15 kV", "61 cm"), ("37 kV", "91 cm"), ("87.5 kV", "107 cm"), ("121 kV", "122 cm"), ("140 kV", "137 cm"),
]


@pytest.mark.parametrize(("name", "volts"), TABLE_I_4.items())
def test_glove_classes_are_those_of_table_i_4(name, volts):
    assert GLOVE_USE_VOLTAGE[name] == Q(volts)
    assert glove_class_for(Q(volts)) == name


def test_a_class_covers_its_limit_and_not_a_volt_more():
    assert glove_class_for(Q("500 V")) == "00"
    assert glove_class_for(Q("501 V")) == "0"
    with pytest.raises(OutsideTableError):
        glove_class_for(Q("36001 V"))


@pytest.mark.parametrize(("volts", "distance"), TABLE_S_5)
def test_approach_distances_are_those_of_table_s_5(volts, distance):
    assert approach_distance(Q(volts)) == (Q(distance) if distance else None)


@pytest.mark.parametrize("volts", ["140.1 kV", "-1 V"])
def test_outside_the_table_nothing_is_extrapolated(volts):
    with pytest.raises(OutsideTableError):
        approach_distance(Q(volts))


@pytest.mark.parametrize(
    ("tested", "issued", "today", "good"),
    [
        # Source: 29 CFR 1910.137 Table I-5 (6 months in service) and note 1 (12 months before issue)
        ("2026-01-15", "2026-02-01", "2026-07-15", True),
        ("2026-01-15", "2026-02-01", "2026-07-16", False),
        ("2026-01-15", None, "2027-01-15", True),
        ("2026-01-15", None, "2027-01-16", False),
        ("2026-08-31", "2026-09-01", "2027-02-28", True),
        ("2026-08-31", "2026-09-01", "2027-03-01", False),
        ("2026-01-15", None, "2026-01-15", True),
        ("2026-01-15", None, "2026-01-14", False),  # a test in the future permits nothing
    ],
)
def test_gloves_are_in_test_as_table_i_5_says(tested, issued, today, good):
    first = date.fromisoformat(issued) if issued else None
    assert gloves_in_test(tested=date.fromisoformat(tested), first_issued=first, today=date.fromisoformat(today)) is good


def test_a_month_ends_where_the_shorter_month_ends():
    assert months_after(date(2026, 12, 31), 2) == date(2027, 2, 28)


@pytest.mark.parametrize(
    ("have", "volts", "needs", "to_ground", "good"),
    [
        # Source: IEC 61010 test voltages (secondary source): category counts before voltage
        (3, "600 V", 3, "120 V", True),
        (2, "1000 V", 3, "120 V", False),
        (4, "600 V", 3, "600 V", True),
        (3, "600 V", 3, "601 V", False),
    ],
)
def test_category_counts_before_voltage(have, volts, needs, to_ground, good):
    assert rating_covers(category=have, rated_for=Q(volts), needed_category=needs, to_ground=Q(to_ground)) is good


def test_the_lowest_part_rates_the_chain():
    assert lowest_rating(((3, Q("600 V")), (2, Q("1000 V")))) == (2, Q("600 V"))
    assert lowest_rating(((2, Q("600 V")), (3, Q("300 V")))) == (2, Q("300 V"))
    with pytest.raises(ValueError, match="a chain without parts has no rating"):
        lowest_rating(())


def test_voltage_to_ground_of_an_ungrounded_circuit_is_the_greatest_between_conductors():
    # Source: 29 CFR 1910.399, "voltage to ground"
    assert voltage_to_ground(grounded=True, to_grounded_point=Q("120 V"), conductors=Q("208 V")) == Q("120 V")
    assert voltage_to_ground(grounded=False, to_grounded_point=Q("120 V"), conductors=Q("208 V")) == Q("208 V")


def test_a_meter_vouches_for_an_interval():
    # Source: worked accuracy example in a trade magazine's forum (secondary): ±0.7 % + 2 counts on 120 V
    span = Interval.around(Q("120 V"), percent=Decimal("0.7"), counts=2, resolution=Q("0.1 V"))
    assert (str(span.low), str(span.high)) == ("118.96 V", "121.04 V")
    assert str(span) == "118.96 V to 121.04 V"
    assert str(Interval(Q("3 V"), Q("3 V"))) == "3 V"
    with pytest.raises(QuantityError):
        Interval(Q("2 V"), Q("1 V"))


def test_decimals_are_exact():
    assert str(Q("208 V").times(Decimal("0.9"))) == "187.2 V"
    assert 208 * 0.9 != 187.2  # in doubles it is not: why Decimal


@pytest.mark.parametrize("text", ["", "V", "1e3 V", "١٢ V", "1 furlong", "NaN V", "Infinity V", "1,5 V", "1" * 13 + " V", "--1 V"])
def test_what_is_no_quantity_is_refused_in_words(text):
    with pytest.raises(QuantityError):
        parse_quantity(text)


def test_a_quantity_is_finite():
    with pytest.raises(QuantityError, match="a quantity must be finite"):
        Quantity(Decimal("NaN"), "V")


def test_different_kinds_never_compare():
    with pytest.raises(QuantityError, match="of different kinds"):
        Q("1 V").compare(Q("1 A"))
    assert Q("1 kV").compare(Q("1000 V")) == 0
    assert str(Q("-0 V")) == "0 V"
    assert str(Q("1.50 V").plus(Q("500 mV"))) == "2 V"
    assert unit_named("Ω") == "ohm"
    assert dimension_of("%") == "number"


REGISTRY = pint.UnitRegistry(autoconvert_offset_to_baseunit=True)
_PINT = {
    "": "dimensionless", "%": "percent", "uF": "microfarad", "uA": "microampere", "kohm": "kiloohm", "Mohm": "megaohm", "Gohm": "gigaohm",
    "d": "day", "in": "inch", "ft": "foot", "hp": "horsepower", "VA": "volt*ampere", "kVA": "kilovolt*ampere", "nF": "nanofarad", "mF": "millifarad",
    "Btuh": "Btu_it/hour", "ton": "ton_of_refrigeration", "rpm": "revolution/minute", "cfm": "foot**3/minute", "cmil": "circular_mil", "kcmil": "kilocircular_mil",
    "cal/cm2": "thermochemical_calorie/centimeter**2", "K": "delta_degC", "delta-degF": "delta_degF", "bara": "bar", "psia": "psi", "kPag": "kPa", "barg": "bar", "psig": "psi",
    "degC": "degC", "degF": "degF",
}
_BASE = {
    "number": "", "voltage": "V", "current": "A", "resistance": "ohm", "capacitance": "uF", "power": "W", "apparent power": "VA", "frequency": "Hz", "time": "s",
    "length": "m", "energy": "J", "speed": "rpm", "wire area": "cmil", "airflow": "cfm", "incident energy": "cal/cm2", "temperature difference": "K",
    "absolute pressure": "Pa", "gauge pressure": "Pa", "temperature": "kelvin",
}


@pytest.mark.parametrize("unit", UNITS)
@pytest.mark.parametrize("value", [1, 250, -40])
def test_units_agree_with_an_independent_library(unit, value):
    base = _BASE[dimension_of(unit)]
    theirs = REGISTRY.Quantity(value, _PINT.get(unit, unit)).to(_PINT.get(base, base)).magnitude
    assert float(Quantity(Decimal(value), unit).base) == pytest.approx(theirs, rel=2e-7 if unit == "ton" else 1e-9)  # its ton is of another Btu


def test_a_temperature_and_a_difference_of_temperatures_are_two_kinds():
    assert Q("95 degF").plus(Q("55 degF"), -1) == Q("40 delta-degF")
    assert Q("20 degC").plus(Q("18 delta-degF")) == Q("30 degC")
    assert Q("20 degC").plus(Q("10 K"), -1) == Q("10 degC")
    assert Q("122 degF").compare(Q("50 degC")) == 0
    for bad in (lambda: Q("20 degC").plus(Q("20 degC")), lambda: Q("20 degC").compare(Q("20 K")), lambda: Q("1 psig").compare(Q("1 psia"))):
        with pytest.raises(QuantityError):
            bad()


@given(st.decimals(min_value=0, max_value=10**6, places=4), st.sampled_from(["V", "mV", "kV"]))
def test_a_change_of_unit_changes_no_comparison(value, unit):
    quantity = Quantity(value, "V")
    assert quantity.to(unit).compare(quantity) == 0


def of(text):
    return parse_quantity(text)


def test_bounds_of_fault_current_are_at_their_values():
    """An impedance of 20 % is taken, above it is not; no length and no motors are taken, below nothing are not."""
    power, volts = of("75 kVA"), of("208 V")
    assert fault_highest("three-phase", power, volts, of("20 %")).value > 0
    with pytest.raises(Refused):
        fault_highest("three-phase", power, volts, of("20.1 %"))
    fault, constant, one = of("10 kA"), Quantity(Decimal(4774), ""), Quantity(Decimal(1), "")
    assert fault_after_run("three-phase", fault, Quantity(Decimal(0), "ft"), volts, constant, one).compare(fault) == 0
    assert fault_after_run("three-phase", fault, Quantity(Decimal("0.5"), "ft"), volts, constant, one).compare(fault) < 0
    with pytest.raises(Refused):
        fault_after_run("three-phase", fault, Quantity(Decimal("-0.5"), "ft"), volts, constant, one)
    assert with_motors(fault, Quantity(Decimal(0), "A")).compare(fault) == 0
    assert with_motors(fault, Quantity(Decimal("0.5"), "A")).compare(of("10002 A")) == 0
    with pytest.raises(Refused):
        with_motors(fault, Quantity(Decimal("-0.5"), "A"))


def test_the_ends_of_a_charging_chart_are_taken_and_what_is_outside_is_not():
    """Wet bulb 50 to 76 degF, outdoor 55 to 115 degF."""
    assert target_superheat(of("50 degF"), of("55 degF")).compare(Quantity(Decimal("7.5"), "delta-degF")) == 0
    assert target_superheat(of("76 degF"), of("115 degF")).compare(Quantity(Decimal("16.5"), "delta-degF")) == 0
    for inside, outside in (("49.9 degF", "55 degF"), ("76.1 degF", "115 degF"), ("60 degF", "54.9 degF"), ("76 degF", "115.1 degF")):
        with pytest.raises(Refused, match="no charging chart"):
            target_superheat(of(inside), of(outside))


def test_air_for_each_ton_is_counted_with_the_tons():
    for tons, low, high in ((2, 650, 900), (3, 975, 1350)):
        capacity = Quantity(Decimal(tons), "ton")
        assert airflow_in_order(Quantity(Decimal(low), "cfm"), capacity)
        assert airflow_in_order(Quantity(Decimal(high), "cfm"), capacity)
        assert not airflow_in_order(Quantity(Decimal(low - 1), "cfm"), capacity)
        assert not airflow_in_order(Quantity(Decimal(high + 1), "cfm"), capacity)


def test_a_table_is_not_read_outside_its_ends_and_says_where_they_are():
    rows = tuple((Decimal(a), Decimal(b)) for a, b in ((1, 10), (3, 30), (7, 20)))
    assert [up_through(rows, Decimal(at)) for at in (1, 2, 3, 5, 7)] == [10, 20, 30, 25, 20]
    for outside in ("0.9", "7.1"):
        with pytest.raises(Refused, match=rf"{outside} lies outside the table \(1 to 7\)"):
            up_through(rows, Decimal(outside))


def test_a_fixed_part_names_what_it_is_a_part_of():
    assert [i.name for i in FORMULAS["continuous-limit"].inputs] == ["rating"]
    assert {FORMULAS[f"{n}-voltage-{end}"].inputs[0].name for n in ("motor", "service") for end in ("lowest", "highest")} == {"nominal"}


def test_a_microfarad_is_a_millionth():
    """1 A at 100 V and 50 Hz: 1 / (2 pi 50 100) F, so 100 / pi uF. 1 / pi to 20 digits by any table."""
    found = capacitance_under_load(Q("1 A"), Q("100 V"), Q("50 Hz"))
    assert abs(found.value - Decimal("31.830988618379067154")) < Decimal("1e-15")
