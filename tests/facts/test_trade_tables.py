"""Every row of every published table, copied out a second time; saturation against its library and printed points."""

from fractions import Fraction

import pytest
from CoolProp.CoolProp import PropsSI

from ohmward.language.evaluate import evaluate, kind_of
from ohmward.language.expression import Undecided, parse_expression
from ohmward.trade.catalogue import FORMULAS, SUBJECTS
from ohmward.trade.conductors import FAULT_SIZES, fault_constant
from ohmward.trade.formula import Formula, Input, Refused, Status, Turn, listed
from ohmward.trade.quantity import Quantity, dimension_of, parse_quantity
from ohmward.trade.span import Interval
from tests.saturation import FLUIDS, OUT, text

Q = parse_quantity


def value(expression: str):
    tree = parse_expression(expression)
    kind_of(tree, {})
    return evaluate(tree, {})


def grid(head: str, body: str) -> list[tuple[str, str, str]]:
    """(row, column, cell) of a table as printed; `-` is an empty cell."""
    columns = head.split()
    cells = []
    for line in body.strip().splitlines():
        row, _, rest = line.partition("|")
        cells += [(row.strip(), c, v) for c, v in zip(columns, rest.split(), strict=True)]
    return cells


# Source: NEC table 430.248, A (as adopted in the California Electrical Code 2022)
SINGLE = grid("115 200 208 230", """
1/6 | 4.4 2.5 2.4 2.2
1/4 | 5.8 3.3 3.2 2.9
1/3 | 7.2 4.1 4.0 3.6
1/2 | 9.8 5.6 5.4 4.9
3/4 | 13.8 7.9 7.6 6.9
1 | 16 9.2 8.8 8.0
1 1/2 | 20 11.5 11.0 10
2 | 24 13.8 13.2 12
3 | 34 19.6 18.7 17
5 | 56 32.2 30.8 28
7 1/2 | 80 46.0 44.0 40
10 | 100 57.5 55.0 50
""")
# Source: NEC table 430.250, A (the same)
THREE = grid("115 200 208 230 460 575", """
1/2 | 4.4 2.5 2.4 2.2 1.1 0.9
3/4 | 6.4 3.7 3.5 3.2 1.6 1.3
1 | 8.4 4.8 4.6 4.2 2.1 1.7
1 1/2 | 12.0 6.9 6.6 6.0 3.0 2.4
2 | 13.6 7.8 7.5 6.8 3.4 2.7
3 | - 11.0 10.6 9.6 4.8 3.9
5 | - 17.5 16.7 15.2 7.6 6.1
7 1/2 | - 25.3 24.2 22 11 9
10 | - 32.2 30.8 28 14 11
15 | - 48.3 46.2 42 21 17
20 | - 62.1 59.4 54 27 22
25 | - 78.2 74.8 68 34 27
30 | - 92 88 80 40 32
40 | - 120 114 104 52 41
50 | - 150 143 130 65 52
""")
# Source: NEC table 430.251(A), A (the same)
LOCKED = grid("115 208 230", """
1/2 | 58.8 32.5 29.4
3/4 | 82.8 45.8 41.4
1 | 96 53 48
1 1/2 | 120 66 60
2 | 144 80 72
3 | 204 113 102
5 | 336 186 168
7 1/2 | 480 265 240
10 | - 332 300
""")
# Source: NEC table 430.7(B), kVA for each hp (the same)
LETTERS = "A 0 3.14, B 3.15 3.54, C 3.55 3.99, D 4.0 4.49, E 4.5 4.99, F 5.0 5.59, G 5.6 6.29, H 6.3 7.09, J 7.1 7.99, K 8.0 8.99, L 9.0 9.99, M 10.0 11.19, N 11.2 12.49, P 12.5 13.99, R 14.0 15.99, S 16.0 17.99, T 18.0 19.99, U 20.0 22.39"
# Source: NEC chapter 9 table 8, ohm for 1000 ft at 75 degC, uncoated copper and aluminum (the same; 16 stranded: a training page)
WIRES = """
copper awg-18 solid 7.77, copper awg-16 solid 4.89, copper awg-16 stranded 4.99, copper awg-14 solid 3.07, copper awg-14 stranded 3.14,
copper awg-12 solid 1.93, copper awg-12 stranded 1.98, copper awg-10 solid 1.21, copper awg-10 stranded 1.24, copper awg-8 stranded 0.778,
copper awg-6 stranded 0.491, copper awg-4 stranded 0.308, copper awg-3 stranded 0.245, copper awg-2 stranded 0.194, copper awg-1 stranded 0.154,
copper awg-1-0 stranded 0.122, copper awg-2-0 stranded 0.0967, copper awg-3-0 stranded 0.0766, copper awg-4-0 stranded 0.0608,
copper kcmil-250 stranded 0.0515, copper kcmil-500 stranded 0.0258,
aluminum awg-12 solid 3.18, aluminum awg-12 stranded 3.25, aluminum awg-10 solid 1.99, aluminum awg-10 stranded 2.04, aluminum awg-8 stranded 1.28, aluminum awg-6 stranded 0.808
"""


def horsepower(row: str) -> str:
    exact = sum((Fraction(p) for p in row.split()), Fraction(0))
    return format(float(exact), ".4f").rstrip("0").rstrip(".")


@pytest.mark.parametrize(("phases", "row", "column", "cell"), [*(("single-phase", *c) for c in SINGLE), *(("three-phase", *c) for c in THREE)])
def test_full_load_currents_are_those_of_the_tables(phases, row, column, cell):
    found = value(f"table-full-load({phases}, {horsepower(row)} hp, {column} V)")
    assert isinstance(found, Undecided) if cell == "-" else found.compare(Q(f"{cell} A")) == 0


@pytest.mark.parametrize(("row", "column", "cell"), LOCKED)
def test_locked_rotor_currents_are_those_of_the_table(row, column, cell):
    found = value(f"table-locked-rotor({horsepower(row)} hp, {column} V)")
    assert isinstance(found, Undecided) if cell == "-" else found.compare(Q(f"{cell} A")) == 0


@pytest.mark.parametrize("entry", LETTERS.split(", "))
def test_code_letters_are_those_of_the_table(entry):
    letter, low, high = entry.split()
    assert value(f"locked-rotor-lowest({letter}, 1 hp, 1000 V, single-phase)").compare(Q(f"{low} A")) == 0
    assert value(f"locked-rotor-highest({letter}, 1 hp, 1000 V, single-phase)").compare(Q(f"{high} A")) == 0


def test_the_last_code_letter_has_no_upper_end():
    assert value("locked-rotor-lowest(V, 1 hp, 1000 V, single-phase)") == Q("22.4 A")


@pytest.mark.parametrize("entry", [e.strip() for e in WIRES.replace("\n", " ").split(",")])
def test_conductor_resistances_are_those_of_the_table(entry):
    metal, size, strand, ohms = entry.split()
    assert value(f"voltage-drop(single-phase, 500 ft, 1 A, {metal}, {size}, {strand})").compare(Q(f"{ohms} V")) == 0


def test_a_standard_rating_stands_for_itself():
    # Source: NEC 240.6(A)
    for rating in (10, 15, 20, 25, 30, 35, 40, 45, 50, 60, 70, 80, 90, 100, 110, 125, 150, 175, 200, 225, 250, 300, 350, 400):
        assert value(f"next-standard-rating({rating} A)") == Q(f"{rating} A")


# -- refrigerant side -------------------------------------------------------------------------------------------


def test_the_shipped_saturation_table_is_what_its_script_writes():
    assert OUT.read_text() == text()


# Source: printed pressure-temperature tables (all secondary): a condensing unit's sheet, p. 14; a maker's service manual,
# p. 63; a refrigerant dealer's appendix (bar absolute); an air conditioner's sheet, p. 223. Within 0.5 degF.
PRINTED = [
    ("R-410A", "118.0 psig", 40), ("R-410A", "129.7 psig", 45), ("R-410A", "142.2 psig", 50), ("R-410A", "120 psig", 41),
    ("R-410A", "130 psig", 45), ("R-410A", "140 psig", 49), ("R-410A", "200 psig", 70), ("R-410A", "235 psig", 80),
    ("R-410A", "811.9 kPag", 39.2), ("R-32", "9.525 bara", 41), ("R-32", "24.781 bara", 104),
]  # fmt: skip


@pytest.mark.parametrize(("refrigerant", "pressure", "fahrenheit"), PRINTED)
def test_saturation_agrees_with_printed_tables(refrigerant, pressure, fahrenheit):
    ends = [value(f"{word}-temperature({refrigerant}, {pressure})") for word in ("bubble", "dew")]  # the tables do not say which
    assert min(abs(float(end.value) - fahrenheit) for end in ends) <= 0.5


# Source: CoolProp 8.0.0, psig at sea level, bubble / dew, as computed when the reference was compiled
COMPUTED = {
    0: "R-410A 48.4 48.2, R-22 24.0 24.0, R-32 49.3 49.3, R-454B 45.9 42.9, R-407C 29.5 19.4, R-134a 6.5 6.5",
    40: "R-410A 118.8 118.4, R-22 68.6 68.6, R-32 121.0 121.0, R-454B 113.2 107.5, R-407C 80.2 63.2, R-134a 35.0 35.0",
    95: "R-410A 296.4 295.4, R-22 181.8 181.8, R-32 302.9 302.9, R-454B 282.3 271.4, R-407C 209.4 181.0, R-134a 113.9 113.9",
    120: "R-410A 419.5 418.3, R-22 260.0 260.0, R-32 429.3 429.3, R-454B 398.6 385.5, R-407C 298.6 265.8, R-134a 171.2 171.2",
}


@pytest.mark.parametrize("fahrenheit", COMPUTED)
def test_saturation_agrees_with_the_reference_points(fahrenheit):
    for entry in COMPUTED[fahrenheit].split(", "):
        refrigerant, bubble, dew = entry.split()
        for word, psig in (("bubble", bubble), ("dew", dew)):
            found = value(f"{word}-temperature({refrigerant}, {psig} psig)")
            assert abs(float(found.value) - fahrenheit) <= 0.12, (entry, word)  # a tenth of a psi is up to 0.1 degF


@pytest.mark.parametrize("refrigerant", FLUIDS)
@pytest.mark.parametrize(("word", "quality"), [("bubble", 0), ("dew", 1)])
def test_between_the_rows_saturation_agrees_with_the_library(refrigerant, word, quality):
    for celsius in (-39.0, -21.3, -0.7, 4.9, 21.1, 33.3, 48.7, 60.9):
        pascals = PropsSI("P", "T", celsius + 273.15, "Q", quality, FLUIDS[refrigerant])
        found = value(f"{word}-temperature({refrigerant}, {pascals:.3f} Pa)").to("degC")
        assert abs(float(found.value) - celsius) <= 0.02


def test_superheat_takes_the_dew_point_and_subcooling_the_bubble_point():
    glide = value("dew-temperature(R-407C, 200 psig)").plus(value("bubble-temperature(R-407C, 200 psig)"), -1)
    assert glide.value > 5  # a mixture with glide: the two differ by degrees
    assert value("superheat(R-407C, 200 psig, 150 degF)") == Q("150 degF").plus(value("dew-temperature(R-407C, 200 psig)"), -1)
    assert value("subcooling(R-407C, 200 psig, 80 degF)") == value("bubble-temperature(R-407C, 200 psig)").plus(Q("80 degF"), -1)


def test_gauge_pressure_counts_from_the_standard_atmosphere():
    assert value("dew-temperature(R-134a, 0 psig)") == value("dew-temperature(R-134a, 101.325 kPa)")


# -- the calculations as things ---------------------------------------------------------------------------------


def test_every_calculation_says_what_it_takes_where_it_holds_and_where_it_comes_from():
    for formula in FORMULAS.values():
        assert all((formula.words, formula.source, formula.domain)), formula.name
        assert isinstance(formula.status, Status)
        assert not formula.unit or dimension_of(formula.unit) == formula.gives, formula.name
        assert (formula.gives == "truth") or formula.unit or formula.gives in {"number", "text"}, formula.name
    assert sum(len(some) for some in SUBJECTS.values()) == len(FORMULAS) >= 60
    with pytest.raises(ValueError, match="two formulas have one name"):
        listed([*FORMULAS.values(), FORMULAS["superheat"]])


def test_a_calculation_called_wrongly_refuses_in_words():
    superheat = FORMULAS["superheat"]
    for given, why in (
        ((Q("1 V"),), "takes 3 values, not 1"),
        (("R-410A", Q("1 V"), Q("55 degF")), "is a gauge pressure or absolute pressure, not 1 V"),
        (("R-999", Q("118 psig"), Q("55 degF")), "is one of R-22"),
        (("R-410A", "high", Q("55 degF")), "not the word 'high'"),
    ):
        with pytest.raises(Refused, match=why):
            superheat(*given)


def test_a_span_is_refused_where_no_direction_is_known_and_an_overflow_is_no_crash():
    span = Interval(Q("1 A"), Q("2 A"))
    with pytest.raises(Refused, match="must be one value, not a span"):
        FORMULAS["thermal-protector-limit"](span)
    endless = Formula(
        name="endless", inputs=(Input("x", "current", Turn.RISES),), gives="number", words="w", source="s", status=Status.OURS, domain="d",
        work=lambda x: Quantity(x.value / 0, ""),
    )
    with pytest.raises(Refused, match="endless"):
        endless(Q("1 A"))


# C of the point-to-point method, single copper conductors in steel conduit, 600 V class: a second copy, typed on its own.
# 500 kcmil as in the worked example of `test_vectors` (secondary); the sizes of the others from memory.
CONSTANTS = {"awg-12": 617, "awg-6": 2430, "awg-2": 5906, "awg-3-0": 13923, "kcmil-500": 22185}


def test_the_constants_of_the_point_to_point_method_are_those_of_the_second_copy():
    assert dict.fromkeys(FAULT_SIZES) == dict.fromkeys(CONSTANTS)
    assert {size: fault_constant(size) for size in FAULT_SIZES} == CONSTANTS
    assert sorted(CONSTANTS.values()) == list(CONSTANTS.values())  # a thicker conductor lets more through
