"""Limits and conditions: a small total grammar, read by precedence, evaluated exactly and in three values.

    expression = or ;            or  = and {"or" and} ;      and = not {"and" not} ;
    not        = ["not"] comparison ;
    comparison = sum [("<" | "<=" | ">" | ">=" | "=" | "!=") sum] ;
    sum        = product {(" + " | " - ") product} ;         product = atom {("*" | "/") atom} ;
    atom       = number [unit] | name ["(" expression {"," expression} ")"] | "(" expression ")" | "-" atom ;
    name       = word {"." word} ;                           word = letter {letter | digit | "-"} ;

Depth at most 32, length at most 300 characters. A missing value makes the answer *undecided* with its
reason; `and`/`or` follow Kleene's tables; only true permits.
"""

import re
from dataclasses import dataclass
from decimal import Decimal
from enum import StrEnum
from typing import assert_never

from ohmward.language.suggest import remedy_for
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.quantity import Quantity, QuantityError, parse_number, unit_named
from ohmward.trade.span import Interval

MOST_DEPTH = 32
MOST_LENGTH = 300
_TOKEN = re.compile(
    r"\s*(?:(?P<number>[0-9]+(?:\.[0-9]+)?)|(?P<name>[A-Za-z][A-Za-z0-9]*(?:[-.][A-Za-z0-9]+)*)"
    r"|(?P<unit>%|Ω|kΩ|MΩ|GΩ|µF|μF)|(?P<op><=|>=|!=|[-+*/()<>=,]))"
)
POWER = {
    "or": 1,
    "and": 2,
    "<": 4,
    "<=": 4,
    ">": 4,
    ">=": 4,
    "=": 4,
    "!=": 4,
    "+": 5,
    "-": 5,
    "*": 6,
    "/": 6,
}
PLAIN_FUNCTIONS = ("min", "max", "abs")
FUNCTIONS = (*PLAIN_FUNCTIONS, *FORMULAS)  # and every calculation of the trade by its name


class Truth(StrEnum):
    """Kleene's three values."""

    YES = "true"
    NO = "false"
    UNDECIDED = "undecided"


@dataclass(frozen=True, slots=True)
class Undecided:
    """No answer, and why: it never permits."""

    why: str


Value = Quantity | Interval | str | bool | Undecided


class ExpressionError(ValueError):
    """The text is no expression; `column` counts from 0 in the text, `width` is the caret's."""

    def __init__(self, problem: str, column: int, width: int = 1, remedy: str = "") -> None:
        super().__init__(problem)
        self.problem, self.column, self.width, self.remedy = problem, column, width, remedy


@dataclass(frozen=True, slots=True)
class Literal:
    value: Quantity
    column: int


@dataclass(frozen=True, slots=True)
class Name:
    name: str
    column: int


@dataclass(frozen=True, slots=True)
class Call:
    name: str
    arguments: tuple["Expression", ...]
    column: int


@dataclass(frozen=True, slots=True)
class Binary:
    op: str
    left: "Expression"
    right: "Expression"
    column: int


@dataclass(frozen=True, slots=True)
class Unary:
    op: str
    operand: "Expression"
    column: int


Expression = Literal | Name | Call | Binary | Unary


@dataclass(frozen=True, slots=True)
class _Token:
    kind: str
    text: str
    column: int


def _tokens(text: str) -> list[_Token]:
    found: list[_Token] = []
    position = 0
    while position < len(text.rstrip()):
        match = _TOKEN.match(text, position)
        if match is None:
            start = position + len(text[position:]) - len(text[position:].lstrip())
            raise ExpressionError(
                f"'{text[start]}' is not part of a limit",
                start,
                remedy="numbers, units, names and + - * / < <= > >= = only",
            )
        kind = str(match.lastgroup)
        found.append(_Token(kind, match.group(kind), match.start(kind)))
        position = match.end()
    found.append(_Token("end", "", len(text)))
    return found


class _Parser:
    """A Pratt parser over the tokens."""

    def __init__(self, text: str) -> None:
        if len(text) > MOST_LENGTH:
            raise ExpressionError(f"a limit has at most {MOST_LENGTH} characters", 0, remedy="split it")
        self.text = text
        self.tokens = _tokens(text)
        self.index = 0
        self.depth = 0

    @property
    def here(self) -> _Token:
        return self.tokens[self.index]

    def take(self) -> _Token:
        token = self.here
        self.index += 1
        return token

    def whole(self) -> Expression:
        tree = self.climb(0)
        if self.here.kind != "end":
            raise ExpressionError(
                f"'{self.here.text}' is not expected here",
                self.here.column,
                len(self.here.text),
                "one condition; join two with and / or",
            )
        return tree

    def climb(self, floor: int) -> Expression:
        self.depth += 1
        if self.depth > MOST_DEPTH:
            raise ExpressionError(
                f"more than {MOST_DEPTH} levels of nesting", self.here.column, remedy="make it simpler"
            )
        left = self.prefix()
        while (power := POWER.get(self.here.text, 0)) > floor and self.here.kind in {"op", "name"}:
            token = self.take()
            if power == 4 and POWER.get(self._comparison(left), 0) == 4:
                raise ExpressionError(
                    "comparisons do not chain", token.column, len(token.text), "write a < b and b < c"
                )
            left = Binary(token.text, left, self.climb(power), token.column)
        self.depth -= 1
        return left

    @staticmethod
    def _comparison(tree: Expression) -> str:
        return tree.op if isinstance(tree, Binary) else ""

    def prefix(self) -> Expression:
        token = self.take()
        match token.kind, token.text:
            case "number", _:
                return Literal(Quantity(self.number(token), self.unit()), token.column)
            case "name", "not":
                return Unary("not", self.climb(3), token.column)
            case "name", name if name not in POWER:
                return self.call(token) if self.here.text == "(" else Name(name, token.column)
            case "op", "-":
                return Unary("-", self.climb(6), token.column)
            case "op", "(":
                inner = self.climb(0)
                self.expect(")")
                return inner
            case _:
                what = f"'{token.text}'" if token.text else "the end"
                raise ExpressionError(
                    f"a value is expected before {what}",
                    token.column,
                    max(1, len(token.text)),
                    "give a number, a name or a bracket",
                )

    @staticmethod
    def number(token: _Token) -> Decimal:
        try:
            return parse_number(token.text)
        except QuantityError as error:
            raise ExpressionError(
                str(error), token.column, len(token.text), "at most 12 digits on each side of the point"
            ) from None

    def unit(self) -> str:
        token = self.here
        if (
            token.kind not in {"unit", "name"}
            or token.text in POWER
            or token.text == "not"
            or "." in token.text
        ):
            return ""
        try:
            unit = unit_named(token.text)
        except QuantityError as error:
            raise ExpressionError(
                str(error), token.column, len(token.text), "use a unit such as V, A, ohm, uF, s, min"
            ) from None
        self.take()
        return unit

    def call(self, name: _Token) -> Expression:
        if name.text not in FUNCTIONS:
            raise ExpressionError(
                f"'{name.text}' is not a function",
                name.column,
                len(name.text),
                remedy_for(name.text, FUNCTIONS, what="functions"),
            )
        self.take()
        arguments = [self.climb(0)]
        while self.here.text == ",":
            self.take()
            arguments.append(self.climb(0))
        self.expect(")")
        return Call(name.text, tuple(arguments), name.column)

    def expect(self, text: str) -> None:
        token = self.take()
        if token.text != text:
            raise ExpressionError(
                f"'{text}' is expected here", token.column, max(1, len(token.text)), "close the bracket"
            )


def parse_expression(text: str) -> Expression:
    """The tree of a limit or condition. Raises ExpressionError, and nothing else."""
    return _Parser(text).whole()


def names_in(tree: Expression) -> tuple[Name, ...]:
    """Every name that the expression reads, in order."""
    match tree:
        case Name():
            return (tree,)
        case Binary(left=left, right=right):
            return names_in(left) + names_in(right)
        case Unary(operand=operand):
            return names_in(operand)
        case Call(name=called, arguments=arguments):
            own = {w for i in FORMULAS[called].inputs for w in i.words} if called in FORMULAS else set()
            read = (name for argument in arguments for name in names_in(argument))
            return tuple(name for name in read if name.name not in own)
        case Literal():
            return ()
        case _:
            assert_never(tree)
