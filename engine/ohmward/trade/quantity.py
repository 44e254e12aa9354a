"""Exact quantities: a Decimal and a unit. Different dimensions never meet in one comparison."""

import re
from dataclasses import dataclass
from decimal import Decimal, Inexact, localcontext

from ohmward.trade.units import UNITS, UnitError, unit_of

__all__ = ["UNITS", "Quantity", "QuantityError", "dimension_of", "parse_number", "parse_quantity"]
WORKING_DIGITS = 60  # inside a calculation
KEPT_DIGITS = 28  # of a result: what ends within them is exact, so that a value at its bound is at its bound
_NUMBER = re.compile(r"[-+]?[0-9]{1,12}(?:\.[0-9]{1,12})?")


TEMPERATURE, DIFFERENCE = "temperature", "temperature difference"
# (left, right, sign) -> what comes of it, where that is not simply the same dimension again
SUMS = {
    (TEMPERATURE, TEMPERATURE, -1): DIFFERENCE,
    (TEMPERATURE, DIFFERENCE, -1): TEMPERATURE,
    (TEMPERATURE, DIFFERENCE, 1): TEMPERATURE,
}
DIFFERENCE_UNIT = {"degC": "K", "degF": "delta-degF"}


class QuantityError(ValueError):
    """The text is no quantity, or two quantities do not go together."""


def unit_named(text: str) -> str:
    """The unit that `text` spells. Raises QuantityError for a unit that is not in the table."""
    try:
        return unit_of(text).name
    except UnitError as error:
        raise QuantityError(str(error)) from None


def dimension_of(unit: str) -> str:
    """The dimension of a unit in the table, such as 'voltage'."""
    return unit_of(unit_named(unit)).dimension


def parse_number(text: str) -> Decimal:
    """A plain decimal number in ASCII digits: no exponent, no grouping, no infinity, at most 12+12 digits."""
    if _NUMBER.fullmatch(text) is None:
        raise QuantityError(f"'{text}' is not a number")
    return Decimal(text)


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
        return unit_of(self.unit).dimension

    @property
    def base(self) -> Decimal:
        """The value in the dimension's base unit."""
        unit = unit_of(self.unit)
        with localcontext() as context:
            context.prec = WORKING_DIGITS
            return (self.value + unit.offset) * unit.factor / unit.over

    def to(self, unit: str) -> "Quantity":
        """The same quantity in another unit of its dimension, to 28 digits."""
        name = unit_named(unit)
        self.must_match(Quantity(Decimal(0), name))
        return self if name == self.unit else in_unit(self.base, name)

    def must_match(self, other: "Quantity") -> None:
        if self.dimension != other.dimension:
            raise QuantityError(
                f"{self} and {other} are of different kinds ({self.dimension}, {other.dimension})"
            )

    def plus(self, other: "Quantity", sign: int = 1) -> "Quantity":
        """The sum, or with `sign` -1 the difference, in this quantity's unit.

        Of two temperatures only the difference is known; a temperature takes a difference up or down.
        """
        wanted = SUMS.get((self.dimension, other.dimension, sign))
        if wanted is not None:
            unit = DIFFERENCE_UNIT.get(self.unit, self.unit) if wanted != self.dimension else self.unit
            return _shifted(self, other, sign, unit)
        self.must_match(other)
        if self.dimension == TEMPERATURE:
            raise QuantityError(f"{self} and {other} cannot be added: give a difference, such as 10 K")
        with localcontext() as context:
            context.prec = WORKING_DIGITS
            context.traps[Inexact] = True
            try:
                return Quantity(self.value + sign * other.to(self.unit).value, self.unit)
            except Inexact:
                raise QuantityError(f"{self} and {other} are too far apart to be added") from None

    def times(self, factor: Decimal, over: Decimal = Decimal(1)) -> "Quantity":
        """The quantity multiplied and divided in one go: `1.1 V * 3 / 3` stays 1.1 V."""
        with localcontext() as context:
            context.prec = WORKING_DIGITS
            made = self.value * factor / over
        return Quantity(kept(made), self.unit)

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


def _shifted(left: Quantity, right: Quantity, sign: int, unit: str) -> Quantity:
    with localcontext() as context:
        context.prec = WORKING_DIGITS
        base = left.base + sign * right.base
    return in_unit(base, unit)


def kept(value: Decimal) -> Decimal:
    """A number as results keep it: rounded half even to 28 digits."""
    with localcontext() as context:
        context.prec = KEPT_DIGITS
        return +value


SHOWN_DIGITS = 6


def brief(value: Quantity) -> str:
    """A quantity for reading: as it is up to six digits, else rounded to six with `about` before it."""
    with localcontext() as context:
        context.prec = SHOWN_DIGITS
        rounded = Quantity(+value.value, value.unit)
    return str(value) if rounded.value == value.value else f"about {rounded}"


def in_unit(base: Decimal, unit: str) -> Quantity:
    """A value in its dimension's base unit as a quantity in `unit`."""
    known = unit_of(unit)
    with localcontext() as context:
        context.prec = WORKING_DIGITS
        made = base * known.over / known.factor - known.offset
    return Quantity(kept(made), known.name)


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
