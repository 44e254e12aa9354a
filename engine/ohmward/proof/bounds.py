"""Whether a condition or a limit was tightened or widened, read from its text. What cannot be told is no tightening."""

from dataclasses import replace
from decimal import Decimal
from enum import StrEnum
from typing import assert_never

from ohmward.language.expression import (
    Binary,
    Call,
    Expression,
    ExpressionError,
    Literal,
    Name,
    Unary,
    parse_expression,
)
from ohmward.trade.quantity import Quantity, QuantityError


class Weight(StrEnum):
    """What a change means for safety. Looser comes first: it is what whoever approves must see."""

    LOOSER = "looser"
    STRICTER = "stricter"
    OTHER = "other"


_TURNED = {"<": ">", "<=": ">=", ">": "<", ">=": "<=", "=": "="}
_AMOUNTS = frozenset({"to-ground", "phase-to-phase", "protection", "own-voltage"})
_LESS, _MORE = frozenset({"<", "<="}), frozenset({">", ">="})


def weigh_conditions(old: tuple[str, ...], new: tuple[str, ...]) -> Weight:
    """Both lists stand for all of their conditions at once. STRICTER only when every old one is still demanded.

    Demanded still: the same text, or the same left side against a constant at least as tight.
    """
    before, after = demands(old), demands(new)
    if not all_demanded(before, after):
        return Weight.LOOSER
    return Weight.OTHER if all_demanded(after, before) else Weight.STRICTER


def all_demanded(old: list[Expression | str], new: list[Expression | str]) -> bool:
    """Whether each of the old demands is made by a new one that permits nothing more."""
    return all(any(_at_least(n, o) for n in new) for o in old)


def told(old: tuple[str, ...], new: tuple[str, ...]) -> str:
    """What only one of the two demands, in words."""
    before, after = ([_plain(d) for d in demands(texts)] for texts in (old, new))
    gone = [d for d in before if d not in after]
    come = [d for d in after if d not in before]
    return f"{' and '.join(gone) or 'no demand'} -> {' and '.join(come) or 'no demand'}"


def _plain(demand: Expression | str) -> str:
    text = demand if isinstance(demand, str) else words(demand)
    return text[1:-1] if isinstance(demand, Binary) else text


def tree_of(text: str | None) -> Expression | None:
    """A limit as it is written; None for none, and for what cannot be read."""
    try:
        return parse_expression(text) if text else None
    except ExpressionError:
        return None


def demands(texts: tuple[str, ...]) -> list[Expression | str]:
    """The conditions that texts demand, one by one; a text that cannot be read stands for itself."""
    found: list[Expression | str] = []
    for text in texts:
        tree = tree_of(text)
        if tree is None:
            found.append(text)
        waiting: list[Expression] = [tree] if tree is not None else []
        while waiting:
            tree = waiting.pop(0)
            if isinstance(tree, Binary) and tree.op == "and":
                waiting = [tree.left, tree.right, *waiting]
            else:
                found.append(tree)
    return found


def _at_least(new: Expression | str, old: Expression | str) -> bool:
    """Whether `new` permits nothing that `old` forbids."""
    if isinstance(new, str) or isinstance(old, str):
        return new == old
    if words(new) == words(old):
        return True
    ways, more = _alternatives(new), _alternatives(old)
    if len(ways) > 1 or len(more) > 1:
        return all(any(_at_least(n, o) for o in more) for n in ways)
    return isinstance(new, Binary) and isinstance(old, Binary) and _no_wider(_facing(new), _facing(old))


def _no_wider(new: Binary, old: Binary) -> bool:
    """Whether one comparison of the same thing permits nothing that the other forbids."""
    way = _apart(new.right, old.right) if words(new.left) == words(old.left) else None
    if way is None:
        return False
    for side, sign in ((_LESS, 1), (_MORE, -1)):
        if new.op in {*side, "="} and old.op in side:
            loosens = "=" in new.op and "=" not in old.op  # `<=` permits what `<` does not
            surely = constant(new.right) is not None or not loosens  # twice nothing is nothing
            return (way * sign < 0 and surely) or (way == 0 and not loosens)
    return False


def _alternatives(tree: Expression) -> list[Expression]:
    """The conditions of which one is enough."""
    if isinstance(tree, Binary) and tree.op == "or":
        return [*_alternatives(tree.left), *_alternatives(tree.right)]
    return [tree]


def _apart(new: Expression, old: Expression) -> int | None:
    """How one constant lies to another, or a multiple to what it is a multiple of: below 0, 0, above; None where it cannot be told.

    A multiple lies higher only of what is above nothing: of a circuit's or a source's own voltage and current, of nothing else.
    """
    low, high = constant(new), constant(old)
    if low is not None and high is not None:
        return low.compare(high) if low.dimension == high.dimension else None
    amount = isinstance(old, Name) and old.name.rpartition(".")[2] in _AMOUNTS
    times = part_of(words(new), words(old)) if amount else None
    return None if times is None else (times > 1) - (times < 1)


def _facing(tree: Binary) -> Binary:
    """A comparison with its constant on the right: `3 V >= it` is `it <= 3 V`."""
    if isinstance(tree.left, Literal) and tree.op in _TURNED:
        return replace(tree, op=_TURNED[tree.op], left=tree.right, right=tree.left)
    return tree


def constant(tree: Expression) -> Quantity | None:
    """The quantity that a literal is; None for anything that the job decides."""
    return tree.value if isinstance(tree, Literal) else None


def words(tree: Expression) -> str:
    """An expression without its columns: the same words for the same meaning, however it was spaced."""
    match tree:
        case Literal(value=value):
            return str(value)
        case Binary(op=op, left=left, right=right):
            return f"({words(left)} {op} {words(right)})"
        case Unary(op=op, operand=operand):
            return f"{op} {words(operand)}"
        case Call(name=name, arguments=arguments):
            return f"{name}({', '.join(words(a) for a in arguments)})"
        case Name(name=name):
            return name
        case _:
            assert_never(tree)


def weigh_limits(old: str | None, new: str | None) -> Weight:
    """An upper limit, None for none: higher is looser, and so is one that cannot be compared."""
    if old == new:
        return Weight.OTHER
    if new is None:
        return Weight.LOOSER
    if old is None:
        return Weight.STRICTER
    try:
        before, after = constant(parse_expression(old)), constant(parse_expression(new))
        if before is None or after is None:
            return Weight.LOOSER
        way = after.compare(before)
    except (ExpressionError, QuantityError):
        return Weight.LOOSER
    return Weight.OTHER if way == 0 else Weight.STRICTER if way < 0 else Weight.LOOSER


def part_of(text: str | None, name: str) -> Decimal | None:
    """How many times `name` a limit is: `0.9 * NAME` or `90 % * NAME`, either way round, or NAME itself; else None."""
    tree = tree_of(text)
    if tree is not None and words(tree) == name:
        return Decimal(1)
    match tree:
        case Binary(op="*", left=Literal(value=Quantity(unit="" | "%") as factor), right=right) if words(right) == name:
            return factor.base
        case Binary(op="*", left=left, right=Literal(value=Quantity(unit="" | "%") as factor)) if words(left) == name:
            return factor.base
        case _:
            return None
