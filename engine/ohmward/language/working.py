"""The working behind a number: which calculation, from which values, in words, with its source. Pure."""

import re
from collections.abc import Mapping
from dataclasses import dataclass
from typing import assert_never

from ohmward.language.evaluate import evaluate, given_to
from ohmward.language.expression import (
    POWER,
    Binary,
    Call,
    Expression,
    Literal,
    Name,
    Unary,
    Undecided,
    Value,
    parse_expression,
)
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.formula import Given, Input
from ohmward.trade.quantity import Quantity, brief
from ohmward.trade.span import Interval

_HOLE = re.compile(r"\{([^{}]*)\}")
_ROMAN = {"2": "CAT II", "3": "CAT III", "4": "CAT IV"}


@dataclass(frozen=True, slots=True, kw_only=True)
class Working:
    """One calculation as it was made."""

    name: str
    given: tuple[tuple[str, str], ...]
    via: tuple[tuple[str, str], ...] = ()  # what stands between inputs and result
    words: str
    result: str
    source: str
    domain: str

    @property
    def inputs(self) -> str:
        return ", ".join(f"{name} {value}" for name, value in self.given)

    @property
    def line(self) -> str:
        """All of it in one line, so that somebody can do it again."""
        return f"{self.name} = {self.words}; {self.inputs}; = {self.ending} [{self.source}]"

    @property
    def ending(self) -> str:
        """The result, after the steps that lead to it."""
        return "; ".join([*(f"{name} {value}" for name, value in self.via), self.result])


def shown(value: Value, name: str = "") -> str:
    """A value for people: at most six digits, `about` where there are more; a category as the trade writes it."""
    match value:
        case Undecided(why=why):
            return f"not known ({why})"
        case bool():
            return "yes" if value else "no"
        case Quantity() if name.rpartition(".")[2] == "category":
            return _ROMAN.get(str(value), str(value))
        case Quantity():
            return brief(value)
        case Interval(low=low, high=high):
            return f"{brief(low)} to {brief(high).removeprefix('about ')}"
        case str():
            return value
        case _:
            assert_never(value)


def workings(tree: Expression, values: Mapping[str, Value]) -> tuple[Working, ...]:
    """Every calculation of the trade in an expression, the inner ones first, each once."""
    found: dict[Working, None] = {}
    for part in _parts(tree):
        if isinstance(part, Call) and part.name in FORMULAS:
            found[_worked(part, values)] = None
    return tuple(found)


def _parts(tree: Expression) -> tuple[Expression, ...]:
    match tree:
        case Call(arguments=arguments):
            return (*(p for a in arguments for p in _parts(a)), tree)
        case Binary(left=left, right=right):
            return (*_parts(left), *_parts(right), tree)
        case Unary(operand=operand):
            return (*_parts(operand), tree)
        case Literal() | Name():
            return (tree,)
        case _:
            assert_never(tree)


def _worked(call: Call, values: Mapping[str, Value]) -> Working:
    formula = FORMULAS[call.name]
    given = given_to(formula, call.arguments, values)
    result = evaluate(call, values)
    steps = () if isinstance(result, Undecided) else formula.steps_between(*_usable(given))
    return Working(
        name=formula.name,
        given=tuple((i.name, shown(_named(i, v))) for i, v in zip(formula.inputs, given, strict=True)),
        via=tuple((name, shown(value)) for name, value in steps),
        words=formula.words,
        result=shown(result),
        source=f"{formula.source}; {formula.status}",
        domain=formula.domain,
    )


def _named(wanted: Input, value: Value) -> Value:
    """A word as its calculation writes it; anything else as it is."""
    return wanted.as_named(value) if isinstance(value, str) else value


def _usable(given: tuple[Value, ...]) -> tuple[Given, ...]:
    return tuple(v for v in given if not isinstance(v, Undecided | bool))


def with_values(tree: Expression, values: Mapping[str, Value]) -> str:
    """An expression with the value of each name behind it: `gear.voltage (600 V) >= it.to-ground (120 V)`."""
    match tree:
        case Literal(value=value):
            return str(value)
        case Name(name=name):
            known = values.get(name, Undecided("missing"))
            return name if known == name else f"{name} ({shown(known, name)})"
        case Unary(op=op, operand=operand):
            inner = with_values(operand, values)
            return f"{op} ({inner})" if isinstance(operand, Binary) else f"{op} {inner}"
        case Call(name=name, arguments=arguments):
            inputs = FORMULAS[name].inputs if name in FORMULAS else ()
            own = {w: w for i in inputs for w in i.words}  # its own words stand for themselves
            return f"{name}({', '.join(with_values(a, {**own, **values}) for a in arguments)})"
        case Binary(op=op, left=left, right=right):
            first, last = with_values(left, values), with_values(right, values)
            first = f"({first})" if _weaker(left, op, equal=False) else first
            last = f"({last})" if _weaker(right, op, equal=True) else last
            return f"{first} {op} {last}"
        case _:
            assert_never(tree)


def _weaker(side: Expression, op: str, *, equal: bool) -> bool:
    """Whether a side of an operator needs its brackets to mean what it means."""
    power = POWER[side.op] if isinstance(side, Binary) else max(POWER.values()) + 1
    return power < POWER[op] or (equal and power == POWER[op])


def holes_in(text: str) -> tuple[tuple[str, int], ...]:
    """(what stands between the braces, its column) of each place in a text that takes a value."""
    return tuple((m.group(1), m.start(1)) for m in _HOLE.finditer(text))


def filled(text: str, values: Mapping[str, Value]) -> str:
    """A text with each `{name}` replaced by its value in words."""
    return _HOLE.sub(lambda m: shown(values.get(m.group(1), Undecided("missing")), m.group(1)), text)


def told(text: str, values: Mapping[str, Value]) -> str:
    """A condition or limit as written, with its values."""
    return with_values(parse_expression(text), values)
