"""`python -m tests.mutants [MODULE …]`: changes one sign, bound or number at a time and asks whether a fact notices.

Kinds of change: a comparison to its neighbour and to its opposite, `and`/`or`, `+ - * /`, a number by one step, a
text of digits (a table's cell) by its last digit, `min`/`max`, a returned truth. The changed module runs in a process
of its own, against the facts about it. Survivors are listed with their line; those that change nothing are named in
`EQUAL` with their reason.
"""

import ast
import copy
import os
import shutil
import subprocess
import sys
import tempfile
from collections.abc import Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

ROOT = Path(__file__).parent.parent
FACTS = {
    "trade": ("test_vectors.py", "test_trade_lists.py", "test_working.py", "test_trade.py", "test_trade_tables.py"),
    "language": ("test_expression.py", "test_vectors.py", "test_working.py"),
    "account": ("test_working.py", "test_edges.py"),
}
MODULES = (
    *(f"trade/{m}" for m in ("span", "quantity", "units", "formula", "shock", "instruments", "shock_formulas", "arc_flash", "fault_current", "supply", "conductors", "motor", "motor_tables", "insulation", "capacitor", "protection", "refrigerant", "replacement", "return_to_service")),
    "language/evaluate",
    "account/judge",
)
NEIGHBOUR = {ast.Lt: ast.LtE, ast.LtE: ast.Lt, ast.Gt: ast.GtE, ast.GtE: ast.Gt, ast.Eq: ast.NotEq, ast.NotEq: ast.Eq, ast.Is: ast.IsNot, ast.IsNot: ast.Is, ast.In: ast.NotIn, ast.NotIn: ast.In}
OPPOSITE = {ast.Lt: ast.GtE, ast.LtE: ast.Gt, ast.Gt: ast.LtE, ast.GtE: ast.Lt}
ARITHMETIC = {ast.Add: ast.Sub, ast.Sub: ast.Add, ast.Mult: ast.Div, ast.Div: ast.Mult, ast.Pow: ast.Mult}
# file:source-of-the-line -> why the change makes no difference
EQUAL: dict[tuple[str, str], str] = {}


def mutants(tree: ast.Module) -> Iterator[tuple[int, str, ast.Module]]:
    """(line, what was changed, changed tree)."""
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


def killed(module: str, tree: ast.Module, slot: int, folder: Path) -> bool:
    """Whether a fact notices; a hang counts as noticed."""
    place = folder / f"slot{slot}"
    path = place / "engine" / "ohmward" / f"{module}.py"
    kept = path.read_text()
    path.write_text(ast.unparse(tree))
    facts = [str(ROOT / "tests" / "facts" / f) for f in FACTS[module.split("/", maxsplit=1)[0]] if (ROOT / "tests" / "facts" / f).exists()]
    env = os.environ | {"PYTHONPATH": f"{place / 'engine'}:{place / 'printouts'}", "PYTHONDONTWRITEBYTECODE": "1"}
    try:
        done = subprocess.run([sys.executable, "-m", "pytest", "-q", "-x", "-p", "no:cacheprovider", *facts], cwd=ROOT, env=env, capture_output=True, timeout=300, check=False)
    except subprocess.TimeoutExpired:
        return True
    finally:
        path.write_text(kept)
    return done.returncode != 0


def main(modules: tuple[str, ...]) -> int:
    """Prints each survivor; the count at the end."""
    survivors = total = 0
    with tempfile.TemporaryDirectory() as name:
        folder = Path(name)
        for slot in range(2):
            for room in ("engine", "printouts"):
                shutil.copytree(ROOT / room, folder / f"slot{slot}" / room)
        for module in modules:
            source = (ROOT / "engine" / "ohmward" / f"{module}.py").read_text()
            lines = source.splitlines()
            found = list(mutants(ast.parse(source)))
            halves = [found[i::2] for i in range(2)]

            def run(slot, module=module, halves=halves):
                return [(line, words) for line, words, tree in halves[slot] if not killed(module, tree, slot, folder)]

            with ThreadPoolExecutor(2) as pool:
                lived = sorted(s for part in pool.map(run, range(2)) for s in part)
            lived = [(line, words) for line, words in lived if (module, lines[line - 1].strip()) not in EQUAL]
            survivors += len(lived)
            total += len(found)
            print(f"{module}: {len(found)} changes, {len(lived)} not noticed", flush=True)
            for line, words in lived:
                print(f"  {module}.py:{line}: {words}: {lines[line - 1].strip()[:100]}", flush=True)
    print(f"together: {total} changes, {survivors} not noticed")
    return 1 if survivors else 0


if __name__ == "__main__":
    sys.exit(main(tuple(sys.argv[1:]) or MODULES))
