"""The refrigerant side, units and lists at their very ends. Sources as in the modules."""

from dataclasses import replace
from decimal import Decimal
from itertools import pairwise
from math import log

import pytest

from ohmward.trade.formula import Refused
from ohmward.trade.quantity import Quantity, parse_quantity, unit_named
from ohmward.trade.refrigerant import COLUMNS, ROWS, charge_verdict, dew_temperature
from ohmward.trade.replacement import replacement_differences
from ohmward.trade.return_to_service import not_ready
from tests.facts.test_trade_lists import GOOD, OLD

Q = parse_quantity


def pascal(number):
    return Quantity(Decimal(number), "Pa")


@pytest.mark.parametrize("refrigerant", COLUMNS)
def test_the_first_and_the_last_row_are_inside_the_table_and_a_pascal_beside_them_is_not(refrigerant):
    dew = [Decimal(cells[COLUMNS.index(refrigerant)][1]) for _, cells in ROWS]
    for pressure, (celsius, _) in ((dew[0], ROWS[0]), (dew[-1], ROWS[-1])):
        assert abs(float(dew_temperature(refrigerant, pascal(pressure)).to("degC").value) - float(celsius)) < 1e-9
    for outside in (dew[0] - 1, dew[-1] + 1):
        with pytest.raises(Refused) as caught:
            dew_temperature(refrigerant, pascal(outside))
        assert f"lies outside the table of {refrigerant} ({ROWS[0][0]} degC to {ROWS[-1][0]} degC)" in str(caught.value)


def test_between_two_rows_the_logarithm_of_pressure_runs_straight_over_the_inverse_of_absolute_temperature():
    """Clausius and Clapeyron; computed here in floating point."""
    for (cold, low), (warm, high) in pairwise(ROWS):
        below, above = float(low[0][1]), float(high[0][1])
        middle = (below * above) ** 0.5
        part = log(middle / below) / log(above / below)
        first, last = 1 / (float(cold) + 273.15), 1 / (float(warm) + 273.15)
        wanted = 1 / (first + (last - first) * part) - 273.15
        assert abs(float(dew_temperature(COLUMNS[0], pascal(f"{middle:.12f}")).to("degC").value) - wanted) < 1e-7


def test_no_pressure_at_all_is_below_nothing_and_the_least_one_only_outside_the_table():
    with pytest.raises(Refused, match="is below nothing"):
        dew_temperature(COLUMNS[0], pascal(0))
    with pytest.raises(Refused, match="lies outside the table"):
        dew_temperature(COLUMNS[0], pascal("0.5"))


@pytest.mark.parametrize(("measured", "said"), [("10 delta-degF", "in order"), ("10.2 delta-degF", "in order"), ("10.3 delta-degF", "above target"), ("9.8 delta-degF", "in order"), ("9.7 delta-degF", "below target")])
def test_a_small_difference_has_its_side_too(measured, said):
    assert charge_verdict(True, Q(measured), Q("10 delta-degF"), Q("0.2 delta-degF")) == said


def test_two_voltages_have_an_unbalance_too():
    uneven = replace(GOOD, supply=(Q("203 V"), Q("213 V")), phases="single-phase")
    assert [n.what for n in not_ready(uneven)] == ["voltage unbalance"]


@pytest.mark.parametrize(
    ("currents", "phases", "what"),
    [
        (("9 A", "10 A", "11 A"), "three-phase", []),  # a tenth of the mean, which is 10 A
        (("9 A", "10 A", "11.05 A"), "three-phase", ["current unbalance"]),  # 1.033 of 10.017: 10.3 %
        (("8 A", "12 A"), "three-phase", ["running current", "current unbalance"]),  # one line was not read, and these differ
        (("8 A",), "three-phase", ["running current"]),
        (("8 A", "12 A"), "single-phase", []),
        (("4 A",), "single-phase", ["running current"]),  # a fifth of 20 A
        (("4.1 A",), "single-phase", []),
        (("20 A",), "single-phase", []),
        (("20.1 A",), "single-phase", ["running current"]),
    ],
)
def test_running_currents_are_apart_by_a_tenth_and_above_a_fifth_of_the_nameplate_at_most(currents, phases, what):
    voltages = ("208 V",) * (3 if phases == "three-phase" else 1)
    left = replace(GOOD, supply=tuple(map(Q, voltages)), currents=tuple(map(Q, currents)), full_load=Q("20 A"), phases=phases)
    assert [n.what for n in not_ready(left)] == what


@pytest.mark.parametrize(("field", "what"), [("frame", "frame"), ("rotation", "rotation"), ("voltage", "voltage"), ("power", "power")])
def test_what_one_of_two_nameplates_does_not_say_stops_the_exchange_and_is_called_unknown(field, what):
    for old, new in ((OLD, replace(OLD, **{field: None})), (replace(OLD, **{field: None}), OLD)):
        (found,) = replacement_differences(old, new)
        (both,) = replacement_differences(replace(old, **{field: None}), replace(new, **{field: None}))
        assert (found.what, found.stops, found.means) == (what, True, both.means)


# Exact by definition: 1 lb = 0.45359237 kg, 1 in = 0.0254 m, g = 9.80665 m/s2 (international yard and pound, 1959; CGPM
# 1901); 1 hp = 550 ft lbf/s; 1 Btu (International Table) = 1055.05585262 J. From memory.
POUND = Decimal("0.45359237") * Decimal("9.80665")
EXACT = {"psia": POUND / Decimal("0.0254") ** 2, "hp": 550 * Decimal("0.3048") * POUND, "Btuh": Decimal("1055.05585262") / 3600}


@pytest.mark.parametrize("unit", EXACT)
def test_a_unit_is_exact_to_sixteen_digits(unit):
    assert f"{Quantity(Decimal(1), unit).base:.16g}" == f"{+EXACT[unit]:.16g}", unit_named(unit)
