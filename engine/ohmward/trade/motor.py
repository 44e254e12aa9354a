"""Motors: tables for plausibility, the nameplate for judging, starting current, overload, windings."""

from collections.abc import Mapping
from decimal import Decimal
from fractions import Fraction

from ohmward.trade.formula import (
    Formula,
    Input,
    Refused,
    Status,
    Turn,
    not_below_zero,
    number,
    positive,
    quantity,
)
from ohmward.trade.motor_tables import (
    CODE_LETTERS,
    LOCKED_ROTOR,
    LOCKED_VOLTS,
    SINGLE_PHASE,
    SINGLE_VOLTS,
    THREE_PHASE,
    THREE_VOLTS,
    Row,
)
from ohmward.trade.quantity import Quantity
from ohmward.trade.supply import PHASES, ROOT_3, mean_of, unbalance

# The supply's nominal voltages that a table's column stands for: 110-120, 220-240, 440-480 and 550-600 V.
# Source: NEC text above tables 430.248 and 430.250 (from memory); 200 and 208 V stand for themselves.
_COLUMN_FOR = (
    (110, 120, 115),
    (200, 200, 200),
    (208, 208, 208),
    (220, 240, 230),
    (440, 480, 460),
    (550, 600, 575),
)
_SAME_POWER = Fraction(3, 100)  # 1/6 hp is written 0.17 hp or 0.125 kW: ours
_COPPER_ZERO = Decimal("234.5")


def _column(volts: Decimal, columns: tuple[int, ...]) -> int:
    named = next((c for low, high, c in _COLUMN_FOR if low <= volts <= high), None)
    if named is None or named not in columns:
        raise Refused(f"the table has no column for {volts.normalize():f} V")
    return columns.index(named)


def _row(rows: Mapping[Fraction, Row], power: Quantity) -> Row:
    asked = Fraction(number(positive(power, "power"), "hp"))
    near = min(rows, key=lambda hp: abs(hp - asked))
    if abs(near - asked) > near * _SAME_POWER:
        raise Refused(f"the table has no row for {power}")
    return rows[near]


def _cell(
    rows: Mapping[Fraction, Row], columns: tuple[int, ...], power: Quantity, voltage: Quantity
) -> Quantity:
    cell = _row(rows, power)[_column(number(voltage, "V"), columns)]
    if cell is None:
        raise Refused(f"the table has no value for {power} at {voltage}")
    return quantity(cell, "A")


def table_full_load(phases: str, power: Quantity, voltage: Quantity) -> Quantity:
    """The row of table 430.248 or 430.250: for plausibility and protection, never for judging a running motor."""
    if phases == "single-phase":
        return _cell(SINGLE_PHASE, SINGLE_VOLTS, power, voltage)
    return _cell(THREE_PHASE, THREE_VOLTS, power, voltage)


def table_locked_rotor(power: Quantity, voltage: Quantity) -> Quantity:
    return _cell(LOCKED_ROTOR, LOCKED_VOLTS, power, voltage)


def plausible_nameplate(full_load: Quantity, phases: str, power: Quantity, voltage: Quantity) -> bool:
    """Whether a nameplate current lies between half and one and a half of what the table gives around its power.

    A power between two rows takes half of the lower and one and a half of the upper; below the first row only the
    upper bound counts.
    """
    rows, columns = (SINGLE_PHASE, SINGLE_VOLTS) if phases == "single-phase" else (THREE_PHASE, THREE_VOLTS)
    column = _column(number(voltage, "V"), columns)
    asked = Fraction(number(positive(power, "power"), "hp"))
    above = [hp for hp in rows if hp * (1 + _SAME_POWER) >= asked]
    if not above:
        raise Refused(f"the table has no row for {power}")
    below = [hp for hp in rows if hp * (1 - _SAME_POWER) <= asked]
    least = rows[max(below)][column] if below else Decimal(0)
    most = rows[min(above)][column]
    if least is None or most is None:
        raise Refused(f"the table has no value for {power} at {voltage}")
    return least / 2 <= number(full_load, "A") <= most * 3 / 2


def _locked(letter: str, power: Quantity, voltage: Quantity, phases: str, *, most: bool) -> Quantity:
    per_horsepower = CODE_LETTERS[letter][most]
    if per_horsepower is None:
        raise Refused(f"code letter {letter} has no upper end")
    way = Decimal(1) if phases == "single-phase" else ROOT_3
    horsepower = number(positive(power, "power"), "hp")
    return quantity(
        per_horsepower * horsepower * 1000 / (way * number(positive(voltage, "voltage"), "V")), "A"
    )


def locked_rotor_lowest(letter: str, power: Quantity, voltage: Quantity, phases: str) -> Quantity:
    return _locked(letter, power, voltage, phases, most=False)


def locked_rotor_highest(letter: str, power: Quantity, voltage: Quantity, phases: str) -> Quantity:
    return _locked(letter, power, voltage, phases, most=True)


def _favoured(service_factor: Quantity, rise: Quantity) -> bool:
    """Either mark is enough: service factor 1.15 or more, or temperature rise 40 K or less."""
    if service_factor.base < 1 or rise.base < 0:
        raise Refused("a service factor is 1 or more, a temperature rise not below 0")
    return service_factor.base >= Decimal("1.15") or (0 < rise.base <= 40)


def overload_limit(full_load: Quantity, service_factor: Quantity, rise: Quantity) -> Quantity:
    part = Decimal("1.25") if _favoured(service_factor, rise) else Decimal("1.15")
    return positive(full_load, "full-load").times(part)


def overload_limit_highest(full_load: Quantity, service_factor: Quantity, rise: Quantity) -> Quantity:
    part = Decimal("1.40") if _favoured(service_factor, rise) else Decimal("1.30")
    return positive(full_load, "full-load").times(part)


def thermal_protector_limit(table_current: Quantity) -> Quantity:
    amperes = number(positive(table_current, "table-current"), "A")
    part = Decimal("1.70") if amperes <= 9 else (Decimal("1.56") if amperes <= 20 else Decimal("1.40"))
    return table_current.times(part)


def service_factor_current(full_load: Quantity, service_factor: Quantity) -> Quantity:
    if service_factor.base < 1:
        raise Refused(f"a service factor is 1 or more, not {service_factor}")
    return positive(full_load, "full-load").times(service_factor.base)


def copper_at(resistance: Quantity, measured_at: Quantity, wanted_at: Quantity) -> Quantity:
    """R2 = R1 (234.5 + t2) / (234.5 + t1), t in degC."""
    first, second = (number(t, "degC") for t in (measured_at, wanted_at))
    if not all(Decimal(-50) <= t <= Decimal(200) for t in (first, second)):
        raise Refused("winding temperatures from -50 degC to 200 degC")
    return resistance.times(_COPPER_ZERO + second, _COPPER_ZERO + first)


def winding_sum(common_run: Quantity, common_start: Quantity) -> Quantity:
    """What start to run reads when the two windings meet in one common lead."""
    return positive(common_run, "common-run").plus(positive(common_start, "common-start"))


def winding_relation(
    common_run: Quantity | None, common_start: Quantity | None, start_run: Quantity | None, *, within: Decimal
) -> str:
    """What three readings of a single-phase winding say; None stands for over range.

    The sum is an identity of the circuit: that it holds shows that the readings belong together, not that the
    winding is good. `within` is the part of the sum by which they may differ.
    """
    if start_run is not None and common_run is None and common_start is None:
        return "the protector in the common lead is open, or the common lead: let it cool, hours if need be, and read again"
    if common_run is None or common_start is None or start_run is None:
        return "a winding is open"
    total = common_run.plus(common_start)
    apart = total.plus(start_run, -1)
    if abs(apart.base) <= total.base * within:
        return "the three readings belong together"
    if apart.base > 0:
        return "the sum is above start to run: resistance in the common lead or its protector"
    return "start to run is above the sum: the readings do not belong to one winding"


def _relation(common_run: Quantity, common_start: Quantity, start_run: Quantity, within: Quantity) -> str:
    part = not_below_zero(within, "within").base
    read = (positive(common_run, "common-run"), positive(common_start, "common-start"), positive(start_run, "start-run"))
    return winding_relation(*read, within=part)


_POWER = (Input("power", "power"), Input("voltage", "voltage"))
_MARKS = (
    Input("full-load", "current", Turn.RISES),
    Input("service-factor", "number"),
    Input("rise", "temperature difference"),
)
_LETTER = (
    Input("letter", "text", words=tuple(CODE_LETTERS)),
    Input("power", "power", Turn.RISES),
    Input("voltage", "voltage", Turn.FALLS),
    Input("phases", "text", words=PHASES),
)
_PHASES = Input("phases", "text", words=PHASES)
_TABLES = "NEC tables 430.248 and 430.250 (as adopted in the California Electrical Code 2022)"
_THREE = tuple(Input(f"value-{n}", "resistance", Turn.OWN) for n in (1, 2, 3))

FORMULAS = (
    Formula(
        name="table-full-load", inputs=(_PHASES, *_POWER), gives="current", unit="A",
        words="the table's row for the power, its column for the voltage", source=_TABLES, status=Status.PUBLISHED,
        domain="rows and columns of the tables; 110 to 120 V read the 115 V column, 220 to 240 V the 230 V column, and so on (from memory)",
        work=table_full_load,
    ),
    Formula(
        name="plausible-nameplate", inputs=(Input("full-load", "current"), _PHASES, *_POWER), gives="truth",
        words="full-load between 0.5 times the table's row below and 1.5 times its row above", source=f"{_TABLES}; the width is ours", status=Status.OURS,
        domain="a slip of the pen shows; it does not judge a motor", work=plausible_nameplate,
    ),
    Formula(
        name="table-locked-rotor", inputs=_POWER, gives="current", unit="A",
        words="the table's row for the power, its column for the voltage",
        source="NEC table 430.251(A) (as adopted in the California Electrical Code 2022)", status=Status.PUBLISHED,
        domain="single-phase motors of the table", work=table_locked_rotor,
    ),
    Formula(
        name="locked-rotor-lowest", inputs=_LETTER, gives="current", unit="A",
        words="lower kVA of the code letter x power in hp x 1000 / voltage (three-phase: / 1.732)",
        source="NEC table 430.7(B)", status=Status.PUBLISHED, domain="code letter on the nameplate", work=locked_rotor_lowest,
    ),
    Formula(
        name="locked-rotor-highest", inputs=_LETTER, gives="current", unit="A",
        words="upper kVA of the code letter x power in hp x 1000 / voltage (three-phase: / 1.732)",
        source="NEC table 430.7(B)", status=Status.PUBLISHED, domain="code letter A to U; V has no upper end", work=locked_rotor_highest,
    ),
    Formula(
        name="overload-limit", inputs=_MARKS, gives="current", unit="A",
        words="1.25 x full-load where the service factor is 1.15 or more or the rise 40 K or less, else 1.15 x full-load",
        source="NEC 430.32(A)(1) (as a public page prints it)", status=Status.SECONDARY,
        domain="nameplate current; a rise of 0 K stands for one that is not marked", work=overload_limit,
    ),
    Formula(
        name="overload-limit-highest", inputs=_MARKS, gives="current", unit="A",
        words="1.40 x full-load where the service factor is 1.15 or more or the rise 40 K or less, else 1.30 x full-load",
        source="NEC 430.32(C)", status=Status.MEMORY,
        domain="only where the motor does not start or carry its load with `overload-limit`", work=overload_limit_highest,
    ),
    Formula(
        name="thermal-protector-limit", inputs=(Input("table-current", "current"),), gives="current", unit="A",
        words="up to 9 A 1.70 x, up to 20 A 1.56 x, above 1.40 x the table's current",
        source="NEC 430.32(A)(2) (as a public page prints it)", status=Status.SECONDARY,
        domain="protector built into the motor, current of the tables", work=thermal_protector_limit,
    ),
    Formula(
        name="service-factor-current", inputs=(Input("full-load", "current", Turn.RISES), Input("service-factor", "number", Turn.RISES)),
        gives="current", unit="A", words="full-load x service factor",
        source="nameplate marks; a running motor is judged by its nameplate, NEC 430.6(A)(2) (a trade article)", status=Status.SECONDARY,
        domain="nameplate current", work=service_factor_current,
    ),
    Formula(
        name="copper-at",
        inputs=(Input("resistance", "resistance", Turn.RISES), Input("measured-at", "temperature", Turn.FALLS), Input("wanted-at", "temperature", Turn.RISES)),
        gives="resistance", unit="ohm", words="resistance x (234.5 + wanted-at) / (234.5 + measured-at), both in degC",
        source="IEC 60034-1, copper windings", status=Status.MEMORY, domain="copper; -50 degC to 200 degC", work=copper_at,
    ),
    Formula(
        name="winding-sum", inputs=(Input("common-run", "resistance", Turn.RISES), Input("common-start", "resistance", Turn.RISES)),
        gives="resistance", unit="ohm", words="common to run + common to start = start to run",
        source="two windings in series (a parts dealer's worked example)", status=Status.SECONDARY,
        domain="an identity: it shows that readings belong together, not that a winding is good", work=winding_sum,
    ),
    Formula(
        name="winding-relation", inputs=(*(Input(n, "resistance") for n in ("common-run", "common-start", "start-run")), Input("within", "number")),
        gives="text", words="common to run + common to start against start to run, apart by at most within x the sum",
        source="two windings in series (a parts dealer's worked example); what a difference means: common practice", status=Status.SECONDARY,
        domain="single-phase windings with one common lead; over range is told by the meter, not by this", work=_relation,
    ),
    Formula(
        name="winding-unbalance", inputs=_THREE, gives="number", unit="%",
        words="largest deviation from the mean, up or down, / mean of the three",
        source="the definition of voltage unbalance taken for resistances", status=Status.PRACTICE,
        domain="three windings of one three-phase motor at one temperature", work=unbalance, via=mean_of,
    ),
)  # fmt: skip
