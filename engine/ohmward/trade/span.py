"""Intervals: what an instrument can vouch for, reckoned with and compared in three values."""

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from decimal import Decimal

from ohmward.trade.quantity import DIFFERENCE_UNIT, Quantity, QuantityError, parse_quantity


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

        Of a temperature the resolution is a difference, and percent is of the reading on its own scale.
        Source: accuracy as meters' data sheets state it; vector ±0.7 % + 2 counts on 120 V in the tests.
        """
        unit = DIFFERENCE_UNIT.get(shown.unit, shown.unit)
        margin = Quantity(abs(shown.value) * percent / 100, unit).plus(
            resolution.to(unit).times(Decimal(counts))
        )
        return Interval(shown.plus(margin, -1), shown.plus(margin))

    @property
    def dimension(self) -> str:
        return self.low.dimension

    def __str__(self) -> str:
        return str(self.low) if self.low == self.high else f"{self.low} to {self.high}"


def ends_of(value: Quantity | Interval) -> tuple[Quantity, Quantity]:
    """The lowest and the highest value; of one quantity, itself twice."""
    return (value.low, value.high) if isinstance(value, Interval) else (value, value)


def spanned(low: Quantity, high: Quantity) -> Quantity | Interval:
    """The span between two values, or the one value that both are."""
    return low if low == high else Interval(low, high)


Span = Quantity | Interval


def parse_span(text: str) -> Span:
    """`207 V`, or `206.1 V..207.9 V` for what an instrument can vouch for. Raises QuantityError."""
    low, dots, high = text.partition("..")
    return Interval(parse_quantity(low), parse_quantity(high)) if dots else parse_quantity(low)


def added(left: Span, right: Span, sign: int = 1) -> Span:
    """The sum, or with `sign` -1 the difference: every result that the ends allow."""
    low, high = ends_of(right)
    first, last = (low, high) if sign > 0 else (high, low)
    return spanned(ends_of(left)[0].plus(first, sign), ends_of(left)[1].plus(last, sign))


def scaled(left: Span, by: Span, *, over: bool = False) -> Span:
    """The product with a plain number, or the quotient. Raises QuantityError where the divisor spans zero."""
    factors = [f.base for f in ends_of(by)]
    if over and min(factors) <= 0 <= max(factors):
        raise QuantityError("division by zero")
    corners = [
        value.times(Decimal(1), factor) if over else value.times(factor)
        for value in ends_of(left)
        for factor in factors
    ]
    return spanned(min(corners, key=lambda q: q.base), max(corners, key=lambda q: q.base))


def ratio(left: Span, right: Span) -> Span:
    """How many times one goes into the other, as a plain number. Raises QuantityError as `scaled` does."""
    plain = [Quantity(q.base) for q in ends_of(left)]
    return scaled(spanned(*plain), spanned(*(Quantity(q.base) for q in ends_of(right))), over=True)


def magnitude(value: Span) -> Span:
    """The value without its sign."""
    low, high = ends_of(value)
    ends = [Quantity(abs(q.value), q.unit) for q in (low, high)]
    least = Quantity(Decimal(0), low.unit) if low.value < 0 < high.value else min(ends, key=lambda q: q.base)
    return spanned(least, max(ends, key=lambda q: q.base))


def outermost(values: Sequence[Span], *, most: bool) -> Span:
    """The largest, or the smallest, of several: end by end. Raises QuantityError for different kinds."""
    pick: Callable[..., Quantity] = max if most else min
    lows, highs = zip(*(ends_of(v) for v in values), strict=True)
    for low in lows[1:]:
        lows[0].must_match(low)
    return spanned(pick(lows, key=lambda q: q.base), pick(highs, key=lambda q: q.base))


def holds(op: str, left: Span, right: Span) -> bool | None:
    """A comparison in three values: True or False where every pair agrees, None where it cannot be told.

    Raises QuantityError for different kinds and KeyError for an operator that is no comparison.
    """
    (low, high), (other_low, other_high) = ends_of(left), ends_of(right)
    first, last = high.compare(other_low), low.compare(other_high)
    match op:
        case "<":
            return _settled(yes=first < 0, no=last >= 0)
        case "<=":
            return _settled(yes=first <= 0, no=last > 0)
        case ">" | ">=":
            opposite = holds("<=" if op == ">" else "<", left, right)
            return None if opposite is None else not opposite
        case "=":
            return _settled(yes=first == last == 0, no=first < 0 or last > 0)
        case "!=":
            same = holds("=", left, right)
            return None if same is None else not same
    raise KeyError(op)


def _settled(*, yes: bool, no: bool) -> bool | None:
    return True if yes else (False if no else None)
