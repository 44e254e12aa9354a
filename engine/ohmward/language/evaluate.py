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
from ohmward.trade.catalogue import FORMULAS
from ohmward.trade.formula import TEXT, TRUTH, Formula, Given, Input, Refused
from ohmward.trade.quantity import SUMS, TEMPERATURE, Quantity, QuantityError
from ohmward.trade.span import Interval, Span, added, holds, magnitude, outermost, ratio, scaled

_COMPARE = frozenset({"<", "<=", ">", ">=", "=", "!="})


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
    formula = FORMULAS.get(tree.name)
    if formula is not None:
        return _kind_of_formula(tree, formula, kinds)
    found = [kind_of(argument, kinds) for argument in tree.arguments]
    if len(set(found)) != 1 or found[0] in {TRUTH, TEXT} or (tree.name == "abs" and len(found) != 1):
        raise ExpressionError(
            f"{tree.name} cannot take {', '.join(found)}",
            tree.column,
            len(tree.name),
            "arguments of one unit",
        )
    return found[0]


def _kind_of_formula(tree: Call, formula: Formula, kinds: Mapping[str, str]) -> str:
    """What a calculation of the trade gives, with each of its inputs of the kind that it takes."""
    where = (tree.column, len(tree.name))
    wanted = ", ".join(f"{i.name} ({i.kind})" for i in formula.inputs)
    if len(tree.arguments) != len(formula.inputs):
        raise ExpressionError(
            f"{tree.name} takes {len(formula.inputs)} values, not {len(tree.arguments)}",
            *where,
            f"give {wanted}",
        )
    for asked, argument in zip(formula.inputs, tree.arguments, strict=True):
        _fits(tree, asked, argument, kinds)
    return formula.gives


def _fits(tree: Call, asked: Input, argument: Expression, kinds: Mapping[str, str]) -> None:
    if asked.words and isinstance(argument, Name) and argument.name not in kinds:
        if argument.name not in asked.words:
            raise ExpressionError(
                f"'{argument.name}' is not a word for {asked.name}",
                argument.column,
                len(argument.name),
                remedy_for(argument.name, asked.words, what="words"),
            )
        return
    kind = kind_of(argument, kinds)
    if kind not in asked.kind.split(" or "):
        raise ExpressionError(
            f"{asked.name} of {tree.name} is a {asked.kind}, not a {kind}",
            tree.column,
            len(tree.name),
            f"give a {asked.kind}",
        )


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
        return _kind_of_quotient(left, right, where)
    shifted = SUMS.get((left, right, 1 if tree.op == "+" else -1))
    if tree.op in {"+", "-"} and shifted is not None:
        return shifted
    if left != right or (left == TEMPERATURE and tree.op in {"+", "-"}):
        raise ExpressionError(
            f"{left} and {right} do not go together", *where, "give both sides the same kind of unit"
        )
    return left if tree.op in {"+", "-"} else TRUTH


def _kind_of_quotient(left: str, right: str, where: tuple[int, int]) -> str:
    if right not in {"number", left} or left == TEMPERATURE:
        raise ExpressionError(
            f"{left} cannot be divided by {right}", *where, "divide by a number or the same unit"
        )
    return left if right == "number" else "number"


def _kind_of_product(left: str, right: str, where: tuple[int, int]) -> str:
    if "number" not in {left, right} or TEMPERATURE in {left, right}:
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
        case Call(name=name, arguments=arguments) if name in FORMULAS:
            return worked(FORMULAS[name], arguments, values)
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


def given_to(
    formula: Formula, arguments: tuple[Expression, ...], values: Mapping[str, Value]
) -> tuple[Value, ...]:
    """The values of a calculation's inputs; a word that only the calculation knows stands for itself."""
    return tuple(
        argument.name
        if isinstance(argument, Name) and argument.name in asked.words and argument.name not in values
        else evaluate(argument, values)
        for asked, argument in zip(formula.inputs, arguments, strict=True)
    )


def worked(formula: Formula, arguments: tuple[Expression, ...], values: Mapping[str, Value]) -> Value:
    """The result of a calculation of the trade; what it refuses is undecided, with its reason."""
    given: list[Given] = []
    for value in given_to(formula, arguments, values):
        if isinstance(value, Undecided):
            return value
        if isinstance(value, bool):
            return Undecided(f"{formula.name} takes no condition")
        given.append(value)
    try:
        return formula(*given)
    except Refused as refused:
        return Undecided(str(refused))


def _unary(op: str, operand: Value) -> Value:
    match operand:
        case bool() if op == "not":
            return not operand
        case Quantity() | Interval() if op == "-":
            return scaled(operand, Quantity(Decimal(-1)))
        case Undecided():
            return operand
        case _:
            return Undecided(f"{op} {operand} has no meaning")


def _call(name: str, arguments: list[Value]) -> Value:
    numbers = [a for a in arguments if isinstance(a, Quantity | Interval)]
    if len(numbers) != len(arguments) or not numbers:
        return next((a for a in arguments if isinstance(a, Undecided)), Undecided(f"{name} needs numbers"))
    try:
        return magnitude(numbers[0]) if name == "abs" else outermost(numbers, most=name == "max")
    except QuantityError as error:
        return Undecided(str(error))


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
    if isinstance(left, Quantity | Interval) and isinstance(right, Quantity | Interval):
        try:
            return _arithmetic(op, left, right)
        except QuantityError as error:
            return Undecided(str(error))
    if isinstance(left, str) and isinstance(right, str) and op in {"=", "!="}:
        return (left == right) == (op == "=")
    return Undecided(f"{left} {op} {right} has no meaning")


def _arithmetic(op: str, left: Span, right: Span) -> Value:
    if op in _COMPARE:
        said = holds(op, left, right)
        return Undecided(f"the instrument cannot tell whether {left} {op} {right}") if said is None else said
    if op in {"+", "-"}:
        return added(left, right, 1 if op == "+" else -1)
    if op == "*":
        plain, other = (left, right) if left.dimension == "number" else (right, left)
        return scaled(other, plain)
    return scaled(left, right, over=True) if right.dimension == "number" else ratio(left, right)
