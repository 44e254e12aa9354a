"""The kind of an expression at load, and its value at work. Undecided is carried, never guessed away."""

from collections.abc import Mapping
from decimal import Decimal
from typing import assert_never

from ohmward.language.expression import (
    Binary,
    Call,
    Expression,
    ExpressionError,
    Literal,
    Name,
    Truth,
    Unary,
    Undecided,
    Value,
)
from ohmward.language.suggest import remedy_for
from ohmward.trade.quantity import Quantity, QuantityError

TRUTH, TEXT = "truth", "text"
_COMPARE = {
    "<": lambda order: order < 0,
    "<=": lambda order: order <= 0,
    ">": lambda order: order > 0,
    ">=": lambda order: order >= 0,
    "=": lambda order: order == 0,
    "!=": lambda order: order != 0,
}


def kind_of(tree: Expression, kinds: Mapping[str, str]) -> str:
    """`truth`, `text` or a dimension. Raises ExpressionError with the place for anything that cannot work.

    `kinds` maps each known name to its kind; text constants are names that stand for themselves
    (`words` in the vocabulary have the kind `text`).
    """
    match tree:
        case Literal(value=value):
            return value.dimension
        case Name(name=name, column=column):
            if name not in kinds:
                raise ExpressionError(
                    f"'{name}' is not a name known here",
                    column,
                    len(name),
                    remedy_for(name, kinds, what="names"),
                )
            return kinds[name]
        case Unary(op=op, operand=operand, column=column):
            kind = kind_of(operand, kinds)
            if (op == "not") != (kind == TRUTH) or kind == TEXT:
                raise ExpressionError(
                    f"'{op}' does not go with a {kind}",
                    column,
                    len(op),
                    "`not` takes a condition, `-` a number",
                )
            return kind
        case Call():
            return _kind_of_call(tree, kinds)
        case Binary():
            return _kind_of_binary(tree, kinds)
        case _:
            assert_never(tree)


def _kind_of_call(tree: Call, kinds: Mapping[str, str]) -> str:
    found = [kind_of(argument, kinds) for argument in tree.arguments]
    if len(set(found)) != 1 or found[0] in {TRUTH, TEXT} or (tree.name == "abs" and len(found) != 1):
        raise ExpressionError(
            f"{tree.name} cannot take {', '.join(found)}",
            tree.column,
            len(tree.name),
            "arguments of one unit",
        )
    return found[0]


def _kind_of_binary(tree: Binary, kinds: Mapping[str, str]) -> str:
    left, right = kind_of(tree.left, kinds), kind_of(tree.right, kinds)
    where = (tree.column, len(tree.op))
    if tree.op in {"and", "or"}:
        if (left, right) != (TRUTH, TRUTH):
            raise ExpressionError(
                f"'{tree.op}' joins conditions, not {left} and {right}", *where, "compare first"
            )
        return TRUTH
    if TRUTH in {left, right} or (TEXT in {left, right} and tree.op not in {"=", "!="}):
        raise ExpressionError(
            f"'{tree.op}' does not go with {left} and {right}", *where, "compare numbers with numbers"
        )
    if tree.op == "*":
        return _kind_of_product(left, right, where)
    if tree.op == "/":
        if right not in {"number", left}:
            raise ExpressionError(
                f"{left} cannot be divided by {right}", *where, "divide by a number or the same unit"
            )
        return left if right == "number" else "number"
    if left != right:
        raise ExpressionError(
            f"{left} and {right} do not go together", *where, "give both sides the same kind of unit"
        )
    return left if tree.op in {"+", "-"} else TRUTH


def _kind_of_product(left: str, right: str, where: tuple[int, int]) -> str:
    if "number" not in {left, right}:
        raise ExpressionError(
            f"{left} times {right} is not part of the language", *where, "multiply by a plain number"
        )
    return left if right == "number" else right


def evaluate(tree: Expression, values: Mapping[str, Value]) -> Value:
    """The value with the names filled in. Never raises for a tree that `kind_of` accepted."""
    match tree:
        case Literal(value=value):
            return value
        case Name(name=name):
            return values.get(name, Undecided(f"{name} is not known"))
        case Unary(op=op, operand=operand):
            return _unary(op, evaluate(operand, values))
        case Call(name=name, arguments=arguments):
            return _call(name, [evaluate(argument, values) for argument in arguments])
        case Binary(op="and" | "or" as op):
            return _kleene(op, evaluate(tree.left, values), evaluate(tree.right, values))
        case Binary(op=op):
            return _binary(op, evaluate(tree.left, values), evaluate(tree.right, values))
        case _:
            assert_never(tree)


def decide(tree: Expression, values: Mapping[str, Value]) -> tuple[Truth, str]:
    """True, false or undecided, with the reason when undecided. Only `Truth.YES` permits."""
    result = evaluate(tree, values)
    match result:
        case bool():
            return (Truth.YES if result else Truth.NO), ""
        case Undecided(why=why):
            return Truth.UNDECIDED, why
        case _:
            return Truth.UNDECIDED, f"{result} is not a condition"


def _unary(op: str, operand: Value) -> Value:
    match operand:
        case bool() if op == "not":
            return not operand
        case Quantity() if op == "-":
            return operand.times(Decimal(-1))
        case Undecided():
            return operand
        case _:
            return Undecided(f"{op} {operand} has no meaning")


def _call(name: str, arguments: list[Value]) -> Value:
    quantities = [a for a in arguments if isinstance(a, Quantity)]
    if len(quantities) != len(arguments) or not quantities:
        return next((a for a in arguments if isinstance(a, Undecided)), Undecided(f"{name} needs numbers"))
    if name == "abs":
        return Quantity(abs(quantities[0].value), quantities[0].unit)
    best = quantities[0]
    for other in quantities[1:]:
        order = other.compare(best)
        best = other if (order < 0 if name == "min" else order > 0) else best
    return best


def _kleene(op: str, left: Value, right: Value) -> Value:
    deciding = op == "or"
    for side in (left, right):
        if isinstance(side, bool) and side == deciding:
            return deciding
    for side in (left, right):
        if not isinstance(side, bool):
            return side if isinstance(side, Undecided) else Undecided(f"{side} is not a condition")
    return not deciding


def _binary(op: str, left: Value, right: Value) -> Value:
    for side in (left, right):
        if isinstance(side, Undecided):
            return side
    if isinstance(left, Quantity) and isinstance(right, Quantity):
        try:
            return _arithmetic(op, left, right)
        except QuantityError as error:
            return Undecided(str(error))
    if isinstance(left, str) and isinstance(right, str) and op in {"=", "!="}:
        return (left == right) == (op == "=")
    return Undecided(f"{left} {op} {right} has no meaning")


def _arithmetic(op: str, left: Quantity, right: Quantity) -> Value:
    if op in _COMPARE:
        return bool(_COMPARE[op](left.compare(right)))
    if op in {"+", "-"}:
        return left.plus(right, 1 if op == "+" else -1)
    if op == "*":
        plain, other = (left, right) if left.dimension == "number" else (right, left)
        return other.times(plain.base)
    if right.base == 0:
        return Undecided("division by zero")
    return left.times(1 / right.base) if right.dimension == "number" else Quantity(left.base / right.base)
