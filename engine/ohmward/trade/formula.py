"""A calculation of the trade as a thing: what it takes, its formula in words, its source, and where it holds.

One `Formula` has many readers: limits and gates call it by its name, the screen and the page print its working,
`ohmward reckon` computes it alone, the documentation lists it.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from decimal import Decimal, localcontext
from enum import StrEnum
from itertools import pairwise

from ohmward.trade.quantity import (
    WORKING_DIGITS,
    Quantity,
    QuantityError,
    kept,
)
from ohmward.trade.span import Interval, spanned

TRUTH, TEXT = "truth", "text"
Given = Quantity | Interval | str
Result = Quantity | Interval | str | bool


class Status(StrEnum):
    """How well a source is known."""

    PUBLISHED = "published"
    SECONDARY = "secondary source"
    MEMORY = "from memory"
    DERIVED = "derived"
    COMPUTED = "computed"
    PRACTICE = "common practice, no source"
    OURS = "ours"


class Refused(ValueError):  # noqa: N818  the answer of a calculation that cannot know, not an accident
    """The calculation cannot know, and why: never a number outside what its source covers."""


class Turn(StrEnum):
    """How a result moves when one input rises: what makes the ends of its interval."""

    RISES = "rises"
    FALLS = "falls"
    EXACT = "exact"  # an interval is refused: neither direction is known
    OWN = "own"  # the formula itself works with intervals


@dataclass(frozen=True, slots=True)
class Input:
    """One input: its name, its kind (a dimension, or `text`), how the result moves with it, its words."""

    name: str
    kind: str
    turn: Turn = Turn.EXACT
    words: tuple[str, ...] = ()

    def as_named(self, value: Given) -> Given:
        """A word as the calculation writes it: ids in files are small, `r-410a` is R-410A."""
        if not isinstance(value, str):
            return value
        return next((word for word in self.words if word.casefold() == value.casefold()), value)

    def takes(self, value: Given) -> str:
        """Why a value cannot be this input; '' when it can."""
        if isinstance(value, str):
            if self.kind != TEXT:
                return f"{self.name} is a {self.kind}, not the word '{value}'"
            known = not self.words or value in self.words
            return "" if known else f"{self.name} is one of {', '.join(self.words)}, not '{value}'"
        dimension = value.dimension
        return "" if dimension in self.kind.split(" or ") else f"{self.name} is a {self.kind}, not {value}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Formula:
    """A calculation. `work` gets the inputs in order and may raise `Refused`.

    `via` names what stands between inputs and result, so that somebody can do the arithmetic again by hand.
    """

    name: str
    inputs: tuple[Input, ...]
    gives: str
    unit: str = ""
    words: str
    source: str
    status: Status
    domain: str
    work: Callable[..., Result]
    via: Callable[..., tuple[tuple[str, Result], ...]] | None = None

    def __call__(self, *given: Given) -> Result:
        """The result; an interval where an input is one. Raises `Refused`, in words, and nothing else."""
        if len(given) != len(self.inputs):
            raise Refused(f"{self.name} takes {len(self.inputs)} values, not {len(given)}")
        given = tuple(i.as_named(v) for i, v in zip(self.inputs, given, strict=True))
        for wanted, value in zip(self.inputs, given, strict=True):
            against = wanted.takes(value)
            if against:
                raise Refused(against)
        try:
            with localcontext() as context:
                context.prec = WORKING_DIGITS
                return self._spanned(given)
        except (QuantityError, ArithmeticError) as error:
            raise Refused(f"{self.name}: {error}") from None

    def steps_between(self, *given: Given) -> tuple[tuple[str, Result], ...]:
        """Name and value of each step between the inputs and the result, for inputs that gave one."""
        if self.via is None:
            return ()
        given = tuple(i.as_named(v) for i, v in zip(self.inputs, given, strict=True))
        with localcontext() as context:
            context.prec = WORKING_DIGITS
            return self.via(*given)

    def _spanned(self, given: Sequence[Given]) -> Result:
        loose = [i for i, v in zip(self.inputs, given, strict=True) if isinstance(v, Interval)]
        if not loose or any(i.turn is Turn.OWN for i in self.inputs):
            return self.work(*given)
        blocked = next((i for i in loose if i.turn is Turn.EXACT), None)
        if blocked is not None:
            raise Refused(f"{blocked.name} must be one value, not a span")
        pairs = list(zip(self.inputs, given, strict=True))
        ends = [self.work(*(_end(i, v, low=low) for i, v in pairs)) for low in (True, False)]
        return _between(*ends)


def _end(wanted: Input, value: Given, *, low: bool) -> Given:
    if not isinstance(value, Interval):
        return value
    return value.low if (wanted.turn is Turn.RISES) == low else value.high


def _between(low: Result, high: Result) -> Result:
    """The span from one end to the other; of words and truths, only what both ends agree on."""
    if isinstance(low, Quantity) and isinstance(high, Quantity):
        return spanned(low, high)
    if low != high:
        raise Refused(f"the instrument cannot tell '{spoken(low)}' from '{spoken(high)}' here")
    return low


def spoken(value: Result) -> str:
    """A result in words."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return str(value)


def quantity(value: Decimal, unit: str) -> Quantity:
    """A number that is already in `unit`, as results are kept."""
    return Quantity(kept(value), unit)


def number(value: Quantity, unit: str) -> Decimal:
    """The number of a quantity in `unit`, with the digits of a working calculation."""
    return value.to(unit).value


def positive(value: Quantity, name: str) -> Quantity:
    """The value when it is above nothing. Raises `Refused`."""
    if value.value <= 0:
        raise Refused(f"{name} must be above 0, not {value}")
    return value


def not_below_zero(value: Quantity, name: str) -> Quantity:
    """The value when it is nothing or above. Raises `Refused`."""
    if value.value < 0:
        raise Refused(f"{name} must not be below 0, not {value}")
    return value


def counted(value: Quantity, name: str) -> int:
    """A whole number, not below 0. Raises `Refused`."""
    plain = value.base
    if value.dimension != "number" or plain < 0 or plain != plain.to_integral_value():
        raise Refused(f"{name} are whole numbers, not {value}")
    return int(plain)


def up_through(rows: Sequence[tuple[Decimal, Decimal]], at: Decimal) -> Decimal:
    """On the straight line between the neighbouring points of a table. Raises `Refused` outside it."""
    for (left, low), (right, high) in pairwise(rows):
        if left <= at <= right:
            return low + (high - low) * (at - left) / (right - left)
    raise Refused(f"{format(kept(at), 'f')} lies outside the table ({rows[0][0]} to {rows[-1][0]})")


def listed(formulas: Sequence[Formula]) -> Mapping[str, Formula]:
    """Formulas by their name. Raises ValueError when two have the same one."""
    found = {f.name: f for f in formulas}
    if len(found) != len(formulas):
        raise ValueError("two formulas have one name")
    return found
