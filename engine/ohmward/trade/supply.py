"""The supply: tolerance, unbalance, derating, drop along a run, limits of a Class 2 source."""

from collections.abc import Sequence
from decimal import ROUND_FLOOR, Decimal

from ohmward.trade.conductors import SIZES, STRANDS, per_thousand_feet
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
    up_through,
)
from ohmward.trade.quantity import Quantity
from ohmward.trade.span import Span, added, ends_of, scaled, spanned

ROOT_3 = Decimal(3).sqrt()
PHASES = ("single-phase", "three-phase")
# Source: NEMA MG 1 derating curve, points as an engineering site reads them off the graph (secondary); 1 % is its
# "no derating up to" bound.
_DERATING: tuple[tuple[Decimal, Decimal], ...] = tuple(
    (Decimal(unbalance), Decimal(factor))
    for unbalance, factor in (
        ("0", "1"), ("1", "1"), ("1.5", "0.97"), ("2", "0.95"), ("2.5", "0.93"),
        ("3", "0.89"), ("3.5", "0.85"), ("4", "0.82"), ("4.5", "0.78"), ("5", "0.76"),
    )
)  # fmt: skip
_K_COPPER = Decimal("12.9")
CLASS_2_FROM = Decimal(21)
CLASS_2_VOLTS, CLASS_2_VA = Decimal(30), Decimal(100)


def unbalance(*values: Span) -> Span:
    """Largest deviation from the mean, whichever its side, over the mean; exact ends for intervals.

    Each V_i / mean - 1 rises with V_i and falls with the others, so its ends stand at corners. The largest of
    their magnitudes has its upper end at a corner; its lower end is the largest of their lower ends.
    """
    lows, highs = zip(*(ends_of(v) for v in values), strict=True)
    if min(q.value for q in lows) < 0 or sum(q.base for q in lows) <= 0:
        raise Refused("an unbalance needs values above 0")
    least, most = [], []
    for i in range(len(values)):
        low = _deviation(i, [q.base for q in lows], [q.base for q in highs])
        high = _deviation(i, [q.base for q in highs], [q.base for q in lows])
        least.append(max(Decimal(0), low, -high))
        most.append(max(abs(low), abs(high)))
    return spanned(quantity(max(least) * 100, "%"), quantity(max(most) * 100, "%"))


def mean_of(*values: Span) -> tuple[tuple[str, Span], ...]:
    total = values[0]
    for value in values[1:]:
        total = added(total, value)
    return (("mean", scaled(total, quantity(Decimal(len(values)), ""), over=True)),)


def _deviation(index: int, mine: Sequence[Decimal], others: Sequence[Decimal]) -> Decimal:
    """(V_i - mean) / mean with V_i from one list and the rest from the other."""
    rest = sum(value for i, value in enumerate(others) if i != index)
    return len(mine) * mine[index] / (mine[index] + rest) - 1


def derating(unbalanced: Quantity) -> Quantity:
    """What part of its rated power a motor may give; rounded down to a hundredth, so that it never gains."""
    percent = number(unbalanced, "%")
    if percent > 5:
        raise Refused("above 5 % unbalance a motor is not run")
    return quantity(up_through(_DERATING, percent).quantize(Decimal("0.01"), ROUND_FLOOR), "")


def voltage_drop(
    phases: str, length: Quantity, current: Quantity, metal: str, size: str, strand: str
) -> Quantity:
    """2 L R I / 1000 for one phase, 1.732 L R I / 1000 for three; L one way in ft, R from Table 8."""
    way = Decimal(2) if phases == "single-phase" else ROOT_3
    ohms = per_thousand_feet(metal, size, strand) * number(not_below_zero(length, "length"), "ft") / 1000
    return quantity(way * ohms * number(not_below_zero(current, "current"), "A"), "V")


def voltage_drop_k(phases: str, length: Quantity, current: Quantity, area: Quantity) -> Quantity:
    """2 K L I / CM for one phase, 1.732 K L I / CM for three, K 12.9 for copper."""
    way = Decimal(2) if phases == "single-phase" else ROOT_3
    mils = number(positive(area, "area"), "cmil")
    return quantity(
        way
        * _K_COPPER
        * number(not_below_zero(length, "length"), "ft")
        * number(not_below_zero(current, "current"), "A")
        / mils,
        "V",
    )


def class_2(voltage: Quantity, power: Quantity) -> bool:
    """Whether an AC source is within Class 2: at most 30 V and 100 VA on its plate."""
    if number(voltage, "V") < CLASS_2_FROM:
        raise Refused(f"below 21 V another row of the table governs, and it is not known here: {voltage}")
    return number(voltage, "V") <= CLASS_2_VOLTS and number(power, "VA") <= CLASS_2_VA


def full_load_of_source(phases: str, power: Quantity, voltage: Quantity) -> Quantity:
    """VA / V for one phase, VA / (1.732 V) for three."""
    way = Decimal(1) if phases == "single-phase" else ROOT_3
    return quantity(
        number(positive(power, "power"), "VA") / (way * number(positive(voltage, "voltage"), "V")), "A"
    )


def _part(name: str, factor: str, words: str, source: str, status: Status, domain: str) -> Formula:
    """A limit that is a fixed part of one voltage or current."""
    by = Decimal(factor)
    kind = "current" if name.startswith("continuous") else "voltage"
    what = "rating" if kind == "current" else "nominal"
    return Formula(
        name=name,
        inputs=(Input(what, kind, Turn.RISES),),
        gives=kind,
        unit="A" if kind == "current" else "V",
        words=words,
        source=source,
        status=status,
        domain=domain,
        work=lambda value: positive(value, what).times(by),
    )


_MG1 = "NEMA MG 1, 12.44: running voltage within 10 % at rated frequency (condensed edition)"
_C84 = "ANSI C84.1 service voltage within 5 % (as a power company prints it)"
_THREE = tuple(Input(f"value-{n}", "voltage", Turn.OWN) for n in (1, 2, 3))
_RUN = (
    Input("phases", "text", words=PHASES),
    Input("length", "length", Turn.RISES),
    Input("current", "current", Turn.RISES),
)

FORMULAS = (
    _part("motor-voltage-lowest", "0.9", "0.9 x nominal", _MG1, Status.SECONDARY, "motor running, rated frequency"),
    _part("motor-voltage-highest", "1.1", "1.1 x nominal", _MG1, Status.SECONDARY, "motor running, rated frequency"),
    _part("service-voltage-lowest", "0.95", "0.95 x nominal", _C84, Status.SECONDARY, "at the service"),
    _part("service-voltage-highest", "1.05", "1.05 x nominal", _C84, Status.SECONDARY, "at the service"),
    _part(
        "continuous-limit", "0.8", "0.8 x rating", "standard breakers: at most 80 % for loads of 3 h or more (an article on UL 489)",
        Status.SECONDARY, "breaker not marked for 100 %",
    ),
    Formula(
        name="voltage-unbalance", inputs=_THREE, gives="number", unit="%",
        words="largest deviation from the mean, up or down, / mean of the three",
        source="NEMA MG 1 definition of voltage unbalance (as a maker's manual prints it)", status=Status.SECONDARY,
        domain="three voltages line to line, taken one after another under the same load", work=unbalance, via=mean_of,
    ),
    Formula(
        name="current-unbalance", inputs=tuple(Input(i.name, "current", Turn.OWN) for i in _THREE), gives="number", unit="%",
        words="largest deviation from the mean, up or down, / mean of the three",
        source="the definition of voltage unbalance taken for currents", status=Status.PRACTICE,
        domain="three line currents of one motor under the same load", work=unbalance, via=mean_of,
    ),
    Formula(
        name="unbalance-derating", inputs=(Input("unbalance", "number", Turn.FALLS),), gives="number",
        words="read off the derating curve between its points, rounded down to 0.01; 1 up to 1 %",
        source="NEMA MG 1 derating curve (points as an engineering site reads them)", status=Status.SECONDARY,
        domain="unbalance from 0 % to 5 %; above, the motor is not run", work=derating,
    ),
    Formula(
        name="voltage-drop",
        inputs=(*_RUN, Input("metal", "text", words=("copper", "aluminum")), Input("size", "text", words=SIZES), Input("strand", "text", words=STRANDS)),
        gives="voltage", unit="V",
        words="2 (three-phase: 1.732) x length in ft x current x ohm for 1000 ft / 1000",
        source="NEC chapter 9, Table 8: DC resistance at 75 degC", status=Status.PUBLISHED,
        domain="length one way; sizes of the table; DC resistance, so reactance is left out", work=voltage_drop,
    ),
    Formula(
        name="voltage-drop-k", inputs=(*_RUN, Input("area", "wire area", Turn.FALLS)), gives="voltage", unit="V",
        words="2 (three-phase: 1.732) x 12.9 x length in ft x current / circular mils",
        source="the K method with K = 12.9 for copper (trade training)", status=Status.SECONDARY,
        domain="copper; length one way; 2 % to 4 % beside the table's method", work=voltage_drop_k,
    ),
    Formula(
        name="class-2", inputs=(Input("voltage", "voltage", Turn.RISES), Input("power", "apparent power", Turn.RISES)), gives="truth",
        words="voltage at most 30 V and power at most 100 VA",
        source="NEC chapter 9, Table 11(A): AC sources that are not inherently limited (trade articles)", status=Status.SECONDARY,
        domain="AC source from 21 V; its plate must say Class 2 as well", work=class_2,
    ),
    Formula(
        name="source-full-load", inputs=(_RUN[0], Input("power", "apparent power", Turn.RISES), Input("voltage", "voltage", Turn.FALLS)), gives="current", unit="A",
        words="power / voltage (three-phase: / 1.732)",
        source="transformer full-load current (trade training)", status=Status.SECONDARY,
        domain="secondary winding, line-to-line voltage where three-phase", work=full_load_of_source,
    ),
)  # fmt: skip
