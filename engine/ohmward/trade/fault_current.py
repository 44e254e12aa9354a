"""Fault current from a transformer and along a run; the impedance's tolerance in the cautious direction."""

from decimal import Decimal

from ohmward.trade.conductors import FAULT_SIZES, fault_constant
from ohmward.trade.formula import Formula, Input, Refused, Status, Turn, counted, number, positive, quantity
from ohmward.trade.quantity import Quantity
from ohmward.trade.supply import PHASES, ROOT_3, full_load_of_source


def _at_transformer(
    phases: str, power: Quantity, voltage: Quantity, impedance: Quantity, part: str
) -> Quantity:
    percent = number(positive(impedance, "impedance"), "%")
    if percent > 20:
        raise Refused(f"an impedance of at most 20 %, not {impedance}")
    full_load = number(full_load_of_source(phases, power, voltage), "A")
    return quantity(full_load * 100 / (percent * Decimal(part)), "A")


def fault_highest(phases: str, power: Quantity, voltage: Quantity, impedance: Quantity) -> Quantity:
    """With 0.9 of the nameplate impedance: for asking whether something stands the current."""
    return _at_transformer(phases, power, voltage, impedance, "0.9")


def fault_lowest(phases: str, power: Quantity, voltage: Quantity, impedance: Quantity) -> Quantity:
    """With 1.1 of the nameplate impedance: for asking whether a device trips."""
    return _at_transformer(phases, power, voltage, impedance, "1.1")


def fault_after_run(
    phases: str, fault: Quantity, length: Quantity, voltage: Quantity, constant: Quantity, runs: Quantity
) -> Quantity:
    """I2 = I M with M = 1 / (1 + f), f = 1.732 (one phase: 2) L I / (C n E), L in ft, E line to line."""
    if length.value < 0:
        raise Refused(f"length must not be below 0, not {length}")
    beside = counted(runs, "runs")
    if beside < 1:
        raise Refused(f"conductors for each phase: 1, 2, 3, not {runs}")
    way = Decimal(2) if phases == "single-phase" else ROOT_3
    amperes = number(positive(fault, "fault-current"), "A")
    base = positive(constant, "constant").base * beside * number(positive(voltage, "voltage"), "V")
    return quantity(amperes / (1 + way * number(length, "ft") * amperes / base), "A")


def run_constant(size: str) -> Quantity:
    return quantity(fault_constant(size), "")


def with_motors(fault: Quantity, motors: Quantity) -> Quantity:
    """Running motors feed a fault: four times their full-load current on top."""
    if motors.value < 0:
        raise Refused(f"motor current must not be below 0, not {motors}")
    return fault.plus(motors.times(Decimal(4)))


def interrupting_enough(rating: Quantity, fault: Quantity) -> bool:
    return positive(rating, "rating").compare(positive(fault, "fault-current")) >= 0


def fault_to_neutral(fault_current: Quantity) -> Quantity:
    """The highest fault between a line and the centre tap, at the transformer's terminals."""
    return positive(fault_current, "fault-current").times(Decimal("1.5"))


_TRANSFORMER = (
    Input("phases", "text", words=PHASES),
    Input("power", "apparent power", Turn.RISES),
    Input("voltage", "voltage", Turn.FALLS),
    Input("impedance", "number", Turn.FALLS),
)
_METHOD = "point-to-point method (a training hand-out)"
_INFINITE = "bolted fault at the secondary, primary taken as endless"

FORMULAS = (
    Formula(
        name="fault-highest",
        inputs=_TRANSFORMER,
        gives="current",
        unit="A",
        words="full-load current x 100 / (0.9 x impedance in %)",
        source=_METHOD,
        status=Status.SECONDARY,
        domain=f"{_INFINITE}, line to line: an upper bound without running motors; to the neutral of a centre-tapped winding see fault-to-neutral",
        work=fault_highest,
    ),
    Formula(
        name="fault-lowest",
        inputs=_TRANSFORMER,
        gives="current",
        unit="A",
        words="full-load current x 100 / (1.1 x impedance in %)",
        source=f"{_METHOD}; 1.1 is derived",
        status=Status.DERIVED,
        domain=f"{_INFINITE}: a weak primary gives less still, so a trip is not promised by it",
        work=fault_lowest,
    ),
    Formula(
        name="fault-to-neutral",
        inputs=(Input("fault-current", "current", Turn.RISES),),
        gives="current",
        unit="A",
        words="1.5 x fault current line to line",
        source="half of a centre-tapped winding has less impedance than its half",
        status=Status.MEMORY,
        domain="line to neutral at the terminals of a single-phase transformer with a centre tap; less some feet away",
        work=fault_to_neutral,
    ),
    Formula(
        name="fault-after-run",
        inputs=(
            Input("phases", "text", words=PHASES),
            Input("fault-current", "current", Turn.RISES),
            Input("length", "length", Turn.FALLS),
            Input("voltage", "voltage", Turn.RISES),
            Input("constant", "number", Turn.RISES),
            Input("runs", "number"),
        ),
        gives="current",
        unit="A",
        words="I / (1 + f), f = 1.732 (single-phase: 2) x length in ft x I / (constant x runs x voltage)",
        source=_METHOD,
        status=Status.SECONDARY,
        domain="voltage line to line; constant of the conductor in its conduit; runs in parallel for each phase",
        work=fault_after_run,
    ),
    Formula(
        name="run-constant",
        inputs=(Input("size", "text", words=FAULT_SIZES),),
        gives="number",
        words="constant of one copper conductor a phase in steel conduit",
        source=f"{_METHOD}; which size the smaller constants belong to is from memory",
        status=Status.MEMORY,
        domain="copper, 600 V class, steel conduit",
        work=run_constant,
    ),
    Formula(
        name="with-motors",
        inputs=(Input("fault-current", "current", Turn.RISES), Input("motors", "current", Turn.RISES)),
        gives="current",
        unit="A",
        words="fault-current + 4 x full-load current of the running motors",
        source="motor contribution (trade training)",
        status=Status.SECONDARY,
        domain="sum of the full-load currents of motors that run",
        work=with_motors,
    ),
    Formula(
        name="interrupting-enough",
        inputs=(Input("rating", "current", Turn.RISES), Input("fault-current", "current", Turn.FALLS)),
        gives="truth",
        words="rating at least the fault current",
        source="29 CFR 1910.303(b)(4); NEC 110.9",
        status=Status.PUBLISHED,
        domain="interrupting rating on the device, highest fault current at its line terminals",
        work=interrupting_enough,
    ),
)
