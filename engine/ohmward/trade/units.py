"""The units table: every unit that ohmward knows, with its dimension and its exact factor.

Source: SI Brochure, 9th edition; inch, foot and pound 1959; Btu (International Table) 1956 (all from memory). The
tests hold every factor against an independent library.
"""

from dataclasses import dataclass
from decimal import Decimal


class UnitError(ValueError):
    """The text names no unit of the table."""


@dataclass(frozen=True, slots=True)
class Unit:
    """`base = (value + offset) * factor / over`. Only absolute temperatures have an offset.

    A temperature and a difference of temperatures are two dimensions, and so are gauge and absolute pressure:
    20 degC is no 20 K, and 118 psig is no 118 psia.
    """

    name: str
    dimension: str
    factor: Decimal
    over: Decimal = Decimal(1)
    offset: Decimal = Decimal(0)


def _table() -> dict[str, Unit]:
    psi = Decimal("6894.757293168361")  # pound-force per square inch in pascal
    btuh = Decimal("0.2930710701722222")  # watt
    foot = Decimal("0.3048")
    rows: tuple[tuple[str, str, str | Decimal], ...] = (
        ("", "number", "1"),
        ("%", "number", "0.01"),
        ("mV", "voltage", "0.001"),
        ("V", "voltage", "1"),
        ("kV", "voltage", "1000"),
        ("uA", "current", "0.000001"),
        ("mA", "current", "0.001"),
        ("A", "current", "1"),
        ("kA", "current", "1000"),
        ("ohm", "resistance", "1"),
        ("kohm", "resistance", "1000"),
        ("Mohm", "resistance", "1000000"),
        ("Gohm", "resistance", "1000000000"),
        ("nF", "capacitance", "0.001"),
        ("uF", "capacitance", "1"),
        ("mF", "capacitance", "1000"),
        ("W", "power", "1"),
        ("kW", "power", "1000"),
        ("hp", "power", "745.6998715822702"),
        ("Btuh", "power", btuh),
        ("ton", "power", btuh * 12000),
        ("VA", "apparent power", "1"),
        ("kVA", "apparent power", "1000"),
        ("J", "energy", "1"),
        ("Hz", "frequency", "1"),
        ("rpm", "speed", "1"),
        ("ms", "time", "0.001"),
        ("s", "time", "1"),
        ("min", "time", "60"),
        ("h", "time", "3600"),
        ("d", "time", "86400"),
        ("mm", "length", "0.001"),
        ("cm", "length", "0.01"),
        ("m", "length", "1"),
        ("in", "length", "0.0254"),
        ("ft", "length", foot),
        ("cmil", "wire area", "1"),
        ("kcmil", "wire area", "1000"),
        ("cfm", "airflow", "1"),
        ("cal/cm2", "incident energy", "1"),
        ("K", "temperature difference", "1"),
        ("Pa", "absolute pressure", "1"),
        ("kPa", "absolute pressure", "1000"),
        ("bara", "absolute pressure", "100000"),
        ("psia", "absolute pressure", psi),
        ("kPag", "gauge pressure", "1000"),
        ("barg", "gauge pressure", "100000"),
        ("psig", "gauge pressure", psi),
    )
    table = {name: Unit(name, dimension, Decimal(factor)) for name, dimension, factor in rows}
    five, nine = Decimal(5), Decimal(9)
    table["delta-degF"] = Unit("delta-degF", "temperature difference", five, nine)
    table["degC"] = Unit("degC", "temperature", Decimal(1), offset=Decimal("273.15"))
    table["degF"] = Unit("degF", "temperature", five, nine, Decimal("459.67"))
    return table


_UNITS = _table()
UNITS = tuple(_UNITS)
_SPELLINGS = {
    "Ω": "ohm",
    "ohms": "ohm",
    "kΩ": "kohm",
    "MΩ": "Mohm",
    "GΩ": "Gohm",
    "µF": "uF",
    "μF": "uF",
    "volt": "V",
    "volts": "V",
    "amp": "A",
    "amps": "A",
    "ampere": "A",
    "amperes": "A",
    "°C": "degC",
    "°F": "degF",
    "CFM": "cfm",
    "HP": "hp",
}


def unit_of(text: str) -> Unit:
    """The unit that a name or one of its other spellings means. Raises UnitError."""
    name = _SPELLINGS.get(text, text)
    if name not in _UNITS:
        raise UnitError(f"'{text}' is not a unit that ohmward knows")
    return _UNITS[name]
