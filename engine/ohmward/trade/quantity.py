"""Exact quantities: a Decimal and a unit. Different dimensions never meet in one comparison."""

import re
from dataclasses import dataclass
from decimal import Decimal, InvalidOperation, localcontext

# unit -> (dimension, factor to the dimension's base unit). Source: SI Brochure, 9th edition (from memory);
# °F and °C are absolute temperatures, delta units are differences: two dimensions.
_UNITS: dict[str, tuple[str, Decimal]] = {
    "": ("number", Decimal(1)),
    "%": ("number", Decimal("0.01")),
    "mV": ("voltage", Decimal("0.001")),
    "V": ("voltage", Decimal(1)),
    "kV": ("voltage", Decimal(1000)),
    "uA": ("current", Decimal("0.000001")),
    "mA": ("current", Decimal("0.001")),
    "A": ("current", Decimal(1)),
    "kA": ("current", Decimal(1000)),
    "ohm": ("resistance", Decimal(1)),
    "kohm": ("resistance", Decimal(1000)),
    "Mohm": ("resistance", Decimal(1000000)),
    "Gohm": ("resistance", Decimal(1000000000)),
    "nF": ("capacitance", Decimal("0.001")),
    "uF": ("capacitance", Decimal(1)),
    "mF": ("capacitance", Decimal(1000)),
    "W": ("power", Decimal(1)),
    "kW": ("power", Decimal(1000)),
    "hp": ("power", Decimal("745.6998715822702")),
    "VA": ("apparent power", Decimal(1)),
    "kVA": ("apparent power", Decimal(1000)),
    "Hz": ("frequency", Decimal(1)),
    "s": ("time", Decimal(1)),
    "min": ("time", Decimal(60)),
    "h": ("time", Decimal(3600)),
    "d": ("time", Decimal(86400)),
    "mm": ("length", Decimal("0.001")),
    "cm": ("length", Decimal("0.01")),
    "m": ("length", Decimal(1)),
    "in": ("length", Decimal("0.0254")),
    "ft": ("length", Decimal("0.3048")),
}
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
}
UNITS = tuple(_UNITS)
_NUMBER = re.compile(r"[-+]?[0-9]{1,12}(?:\.[0-9]{1,12})?")


class QuantityError(ValueError):
    """The text is no quantity, or two quantities do not go together."""


def unit_named(text: str) -> str:
    """The unit that `text` spells. Raises QuantityError for a unit that is not in the table."""
    name = _SPELLINGS.get(text, text)
    if name not in _UNITS:
        raise QuantityError(f"'{text}' is not a unit that ohmward knows")
    return name


def dimension_of(unit: str) -> str:
    """The dimension of a unit in the table, such as 'voltage'."""
    return _UNITS[unit_named(unit)][0]


def parse_number(text: str) -> Decimal:
    """A plain decimal number in ASCII digits: no exponent, no grouping, no infinity, at most 12+12 digits."""
    if _NUMBER.fullmatch(text) is None:
        raise QuantityError(f"'{text}' is not a number")
    try:
        return Decimal(text)
    except InvalidOperation:  # unreachable by the grammar above; kept so that no decimal error can leak
        raise QuantityError(f"'{text}' is not a number") from None


@dataclass(frozen=True, slots=True)
class Quantity:
    """A number with its unit, exact. `0.9 * 208 V` is 187.2 V, not 187.20000000000002 V."""

    value: Decimal
    unit: str = ""

    def __post_init__(self) -> None:
        unit_named(self.unit)
        if not self.value.is_finite():
            raise QuantityError("a quantity must be finite")

    @property
    def dimension(self) -> str:
        return _UNITS[self.unit][0]

    @property
    def base(self) -> Decimal:
        """The value in the dimension's base unit."""
        with localcontext() as context:
            context.prec = 60
            return self.value * _UNITS[self.unit][1]

    def to(self, unit: str) -> "Quantity":
        """The same quantity in another unit of its dimension, to 28 digits."""
        name = unit_named(unit)
        self.must_match(Quantity(Decimal(0), name))
        return self if name == self.unit else Quantity(self.base / _UNITS[name][1], name)

    def must_match(self, other: "Quantity") -> None:
        if self.dimension != other.dimension:
            raise QuantityError(
                f"{self} and {other} are of different kinds ({self.dimension}, {other.dimension})"
            )

    def plus(self, other: "Quantity", sign: int = 1) -> "Quantity":
        self.must_match(other)
        return Quantity(self.value + sign * other.to(self.unit).value, self.unit)

    def times(self, factor: Decimal) -> "Quantity":
        return Quantity(self.value * factor, self.unit)

    def compare(self, other: "Quantity") -> int:
        """-1, 0 or 1, exactly."""
        self.must_match(other)
        return (self.base > other.base) - (self.base < other.base)

    def __str__(self) -> str:
        text = format(self.value, "f")
        if "." in text:
            text = text.rstrip("0").rstrip(".")
        text = "0" if text in {"-0", ""} else text
        return f"{text} {self.unit}".strip()


def parse_quantity(text: str) -> Quantity:
    """`3.4 ohm`, `120V`, `6 %`, `4`: a number and a unit from the table. Raises QuantityError."""
    if re.match(r"[-+]?[0-9]+,[0-9]", text.strip()):
        raise QuantityError(f"'{text.strip()}': a decimal is written with a point")
    match = _NUMBER.match(text.strip())
    if match is None:
        raise QuantityError(f"'{text}' does not begin with a number")
    return Quantity(parse_number(match.group()), unit_named(text.strip()[match.end() :].strip()))


def with_unit(text: str, unit: str) -> str:
    """What was typed, with the unit where it is a bare number: `3.2` in A is `3.2 A`, `320 mA` and `OL` stay."""
    bare = not (text.rstrip()[-1:].isalpha() or text.rstrip().endswith(("%", "Ω")))
    return f"{text} {unit}" if unit and bare else text


@dataclass(frozen=True, slots=True)
class Interval:
    """What an instrument can vouch for: every value from `low` to `high`, both included."""

    low: Quantity
    high: Quantity

    def __post_init__(self) -> None:
        if self.low.compare(self.high) > 0:
            raise QuantityError(f"an interval from {self.low} to {self.high} is empty")

    @staticmethod
    def around(shown: Quantity, *, percent: Decimal, counts: int, resolution: Quantity) -> "Interval":
        """Shown value ± (percent of reading + counts × resolution).

        Source: accuracy as meters' data sheets state it; vector ±0.7 % + 2 counts on 120 V in the tests.
        """
        margin = Quantity(abs(shown.value) * percent / 100, shown.unit).plus(
            resolution.to(shown.unit).times(Decimal(counts))
        )
        return Interval(shown.plus(margin, -1), shown.plus(margin))

    def __str__(self) -> str:
        return str(self.low) if self.low == self.high else f"{self.low} to {self.high}"
