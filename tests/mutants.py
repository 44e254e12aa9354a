"""`python -m tests.mutants [MODULE …]`: changes one sign, bound or number at a time and asks whether a fact notices.

Kinds of change: a comparison to its neighbour and to its opposite, `and`/`or`, `+ - * /`, a number by one step, a
text of digits (a table's cell) by its last digit, `min`/`max`, a returned truth. The changed module runs in a process
of its own, against the facts about it. Survivors are listed with their line; those that change nothing are named in
`EQUAL` with their reason.
"""

import ast
import copy
import importlib.abc
import importlib.util
import os
import signal
import sys
import traceback
from collections.abc import Iterator
from pathlib import Path

import CoolProp.CoolProp  # noqa: F401  what every process needs is read once, before it is split off
import pint  # noqa: F401
import pydantic  # noqa: F401
import pytest
import rich.console  # noqa: F401
import yaml  # noqa: F401

ROOT = Path(__file__).parent.parent
FACTS = {
    "trade": ("test_vectors.py", "test_trade_lists.py", "test_working.py", "test_trade.py", "test_trade_tables.py", "test_judge.py", "test_motor_bounds.py", "test_refrigerant_bounds.py"),
    "language": ("test_expression.py", "test_vectors.py", "test_working.py"),
    "account": ("test_judge.py", "test_working.py", "test_edges.py"),
    "trade/span": ("test_trade_laws.py", "test_working.py", "test_trade.py"),
    "trade/formula": ("test_vectors.py", "test_trade_lists.py", "test_trade.py", "test_working.py", "test_trade_tables.py", "test_trade_laws.py"),
}
MODULES = (
    *(f"trade/{m}" for m in ("span", "quantity", "units", "formula", "shock", "instruments", "shock_formulas", "arc_flash", "fault_current", "supply", "conductors", "motor", "motor_tables", "insulation", "capacitor", "protection", "refrigerant", "replacement", "return_to_service")),
    "language/evaluate",
    "account/judge",
)
NEIGHBOUR = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
OPPOSITE = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt}
ARITHMETIC = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
# (module, change, line) -> why the change makes no difference
EQUAL = {
    ("trade/quantity", "60 -> 61", "WORKING_DIGITS = 60  # inside a calculation"): "one digit more than is kept by 32 or by 33",
    ("trade/quantity", "0 -> 1", "self.must_match(Quantity(Decimal(0), name))"): "only its unit is looked at",
    ("trade/span", "Gt -> GtE", "first, last = (low, high) if sign > 0 else (high, low)"): "the sign is 1 or -1",
    ("trade/span", "Lt -> LtE", "least = Quantity(Decimal(0), low.unit) if low.value < 0 < high.value else min(ends, key=lambda q: q.base)"): "a span from 0, or to 0, has 0 as its nearest end either way",
    ("trade/supply", "'0.01' -> '0.02'", 'return quantity(up_through(_DERATING, percent).quantize(Decimal("0.01"), ROUND_FLOOR), "")'): "only its exponent is looked at",
    ("trade/insulation", "0 -> 1", "return owner if owner.compare(minimum) >= 0 else minimum"): "of two equal resistances either is the larger",
    ("trade/insulation", "GtE -> Gt", "return owner if owner.compare(minimum) >= 0 else minimum"): "of two equal resistances either is the larger",
    ("trade/capacitor", "'3.14159265358979323846264338327950288419716939937510582097494' -> '3.14159265358979323846264338327950288419716939937510582097495'", 'PI = Decimal("3.14159265358979323846264338327950288419716939937510582097494")'): "a digit beyond those that are kept",
    ("trade/capacitor", "GtE -> Gt", "if end >= start:"): "from a voltage down to the same it takes no time either way",
    ("trade/instruments", "0 -> 1", "lowest = volts if volts.compare(lowest) < 0 else lowest"): "of two equal voltages either is the lowest",
    ("trade/instruments", "Lt -> LtE", "lowest = volts if volts.compare(lowest) < 0 else lowest"): "of two equal voltages either is the lowest",
    ("trade/formula", "And -> Or", "if isinstance(low, Quantity) and isinstance(high, Quantity):"): "one calculation gives one kind of result",
    ("trade/motor", "Gt -> GtE", "if apart.base > 0:"): "no difference is within any part of the sum",
    ("trade/refrigerant", "Gt -> GtE", 'return "above target" if apart.base > 0 else "below target"'): "no difference is in order before",
    ("trade/return_to_service", "Gt -> GtE", 'if len(left.supply) > 1 and holds("<=", unbalance(*left.supply), _MOST_VOLTAGE_UNBALANCE) is not True:'): "one voltage has no unbalance",
    ("trade/return_to_service", "Gt -> GtE", 'three = left.phases == "three-phase" and len(left.currents) > 1'): "one current has no unbalance",
    ("trade/replacement", "And -> Or", "if isinstance(before, Quantity) and isinstance(after, Quantity):"): "both nameplates give one field as the same kind",
    ("account/judge", "0 -> 1", "value.must_match(Quantity(Decimal(0), unit))"): "only its unit is looked at",
    ("account/judge", "GtE -> Gt", "if span.low.value >= 0 or value.dimension in _SIGNED:"): "a span from 0 begins at 0 either way",
    ("account/judge", "LtE -> Lt", 'if how == "each" or len(spans) <= 1:'): "the largest of one span is that span",
}


def mutants(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """(line, what was changed, changed tree)."""
    for decorated in ast.walk(tree):  # `frozen=True` is held by the type checker; `strict=True` of zip stands where lengths are the same by construction
        held = [*getattr(decorated, "decorator_list", ()), *(k for k in getattr(decorated, "keywords", ()) if k.arg == "strict")]
        for part in (p for h in held for p in ast.walk(h)):
            part.held = True  # type: ignore[attr-defined]
    sites = list(ast.walk(tree))
    for index, node in enumerate(sites):
        for words, change in changes(node):
            other = copy.deepcopy(tree)
            target = list(ast.walk(other))[index]
            change(target)
            yield getattr(node, "lineno", 0), words, ast.fix_missing_locations(other)


def changes(node: ast.AST):
    match node:
        case ast.Compare(ops=ops):
            for i, op in enumerate(ops):
                for table in (NEIGHBOUR, OPPOSITE):
                    new = table.get(type(op))
                    if new is not None:
                        yield f"{type(op).__name__} -> {new.__name__}", lambda n, i=i, new=new: n.ops.__setitem__(i, new())
        case ast.BoolOp(op=op):
            new = ast.Or if isinstance(op, ast.And) else ast.And
            yield f"{type(op).__name__} -> {new.__name__}", lambda n, new=new: setattr(n, "op", new())
        case ast.BinOp(op=op) if type(op) in ARITHMETIC:
            new = ARITHMETIC[type(op)]
            yield f"{type(op).__name__} -> {new.__name__}", lambda n, new=new: setattr(n, "op", new())
        case ast.Constant() if getattr(node, "held", False):
            return
        case ast.Constant(value=bool(value)):
            yield f"{value} -> {not value}", lambda n: setattr(n, "value", not n.value)
        case ast.Constant(value=int(value)):
            yield f"{value} -> {value + 1}", lambda n: setattr(n, "value", n.value + 1)
        case ast.Constant(value=str(value)) if value and value.replace(".", "", 1).isdigit():
            last = str((int(value[-1]) + 1) % 10)
            yield f"'{value}' -> '{value[:-1]}{last}'", lambda n, last=last: setattr(n, "value", n.value[:-1] + last)
        case ast.Name(id="min" | "max" as word, ctx=ast.Load()):
            yield f"{word} swapped", lambda n: setattr(n, "id", "max" if n.id == "min" else "min")
        case ast.UnaryOp(op=ast.USub() | ast.Not()):
            yield "sign or not dropped", lambda n: setattr(n, "op", ast.UAdd() if isinstance(n.op, ast.USub) else ast.Not()) or (setattr(n, "operand", ast.UnaryOp(ast.Not(), n.operand)) if isinstance(n.op, ast.Not) else None)


class Changed(importlib.abc.Loader, importlib.abc.MetaPathFinder):
    """Finds one module as its changed tree; everything else as it is."""

    def __init__(self, name: str, tree: ast.Module) -> None:
        self.name, self.tree = name, tree

    def find_spec(self, fullname, path=None, target=None):
        return importlib.util.spec_from_loader(fullname, self) if fullname == self.name else None

    def exec_module(self, module) -> None:
        exec(compile(self.tree, self.name, "exec"), module.__dict__)  # noqa: S102  our own source, changed by us


def begin(module: str, tree: ast.Module) -> int:
    """Runs the facts about a module in a process of its own; exit code 0: nothing noticed. A hang is noticed."""
    child = os.fork()
    if child:
        return child
    signal.alarm(240)
    quiet = os.open(os.devnull, os.O_WRONLY)
    os.dup2(quiet, 1)
    os.dup2(quiet, 2)
    sys.meta_path.insert(0, Changed(f"ohmward.{module.replace('/', '.')}", tree))
    facts = [str(ROOT / "tests" / "facts" / f) for f in FACTS.get(module, FACTS[module.split("/", maxsplit=1)[0]])]
    code = 1
    try:
        code = int(pytest.main(["-q", "-x", "-p", "no:cacheprovider", *facts]))
    except BaseException:  # noqa: BLE001  whatever it was, it must not run on in two processes
        traceback.print_exc(file=sys.__stderr__)
    finally:
        os._exit(min(code, 100))


def survivors_of(module: str, found: list[tuple[int, str, ast.Module]]) -> list[tuple[int, str]]:
    """The changes that no fact notices, two processes at a time."""
    lived: list[tuple[int, str]] = []
    running: dict[int, tuple[int, str]] = {}
    waiting = list(found)
    while waiting or running:
        while waiting and len(running) < 2:
            line, words, tree = waiting.pop()
            running[begin(module, tree)] = (line, words)
        child, status = os.wait()
        site = running.pop(child)
        if status == 0:
            lived.append(site)
    return sorted(lived)


def main(modules: tuple[str, ...]) -> int:
    """Prints each survivor; the count at the end."""
    survivors = total = 0
    for module in modules:
        source = (ROOT / "engine" / "ohmward" / f"{module}.py").read_text()
        lines = source.splitlines()
        found = list(mutants(ast.parse(source)))
        if not survivors_of(module, [(0, "as it is", ast.parse(source))]):
            print(f"{module}: the facts fail on the module as it is")
            return 2
        lived = [(n, w) for n, w in survivors_of(module, found) if (module, w, lines[n - 1].strip()) not in EQUAL]
        survivors += len(lived)
        total += len(found)
        print(f"{module}: {len(found)} changes, {len(lived)} not noticed", flush=True)
        for line, words in lived:
            print(f"  {module}.py:{line}: {words}: {lines[line - 1].strip()[:100]}", flush=True)
    print(f"together: {total} changes, {survivors} not noticed")
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main(tuple(sys.argv[1:]) or MODULES))
