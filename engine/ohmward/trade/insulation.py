"""Insulation resistance: corrected, against its minimum, and its rise over ten minutes."""

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

_HALF = Decimal("0.5")
_MOST_FOR_INDEX = Decimal(5000)  # Mohm
WINDINGS = ("random-wound", "form-wound", "dc-armature")
CLASSES = {"A": Decimal("1.5"), "B": Decimal(2), "F": Decimal(2), "H": Decimal(2)}


def insulation_at_40(resistance: Quantity, temperature: Quantity) -> Quantity:
    """R40 = R x 0.5 ^ ((40 - t) / 10): it halves with every 10 K."""
    celsius = number(temperature, "degC")
    if not Decimal(-20) <= celsius <= Decimal(150):
        raise Refused(f"winding temperatures from -20 degC to 150 degC, not {temperature}")
    factor = _HALF ** ((40 - celsius) / 10)
    return quantity(number(not_below_zero(resistance, "resistance"), "Mohm") * factor, "Mohm")


def insulation_lowest(voltage: Quantity, winding: str, year: Quantity) -> Quantity:
    """Minimum at 40 degC after one minute: kV + 1 Mohm before 1970; 5 or 100 Mohm since."""
    volts = number(positive(voltage, "voltage"), "V")
    made = year.base
    if not 1900 <= made <= 2100:
        raise Refused(f"a year of make such as 1998, not {year}")
    if made < 1970:
        return quantity(volts / 1000 + 1, "Mohm")
    if winding == "random-wound" or (winding == "form-wound" and volts < 1000):
        return quantity(Decimal(5), "Mohm")
    return quantity(Decimal(100), "Mohm")


def insulation_floor(owner: Quantity, minimum: Quantity) -> Quantity:
    """The higher of what the owner or maker accepts for this machine and the standard's minimum."""
    return owner if owner.compare(minimum) >= 0 else minimum


def polarization_index(one_minute: Quantity, ten_minutes: Quantity) -> Quantity:
    """R(10 min) / R(1 min). Refused where one minute reads above 5000 Mohm: there it means nothing."""
    first = number(positive(one_minute, "one-minute"), "Mohm")
    if first > _MOST_FOR_INDEX:
        raise Refused("above 5000 Mohm after one minute the index means nothing")
    return quantity(number(ten_minutes, "Mohm") / first, "")


def polarization_lowest(insulation_class: str) -> Quantity:
    return quantity(CLASSES[insulation_class], "")


def absorption_ratio(half_minute: Quantity, one_minute: Quantity) -> Quantity:
    return quantity(number(one_minute, "Mohm") / number(positive(half_minute, "half-minute"), "Mohm"), "")


def insulation_test_voltage(voltage: Quantity) -> Quantity:
    """DC test voltage: 500 V below 1000 V rated."""
    if number(positive(voltage, "voltage"), "V") >= 1000:
        raise Refused("from 1000 V the maker's instructions give the test voltage")
    return quantity(Decimal(500), "V")


_IEEE = "IEEE 43-2000 (as a summary prints it)"

FORMULAS = (
    Formula(
        name="insulation-at-40", inputs=(Input("resistance", "resistance", Turn.RISES), Input("temperature", "temperature", Turn.RISES)),
        gives="resistance", unit="Mohm", words="resistance x 0.5 ^ ((40 degC - temperature) / 10 K)",
        source="IEEE 43 halving rule (as a training page prints it)", status=Status.SECONDARY,
        domain="winding from -20 degC to 150 degC; thermoplastic insulation, milder for thermosetting; older graphs differ by about 15 % at 70 degC",
        work=insulation_at_40,
    ),
    Formula(
        name="insulation-lowest", inputs=(Input("voltage", "voltage", Turn.RISES), Input("winding", "text", words=WINDINGS), Input("year", "number")),
        gives="resistance", unit="Mohm",
        words="before 1970: voltage in kV + 1 Mohm; since: 5 Mohm random-wound or form-wound below 1 kV, else 100 Mohm",
        source=_IEEE, status=Status.SECONDARY,
        domain="at 40 degC after one minute; the 2013 edition takes 5 Mohm for DC armatures: the stricter stands here; makers' floors differ a hundredfold",
        work=insulation_lowest,
    ),
    Formula(
        name="insulation-floor", inputs=(Input("owner", "resistance", Turn.RISES), Input("minimum", "resistance", Turn.RISES)),
        gives="resistance", unit="Mohm", words="the higher of the two", source="the stricter of maker or owner and standard", status=Status.OURS,
        domain="the owner's or maker's figure belongs to this one machine", work=insulation_floor,
    ),
    Formula(
        name="polarization-index", inputs=(Input("one-minute", "resistance", Turn.FALLS), Input("ten-minutes", "resistance", Turn.RISES)),
        gives="number", words="ten-minutes / one-minute", source=_IEEE, status=Status.SECONDARY,
        domain="means nothing above 5000 Mohm after one minute", work=polarization_index,
    ),
    Formula(
        name="polarization-lowest", inputs=(Input("insulation-class", "text", words=tuple(CLASSES)),), gives="number",
        words="class A 1.5; classes B, F and H 2.0", source="IEEE 43 (as a tester's manual prints it)", status=Status.SECONDARY,
        domain="insulation class on the nameplate", work=polarization_lowest,
    ),
    Formula(
        name="absorption-ratio", inputs=(Input("half-minute", "resistance", Turn.FALLS), Input("one-minute", "resistance", Turn.RISES)),
        gives="number", words="one-minute / half-minute", source="dielectric absorption ratio (trade training)", status=Status.SECONDARY,
        domain="readings after 30 s and 60 s of one test", work=absorption_ratio,
    ),
    Formula(
        name="insulation-test-voltage", inputs=(Input("voltage", "voltage"),), gives="voltage", unit="V",
        words="500 V DC below 1000 V rated", source="IEEE 43", status=Status.MEMORY,
        domain="windings below 1000 V; electronics disconnected; never under vacuum", work=insulation_test_voltage,
    ),
)  # fmt: skip
