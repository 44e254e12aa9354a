"""The house: layers, sizes, what the inside never imports, words that may not stand."""

import ast
import re
import subprocess
import sys
from pathlib import Path

import pytest

from tests.conftest import ROOT

LAYERS = {
    "trade": 0, "language": 1, "chart": 2, "record": 2, "proof": 3, "account": 3, "store": 3, "shop": 3,
    "approval": 4, "work": 5, "review": 6, "rehearsal": 6, "printouts": 6, "terminal": 7,
}
APART = {("chart", "record"), ("record", "chart")}
INSIDE = ("trade", "language", "chart", "record", "proof", "account")
EFFECTS = {"os", "time", "random", "sqlite3", "logging", "secrets", "socket", "subprocess"}
SOURCES = sorted((ROOT / "engine").rglob("*.py")) + sorted((ROOT / "printouts").rglob("*.py"))


def room(path: Path) -> str:
    parts = path.relative_to(ROOT).parts
    return "printouts" if parts[0] == "printouts" else (parts[2] if len(parts) > 3 else "")


def imports(path: Path) -> set[str]:
    found = set()
    for node in ast.walk(ast.parse(path.read_text())):
        if isinstance(node, ast.Import):
            found |= {a.name for a in node.names}
        elif isinstance(node, ast.ImportFrom):
            found.add(node.module or "")
    return found


def target_room(name: str) -> str:
    if name.startswith("ohmward_printouts"):
        return "printouts"
    parts = name.split(".")
    return parts[1] if parts[0] == "ohmward" and len(parts) > 1 and parts[1] in LAYERS else ""


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.stem)
def test_a_room_imports_lower_layers_only(path):
    mine = room(path)
    for name in imports(path):
        other = target_room(name)
        if not mine or not other or other == mine:
            continue
        lazily = mine == "terminal" and other == "printouts"
        assert LAYERS[other] < LAYERS[mine] or lazily, f"{path}: {mine} imports {other}"
        assert (mine, other) not in APART


@pytest.mark.parametrize("path", [p for p in SOURCES if room(p) in INSIDE], ids=lambda p: p.stem)
def test_the_inside_reads_no_clock_disk_or_chance(path):
    assert not {n.split(".")[0] for n in imports(path)} & EFFECTS


@pytest.mark.parametrize("path", SOURCES, ids=lambda p: p.stem)
def test_modules_and_functions_stay_small(path):
    text = path.read_text()
    assert len(text.splitlines()) <= 350
    for node in ast.walk(ast.parse(text)):
        if isinstance(node, ast.FunctionDef):
            assert (node.end_lineno or 0) - node.lineno + 1 <= 60, f"{path}:{node.name}"


def test_no_safety_decision_rests_on_an_assert():
    for path in SOURCES:
        assert not any(isinstance(n, ast.Assert) for n in ast.walk(ast.parse(path.read_text()))), path


def test_chart_and_record_need_no_third_party_package():
    code = "import sys, ohmward.chart.table, ohmward.chart.document, ohmward.record.bundle; print(sorted({m.split('.')[0] for m in sys.modules} & {'pydantic','yaml','rich','reportlab','transitions','segno'}))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.strip() == "[]"


@pytest.mark.parametrize("command", [["--help"], ["--version"], ["verify", "missing.json"]])
def test_help_version_and_verify_load_nothing_that_they_do_not_need(command):
    code = (
        "import sys\nfrom ohmward.terminal.main import main\n"
        f"try:\n    main({command!r})\nexcept SystemExit:\n    pass\n"
        "print('LOADED', sorted({m.split('.')[0] for m in sys.modules} & {'pydantic','yaml','rich','reportlab','transitions','segno'}))"
    )
    out = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout
    assert "LOADED []" in out


def test_nothing_in_the_project_names_a_machine_path():
    files = subprocess.run(["git", "ls-files"], cwd=ROOT, capture_output=True, text=True, check=True).stdout.split()
    bad = re.compile(r"(^|[^A-Za-z0-9_./-])/(work|farm)/[A-Za-z]")
    for name in files:
        path = ROOT / name
        if path.suffix in {".py", ".md", ".yaml", ".toml"} and path.is_file() and path.name != "test_house.py":
            assert not bad.search(path.read_text()), name
