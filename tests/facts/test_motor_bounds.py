"""Motors: at, just under and just over each bound of the tables' columns, rows and marks. Sources as in the module."""

from decimal import Decimal

import pytest

from ohmward.language.evaluate import evaluate
from ohmward.language.expression import Undecided, parse_expression
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.motor import winding_relation
from ohmward.trade.quantity import Quantity, parse_quantity

Q = parse_quantity


def value(text):
    return evaluate(parse_expression(text), {})


def refused(text):
    found = value(text)
    return found.why if isinstance(found, Undecided) else ""


# NEC text above tables 430.248 and 430.250 (from memory): 110-120, 220-240, 440-480, 550-600 V systems.
ENDS = [("110 V", "120 V", "115 V"), ("200 V", "200 V", "200 V"), ("208 V", "208 V", "208 V"), ("220 V", "240 V", "230 V"), ("440 V", "480 V", "460 V"), ("550 V", "600 V", "575 V")]


@pytest.mark.parametrize(("low", "high", "column"), ENDS)
def test_a_column_stands_for_its_whole_range_of_systems_and_for_nothing_beside_it(low, high, column):
    for phases in ("single-phase", "three-phase"):
        if phases == "single-phase" and column in {"460 V", "575 V"}:
            continue
        wanted = value(f"table-full-load({phases}, 1 hp, {column})")
        assert isinstance(wanted, Quantity)
        for at in (low, high):
            assert value(f"table-full-load({phases}, 1 hp, {at})") == wanted
        for outside in (Q(low).value - Decimal("0.5"), Q(high).value + Decimal("0.5")):
            assert refused(f"table-full-load({phases}, 1 hp, {outside} V)").startswith("the table has no column for")


@pytest.mark.parametrize(("power", "found"), [("1.03 hp", True), ("1.0301 hp", False), ("0.97 hp", True), ("0.9699 hp", False), ("0.17 hp", True), ("0.125 kW", True), ("0.12 kW", False)])
def test_a_power_within_three_per_cent_of_a_row_is_that_row(power, found):
    """Ours: 1/6 hp is written 0.17 hp or 0.125 kW."""
    said = refused(f"table-full-load(single-phase, {power}, 115 V)")
    assert said == ("" if found else f"the table has no row for {power}")


@pytest.mark.parametrize(
    ("current", "power", "fits"),
    [("7.5 A", "1 hp", False), ("8 A", "1 hp", True), ("7.99 A", "1 hp", False), ("24 A", "1 hp", True), ("24.1 A", "1 hp", False), ("24 A", "1.03 hp", True), ("24.1 A", "1.03 hp", False), ("24.1 A", "1.0301 hp", True), ("8 A", "0.97 hp", True), ("7.99 A", "0.97 hp", False), ("7 A", "0.9699 hp", True), ("6.9 A", "0.9699 hp", True), ("6.89 A", "0.9699 hp", False)],
)
def test_a_nameplate_current_is_plausible_from_half_the_row_below_to_one_and_a_half_of_the_row_above(current, power, fits):
    """Table 430.248 at 115 V: 3/4 hp 13.8 A, 1 hp 16 A, 1 1/2 hp 20 A; the width is ours."""
    assert value(f"plausible-nameplate({current}, single-phase, {power}, 115 V)") is fits


@pytest.mark.parametrize(
    ("factor", "rise", "limit"),
    [("1.15", "0 K", "12.5 A"), ("1.14", "0 K", "11.5 A"), ("1", "40 K", "12.5 A"), ("1", "40.1 K", "11.5 A"), ("1", "1 K", "12.5 A"), ("1", "0.5 K", "12.5 A"), ("1", "0 K", "11.5 A")],
)
def test_either_mark_is_enough_for_the_higher_overload_limit_and_a_rise_of_nothing_is_no_mark(factor, rise, limit):
    """NEC 430.32(A)(1) (as a public page prints it)."""
    assert value(f"overload-limit(10 A, {factor}, {rise})") == Q(limit)


def test_a_service_factor_of_one_is_one_and_nothing_below_it_is():
    assert value("service-factor-current(10 A, 1)") == Q("10 A")
    assert refused("service-factor-current(10 A, 0.99)") == "a service factor is 1 or more, not 0.99"
    assert refused("overload-limit(10 A, 0.99, 0 K)") == "a service factor is 1 or more, a temperature rise not below 0"


@pytest.mark.parametrize(("at", "found"), [("-50 degC", True), ("-50.1 degC", False), ("200 degC", True), ("200.1 degC", False)])
def test_copper_is_corrected_from_50_below_to_200_degrees_only(at, found):
    for text in (f"copper-at(1 ohm, {at}, 20 degC)", f"copper-at(1 ohm, 20 degC, {at})"):
        assert refused(text) == ("" if found else "winding temperatures from -50 degC to 200 degC")


OPEN = None
RELATIONS = [
    (("4 ohm", "12 ohm", "16 ohm"), "the three readings belong together"),
    (("4 ohm", "12 ohm", "15.2 ohm"), "the three readings belong together"),  # 5 % of the sum, just
    (("4 ohm", "12 ohm", "16.8 ohm"), "the three readings belong together"),
    (("4 ohm", "12 ohm", "15.19 ohm"), "the sum is above start to run: resistance in the common lead or its protector"),
    (("4 ohm", "12 ohm", "16.81 ohm"), "start to run is above the sum: the readings do not belong to one winding"),
    ((OPEN, OPEN, "16 ohm"), "the protector in the common lead is open, or the common lead: let it cool, hours if need be, and read again"),
    ((OPEN, "12 ohm", "16 ohm"), "a winding is open"),
    (("4 ohm", OPEN, "16 ohm"), "a winding is open"),
    (("4 ohm", "12 ohm", OPEN), "a winding is open"),
    ((OPEN, OPEN, OPEN), "a winding is open"),
    ((OPEN, "12 ohm", OPEN), "a winding is open"),
    (("4 ohm", OPEN, OPEN), "a winding is open"),
]


@pytest.mark.parametrize(("read", "said"), RELATIONS)
def test_what_three_readings_of_a_single_phase_winding_say(read, said):
    """The sum is an identity of the circuit (common practice, no source)."""
    assert winding_relation(*(Q(r) if r else None for r in read), within=Decimal("0.05")) == said
    if OPEN not in read:
        assert value(f"winding-relation({', '.join(read)}, 5 %)") == said


def test_a_winding_of_no_resistance_and_a_span_below_nothing_are_refused():
    assert refused("winding-relation(0 ohm, 12 ohm, 12 ohm, 5 %)") == "common-run must be above 0, not 0 ohm"
    assert refused("winding-relation(4 ohm, 12 ohm, 16 ohm, 0 - 1)") == "within must not be below 0, not -1"


def test_the_three_windings_have_names_of_their_own():
    assert [i.name for i in FORMULAS["winding-unbalance"].inputs] == ["value-1", "value-2", "value-3"]
