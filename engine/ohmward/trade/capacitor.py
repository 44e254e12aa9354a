"""Capacitors: what one has under load, what its label allows, how long its charge stays."""

from decimal import Decimal

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
from ohmward.trade.quantity import Quantity

PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494")
_MILLION = Decimal(1000000)
MOST_TOLERANCE = Decimal("0.5")


def capacitance_under_load(current: Quantity, voltage: Quantity, frequency: Quantity) -> Quantity:
    """C = I / (2 pi f V), in uF. At 60 Hz the trade's 2652 x A / V, at 50 Hz 3183 x A / V."""
    hertz = number(frequency, "Hz")
    if hertz not in {Decimal(50), Decimal(60)}:
        raise Refused(f"the supply is 50 Hz or 60 Hz, not {frequency}")
    volts = number(positive(voltage, "voltage"), "V")
    return quantity(
        _MILLION * number(not_below_zero(current, "current"), "A") / (2 * PI * hertz * volts), "uF"
    )


def _limit(label: Quantity, tolerance: Quantity, sign: int) -> Quantity:
    part = tolerance.base
    if not 0 < part <= MOST_TOLERANCE:
        raise Refused(f"a tolerance is above 0 % and at most 50 %, not {tolerance}")
    return quantity(number(positive(label, "label"), "uF") * (1 + sign * part), "uF")


def capacitance_lowest(label: Quantity, tolerance: Quantity) -> Quantity:
    return _limit(label, tolerance, -1)


def capacitance_highest(label: Quantity, tolerance: Quantity) -> Quantity:
    return _limit(label, tolerance, 1)


def peak_of(voltage: Quantity) -> Quantity:
    return quantity(number(voltage, "V") * Decimal(2).sqrt(), "V")


def _constant(resistance: Quantity, capacitance: Quantity) -> Decimal:
    """The time constant R C, in seconds."""
    ohms = number(positive(resistance, "resistance"), "ohm")
    return ohms * number(positive(capacitance, "capacitance"), "uF") / _MILLION


def discharge_time(
    resistance: Quantity, capacitance: Quantity, charged: Quantity, left: Quantity
) -> Quantity:
    """t = R C ln(V0 / Vt): from the peak that it was charged to down to what may be left."""
    start, end = number(positive(charged, "charged"), "V"), number(positive(left, "left"), "V")
    if end >= start:
        return quantity(Decimal(0), "s")
    return quantity(_constant(resistance, capacitance) * (start / end).ln(), "s")


def residual_voltage(
    charged: Quantity, resistance: Quantity, capacitance: Quantity, time: Quantity
) -> Quantity:
    """Vt = V0 e^(-t / R C)."""
    constant = _constant(resistance, capacitance)
    seconds = number(not_below_zero(time, "time"), "s")
    return quantity(number(charged, "V") * (-(seconds / constant)).exp(), "V")


def stored_energy(capacitance: Quantity, voltage: Quantity) -> Quantity:
    """E = C V^2 / 2, from the peak or DC voltage across it."""
    return quantity(number(capacitance, "uF") / _MILLION * number(voltage, "V") ** 2 / 2, "J")


_LABEL = (Input("label", "capacitance", Turn.RISES), Input("tolerance", "number"))
_LABEL_SOURCE = (
    "the capacitor's own label; 6 % is usual for run capacitors (a capacitor maker's article, secondary)"
)
_RC = "t = R C ln(V0 / Vt), textbook discharge of a capacitor through a resistor"
_V, _OHM, _UF = ("voltage", "resistance", "capacitance")

FORMULAS = (
    Formula(
        name="capacitance-under-load",
        inputs=(
            Input("current", "current", Turn.RISES),
            Input(_V, _V, Turn.FALLS),
            Input("frequency", "frequency"),
        ),
        gives=_UF,
        unit="uF",
        words="1,000,000 x current / (2 x pi x frequency x voltage)",
        source="capacitive reactance; constant 2652 at 60 Hz as trade training prints it",
        status=Status.SECONDARY,
        domain="current in the start winding's wire, voltage across the capacitor, motor running, 50 Hz or 60 Hz",
        work=capacitance_under_load,
    ),
    Formula(
        name="capacitance-lowest",
        inputs=_LABEL,
        gives=_UF,
        unit="uF",
        words="label x (1 - tolerance)",
        source=_LABEL_SOURCE,
        status=Status.SECONDARY,
        domain="tolerance above 0 % and up to 50 %",
        work=capacitance_lowest,
    ),
    Formula(
        name="capacitance-highest",
        inputs=_LABEL,
        gives=_UF,
        unit="uF",
        words="label x (1 + tolerance)",
        source=_LABEL_SOURCE,
        status=Status.SECONDARY,
        domain="tolerance above 0 % and up to 50 %",
        work=capacitance_highest,
    ),
    Formula(
        name="peak-of",
        inputs=(Input(_V, _V, Turn.RISES),),
        gives=_V,
        unit="V",
        words="voltage x square root of 2",
        source="a sine wave's peak",
        status=Status.DERIVED,
        domain="rms value of a sine wave",
        work=peak_of,
    ),
    Formula(
        name="discharge-time",
        inputs=(
            Input(_OHM, _OHM, Turn.RISES),
            Input(_UF, _UF, Turn.RISES),
            Input("charged", _V, Turn.RISES),
            Input("left", _V, Turn.FALLS),
        ),
        gives="time",
        unit="s",
        words="resistance x capacitance x ln(charged / left)",
        source=_RC,
        status=Status.DERIVED,
        domain="charged is the peak; nothing feeds the capacitor; a reading decides, never the time",
        work=discharge_time,
    ),
    Formula(
        name="residual-voltage",
        inputs=(
            Input("charged", _V, Turn.RISES),
            Input(_OHM, _OHM, Turn.RISES),
            Input(_UF, _UF, Turn.RISES),
            Input("time", "time", Turn.FALLS),
        ),
        gives=_V,
        unit="V",
        words="charged x e^(-time / (resistance x capacitance))",
        source=_RC,
        status=Status.DERIVED,
        domain="charged is the peak; nothing feeds the capacitor; a reading decides, never the time",
        work=residual_voltage,
    ),
    Formula(
        name="stored-energy",
        inputs=(Input(_UF, _UF, Turn.RISES), Input(_V, _V, Turn.RISES)),
        gives="energy",
        unit="J",
        words="capacitance x voltage x voltage / 2",
        source="energy of a charged capacitor",
        status=Status.DERIVED,
        domain="peak or DC voltage across it",
        work=stored_energy,
    ),
)
