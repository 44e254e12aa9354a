"""Arc flash by the table method: a row only where fault current and clearing time are known and inside it."""

from dataclasses import dataclass
from decimal import Decimal

from ohmward.trade.formula import Formula, Input, Refused, Status, Turn, counted, number, quantity
from ohmward.trade.quantity import Quantity

STOP = "read the arc flash label, or have it studied: stop here"


@dataclass(frozen=True, slots=True)
class _Row:
    """One row of the table: bounds included, working distance 18 in (455 mm) in all of them."""

    equipment: str
    volts: Decimal
    kiloamperes: Decimal
    seconds: Decimal
    category: int
    boundary: str  # inches


# Source: NFPA 70E table 130.7(C)(15)(a). The two panelboard rows as a training lesson prints them (secondary); the rows
# of the motor control centre from memory.
_ROWS = (
    _Row("panelboard", Decimal(240), Decimal(25), Decimal("0.03"), 1, "19"),
    _Row("panelboard", Decimal(600), Decimal(25), Decimal("0.03"), 2, "36"),
    _Row("motor-control-centre", Decimal(600), Decimal(65), Decimal("0.03"), 2, "60"),
    _Row("motor-control-centre", Decimal(600), Decimal(42), Decimal("0.33"), 4, "168"),
)
EQUIPMENT = ("panelboard", "motor-control-centre")
WORKING_DISTANCE = Decimal(18)
# Source: NFPA 70E table 130.7(C)(15)(c): minimum arc rating by category, cal/cm2 (secondary).
_RATING = {1: 4, 2: 8, 3: 25, 4: 40}


def _row(equipment: str, voltage: Quantity, fault: Quantity, clearing: Quantity, distance: Quantity) -> _Row:
    values = (number(voltage, "V"), number(fault, "kA"), number(clearing, "s"))
    if min(values) <= 0:
        raise Refused(f"voltage, fault current and clearing time must be above 0: {STOP}")
    if number(distance, "in") < WORKING_DISTANCE:
        raise Refused(f"the table is for a working distance of 18 in or more, not {distance}: {STOP}")
    for row in _ROWS:
        inside = values[0] <= row.volts and values[1] <= row.kiloamperes and values[2] <= row.seconds
        if row.equipment == equipment and inside:
            return row
    raise Refused(f"no row of the table covers {equipment} at {voltage}, {fault}, {clearing}: {STOP}")


def arc_flash_category(
    equipment: str, voltage: Quantity, fault: Quantity, clearing: Quantity, distance: Quantity
) -> Quantity:
    return quantity(Decimal(_row(equipment, voltage, fault, clearing, distance).category), "")


def arc_flash_boundary(
    equipment: str, voltage: Quantity, fault: Quantity, clearing: Quantity, distance: Quantity
) -> Quantity:
    return quantity(Decimal(_row(equipment, voltage, fault, clearing, distance).boundary), "in")


def arc_rating_for(category: Quantity) -> Quantity:
    named = counted(category, "arc flash categories")
    if named not in _RATING:
        raise Refused(f"an arc flash category is 1, 2, 3 or 4, not {category}")
    return quantity(Decimal(_RATING[named]), "cal/cm2")


_INPUTS = (
    Input("equipment", "text", words=EQUIPMENT),
    Input("voltage", "voltage", Turn.RISES),
    Input("fault-current", "current", Turn.RISES),
    Input("clearing-time", "time", Turn.RISES),
    Input("working-distance", "length", Turn.FALLS),
)
_SOURCE = "NFPA 70E table 130.7(C)(15)(a) (a training lesson; motor control centre from memory)"
_DOMAIN = "fault current and clearing time known and inside a row, working distance 18 in or more; else label or study"

FORMULAS = (
    Formula(
        name="arc-flash-category",
        inputs=_INPUTS,
        gives="number",
        words="category of the first row that covers voltage, fault current and clearing time",
        source=_SOURCE,
        status=Status.SECONDARY,
        domain=_DOMAIN,
        work=arc_flash_category,
    ),
    Formula(
        name="arc-flash-boundary",
        inputs=_INPUTS,
        gives="length",
        unit="in",
        words="boundary of the first row that covers voltage, fault current and clearing time",
        source=_SOURCE,
        status=Status.SECONDARY,
        domain=_DOMAIN,
        work=arc_flash_boundary,
    ),
    Formula(
        name="arc-rating-for",
        inputs=(Input("category", "number"),),
        gives="incident energy",
        unit="cal/cm2",
        words="category 1: 4, 2: 8, 3: 25, 4: 40",
        source="NFPA 70E table 130.7(C)(15)(c) (a training lesson)",
        status=Status.SECONDARY,
        domain="category of the table method; where a study gives the energy, that governs",
        work=arc_rating_for,
    ),
)
