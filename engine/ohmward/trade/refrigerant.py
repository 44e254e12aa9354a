"""The refrigerant side: saturation, superheat by dew, subcooling by bubble, target, airflow, verdict on the charge."""

from decimal import Decimal
from itertools import pairwise

from ohmward.trade.formula import Formula, Input, Refused, Result, Status, Turn, number, positive, quantity
from ohmward.trade.quantity import Quantity
from ohmward.trade.saturation_table import COLUMNS, ROWS
from ohmward.trade.span import Span

REFRIGERANTS = COLUMNS
STANDARD_ATMOSPHERE = Decimal(101325)  # Pa, sea level
_ZERO = Decimal("273.15")
_BUBBLE, _DEW = 0, 1
_SENSIBLE = Decimal("1.08")  # Btu/h for each cfm and delta-degF: 60 x 0.075 x 0.24


def _absolute(pressure: Quantity) -> Decimal:
    gauge = pressure.dimension == "gauge pressure"
    pascals = pressure.base + (STANDARD_ATMOSPHERE if gauge else 0)
    if pascals <= 0:
        raise Refused(f"{pressure} is below nothing")
    return pascals


def _saturation(refrigerant: str, pressure: Quantity, side: int) -> Quantity:
    """Between two rows on a straight line of ln p over 1/T, as vapour pressures run."""
    column = COLUMNS.index(refrigerant)
    pascals = _absolute(pressure)
    points = [(Decimal(celsius), Decimal(cells[column][side])) for celsius, cells in ROWS]
    for (cold, low), (warm, high) in pairwise(points):
        if low <= pascals <= high:
            part = (pascals / low).ln() / (high / low).ln()
            below, above = 1 / (cold + _ZERO), 1 / (warm + _ZERO)
            return quantity(1 / (below + (above - below) * part) - _ZERO, "degC").to("degF")
    raise Refused(
        f"{pressure} lies outside the table of {refrigerant} ({ROWS[0][0]} degC to {ROWS[-1][0]} degC)"
    )


def dew_temperature(refrigerant: str, pressure: Quantity) -> Quantity:
    return _saturation(refrigerant, pressure, _DEW)


def bubble_temperature(refrigerant: str, pressure: Quantity) -> Quantity:
    return _saturation(refrigerant, pressure, _BUBBLE)


def superheat(refrigerant: str, pressure: Quantity, line: Quantity) -> Quantity:
    """Suction line minus dew point at suction pressure; below zero means liquid in the line."""
    return line.to("degF").plus(dew_temperature(refrigerant, pressure), -1)


def subcooling(refrigerant: str, pressure: Quantity, line: Quantity) -> Quantity:
    """Bubble point at liquid pressure minus liquid line."""
    return bubble_temperature(refrigerant, pressure).plus(line.to("degF"), -1)


def target_superheat(wet_bulb: Quantity, outdoor: Quantity) -> Quantity:
    """(3 wet bulb - 80 - outdoor) / 2, refused where a charging chart forbids to charge.

    The chart that was read forbids 95 degF outdoor with 62 degF wet bulb (formula 5.5) and allows 80 with 58
    (formula 7, chart 5): below 7 counts as forbidden, for its entries stay 5 degF above nothing.
    """
    inside, outside = number(wet_bulb, "degF"), number(outdoor, "degF")
    if not 50 <= inside <= 76 or not 55 <= outside <= 115:
        raise Refused(
            "indoor wet bulb 50 to 76 degF and outdoor 55 to 115 degF; outside of that no charging chart"
        )
    target = (3 * inside - 80 - outside) / 2
    if target < 7:
        raise Refused("at these temperatures a charging chart forbids to charge by superheat")
    return quantity(target, "delta-degF")


def temperature_split(back: Quantity, supply: Quantity) -> Quantity:
    return back.to("degF").plus(supply.to("degF"), -1)


def airflow_by_heat(heat: Quantity, split: Quantity) -> Quantity:
    """cfm = Q / (1.08 dT), sensible heat at sea level."""
    difference = number(positive(split, "split"), "delta-degF")
    return quantity(number(positive(heat, "heat"), "Btuh") / (_SENSIBLE * difference), "cfm")


def sensible_heat(airflow: Quantity, split: Quantity) -> Quantity:
    return quantity(
        _SENSIBLE * number(positive(airflow, "airflow"), "cfm") * number(split, "delta-degF"), "Btuh"
    )


def airflow_in_order(airflow: Quantity, capacity: Quantity) -> bool:
    """325 to 450 cfm for each ton of cooling; the nominal 400 lies between."""
    tons = number(positive(capacity, "capacity"), "ton")
    return 325 * tons <= number(airflow, "cfm") <= 450 * tons


def charge_verdict(airflow: bool, measured: Quantity, target: Quantity, within: Quantity) -> str:
    """What superheat or subcooling says of the charge. Refused when airflow is not in order."""
    if airflow is not True:
        raise Refused("the airflow is not in order: nothing is said of the charge before it is")
    apart = measured.plus(target, -1)
    allowed = positive(within, "within")
    if abs(apart.base) <= allowed.base:
        return "in order"
    return "above target" if apart.base > 0 else "below target"


def _charge(
    airflow: Quantity, capacity: Quantity, measured: Quantity, target: Quantity, within: Quantity
) -> str:
    return charge_verdict(airflow_in_order(airflow, capacity), measured, target, within)


_PRESSURE = Input("pressure", "gauge pressure or absolute pressure", Turn.RISES)
_FLUID = Input("refrigerant", "text", words=REFRIGERANTS)
_SATURATION = "saturation table computed with CoolProp 8.0.0, between its rows on ln p over 1/T"
_PLACE = "from -40 degC to 66 degC; gauge pressure at sea level, elsewhere give absolute pressure"
_DIFFERENCE = "temperature difference"

DEW = Formula(
        name="dew-temperature", inputs=(_FLUID, _PRESSURE), gives="temperature", unit="degF",
        words="temperature at which the last liquid boils away at this pressure", source=_SATURATION, status=Status.COMPUTED,
        domain=_PLACE, work=dew_temperature,
    )  # fmt: skip
BUBBLE = Formula(
        name="bubble-temperature", inputs=(_FLUID, _PRESSURE), gives="temperature", unit="degF",
        words="temperature at which the first bubble forms at this pressure", source=_SATURATION, status=Status.COMPUTED,
        domain=_PLACE, work=bubble_temperature,
    )  # fmt: skip


def _by_dew(refrigerant: str, pressure: Span, _line: Span) -> tuple[tuple[str, Result], ...]:
    return (("dew temperature", DEW(refrigerant, pressure)),)


def _by_bubble(refrigerant: str, pressure: Span, _line: Span) -> tuple[tuple[str, Result], ...]:
    return (("bubble temperature", BUBBLE(refrigerant, pressure)),)


FORMULAS = (
    DEW,
    BUBBLE,
    Formula(
        name="superheat", inputs=(_FLUID, Input("pressure", _PRESSURE.kind, Turn.FALLS), Input("line", "temperature", Turn.RISES)),
        gives=_DIFFERENCE, unit="delta-degF", words="suction line - dew temperature at suction pressure",
        source=f"a maker's charging steps (secondary); {_SATURATION}", status=Status.SECONDARY, domain=_PLACE, work=superheat, via=_by_dew,
    ),
    Formula(
        name="subcooling", inputs=(_FLUID, _PRESSURE, Input("line", "temperature", Turn.FALLS)),
        gives=_DIFFERENCE, unit="delta-degF", words="bubble temperature at liquid pressure - liquid line",
        source=f"a maker's charging steps (secondary); {_SATURATION}", status=Status.SECONDARY, domain=_PLACE, work=subcooling, via=_by_bubble,
    ),
    Formula(
        name="target-superheat", inputs=(Input("wet-bulb", "temperature", Turn.RISES), Input("outdoor", "temperature", Turn.FALLS)),
        gives=_DIFFERENCE, unit="delta-degF", words="(3 x indoor wet bulb - 80 - outdoor) / 2 in degF; below 7 no charging",
        source="a trade forum's approximation of charging charts, held against a maker's chart within its 5 degF (secondary)", status=Status.SECONDARY,
        domain="fixed orifice; wet bulb 50 to 76 degF, outdoor 55 to 115 degF (from memory); the maker's own chart governs", work=target_superheat,
    ),
    Formula(
        name="temperature-split", inputs=(Input("return", "temperature", Turn.RISES), Input("supply", "temperature", Turn.FALLS)),
        gives=_DIFFERENCE, unit="delta-degF", words="return air - supply air", source="usual 16 to 22 degF when cooling (a weak page)", status=Status.PRACTICE,
        domain="steady cooling, both read in the air stream", work=temperature_split,
    ),
    Formula(
        name="airflow-by-heat", inputs=(Input("heat", "power", Turn.RISES), Input("split", _DIFFERENCE, Turn.FALLS)), gives="airflow", unit="cfm",
        words="heat in Btu/h / (1.08 x split in degF)", source="sensible heat of air, 1.08 = 60 x 0.075 x 0.24 (an engineering forum)", status=Status.SECONDARY,
        domain="sensible heat only: dry air at sea level, heating or a dry coil", work=airflow_by_heat,
    ),
    Formula(
        name="sensible-heat", inputs=(Input("airflow", "airflow", Turn.RISES), Input("split", _DIFFERENCE, Turn.RISES)), gives="power", unit="Btuh",
        words="1.08 x airflow in cfm x split in degF", source="sensible heat of air, 1.08 = 60 x 0.075 x 0.24 (an engineering forum)", status=Status.SECONDARY,
        domain="sensible heat only: dry air at sea level", work=sensible_heat,
    ),
    Formula(
        name="airflow-in-order", inputs=(Input("airflow", "airflow"), Input("capacity", "power")), gives="truth",
        words="325 to 450 cfm for each ton of cooling", source="a trade magazine: 400 nominal, 325 where humid, 450 where dry", status=Status.SECONDARY,
        domain="comfort cooling; the maker's figure governs", work=airflow_in_order,
    ),
    Formula(
        name="charge", inputs=(Input("airflow", "airflow"), Input("capacity", "power"), Input("measured", _DIFFERENCE, Turn.RISES), Input("target", _DIFFERENCE, Turn.FALLS), Input("within", _DIFFERENCE)),
        gives="text", words="measured - target, compared with within; refused unless airflow-in-order",
        source="charging is checked only with the airflow in order (a trade magazine, a maker's charging steps)", status=Status.SECONDARY,
        domain="steady state; target from the data plate, the maker's chart or target-superheat", work=_charge,
    ),
)  # fmt: skip
