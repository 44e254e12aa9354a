"""The kinds of value that files hold. Scalars arrive as text; these type them, each with its fault in words."""

import re
from collections.abc import Callable
from typing import Annotated, Literal, TypeVar

from pydantic import AfterValidator, BeforeValidator

from ohmward.language.suggest import remedy_for
from ohmward.trade.quantity import UNITS, QuantityError, dimension_of, parse_quantity, unit_named

T = TypeVar("T")


_TIMES = "write a number with s, min or h, such as 10 min"


def _tuple(value: object) -> object:
    return tuple(value) if isinstance(value, list) else value


def _none_or_tuple(value: object) -> object:
    return () if value == "none" else _tuple(value)


def form(problem: str, remedy: str) -> ValueError:
    """A value that is not in its form, with how to write it: a fault's problem and remedy in one error."""
    return ValueError(f"{problem}\n{remedy}")


def _matching(pattern: str, what: str, remedy: str) -> Callable[[str], str]:
    compiled = re.compile(pattern)

    def check(value: str) -> str:
        if compiled.fullmatch(value) is None:
            raise form(f"'{value[:60]}' is not {what}", remedy)
        return value

    return check


def _count(low: int, high: int) -> Callable[[object], object]:
    def check(value: object) -> object:
        if (
            not isinstance(value, str)
            or re.fullmatch("[0-9]{1,6}", value) is None
            or not low <= int(value) <= high
        ):
            raise form(
                f"'{value}' is not a whole number from {low} to {high}",
                f"write a number such as {max(low, 1)}",
            )
        return int(value)

    return check


def _duration(value: object) -> object:
    """A length of time, or one of the two words. A list is neither: it is no error of ours but a fault of the file."""
    if not isinstance(value, str):
        raise form("a length of time is one text", _TIMES)
    if value in {"shift", "unlimited"}:
        return value
    try:
        quantity = parse_quantity(value)
    except QuantityError as error:
        raise form(str(error), _TIMES) from None
    if quantity.dimension != "time" or quantity.value <= 0:
        raise form(f"'{value}' is not a time such as 60 s, 10 min, 1 h", _TIMES)
    return value


def _time(value: object) -> object:
    if isinstance(value, str) and value in {"shift", "unlimited"}:
        raise form(f"'{value}' is not a time such as 60 s", _TIMES)
    return _duration(value)


def _quantity(value: object) -> object:
    if not isinstance(value, str):
        raise ValueError("a number with a unit is expected")  # noqa: TRY004  pydantic turns ValueError into a fault
    try:
        parse_quantity(value)
    except QuantityError as error:
        raise form(str(error), "write a number and its unit with a blank between, such as 3.2 A") from None
    return value


def _unit(value: str) -> str:
    try:
        return unit_named(value)
    except QuantityError as error:
        raise form(str(error), remedy_for(value, UNITS, what="units")) from None


def _printable(value: str) -> str:
    if not value.strip():
        raise form("the text is empty", "write at least a word")
    if len(value) > 2000:
        raise form(f"the text has {len(value)} characters; at most 2000", "say it in fewer words")
    return " ".join(value.split())


Many = Annotated[tuple[T, ...], BeforeValidator(_tuple)]
NoneOrMany = Annotated[tuple[T, ...], BeforeValidator(_none_or_tuple)]
Ident = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[a-z0-9-]{1,40}", "an id (a-z, 0-9, -; at most 40)", "use small letters, digits and - only"
        )
    ),
]
Prose = Annotated[str, AfterValidator(_printable)]
Label = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[a-z0-9][a-z0-9 ,:;'/-]{0,79}",
            "a name of lower-case words (a-z, 0-9, blank and , : ; ' / -; at most 80)",
            "write it small, without other signs",
        )
    ),
]
Point = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[A-Za-z0-9][A-Za-z0-9 ,:;'/-]{0,79}",
            "a point (letters, digits, blank and , : ; ' / -; at most 80)",
            "write it as it stands on the part, such as A1 to A2",
        )
    ),
]
Target = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[a-z0-9-]{1,40}(\.[a-z0-9-]{1,40})?",
            "the id of a step or end",
            "write a step's id, GROUP.step, or an end's id",
        )
    ),
]
Limit = Annotated[str, AfterValidator(_printable)]
GateCall = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[a-z0-9-]+(\([a-z0-9., -]*\))?",
            "a gate with its key",
            "write it like verified-dead(motor-circuit, board-box), on a line of its own",
        )
    ),
]
Change = Annotated[
    str,
    AfterValidator(
        _matching(
            r"[a-z0-9. -]{3,80}",
            "an effect or event such as `close disconnect`",
            "write a verb and the id of what it acts on",
        )
    ),
]
Duration = Annotated[str, BeforeValidator(_duration)]
PART = r"([0-9]+(?:\.[0-9]+)?) to ([0-9]+(?:\.[0-9]+)?) of ([a-z][a-z.-]*)"
Part = Annotated[
    str, AfterValidator(_matching(PART, "a part of something named", "write `0.9 to 1.1 of NAME`"))
]
Amount = Annotated[str, BeforeValidator(_quantity)]
Time = Annotated[str, BeforeValidator(_time)]
Unit = Annotated[str, AfterValidator(_unit)]
Small = Annotated[int, BeforeValidator(_count(0, 5))]
Revision = Annotated[int, BeforeValidator(_count(1, 999999))]
Status = Literal["published", "secondary", "common practice", "ours"]


def dimension(unit: str | None) -> str:
    """The dimension of an optional unit; a missing unit is a plain number."""
    return dimension_of(unit or "")


def seconds(text: str) -> int:
    """Whole seconds of a duration such as `10 min`, rounded down."""
    return int(parse_quantity(text).base.to_integral_value(rounding="ROUND_FLOOR"))
