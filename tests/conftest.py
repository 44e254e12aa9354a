"""What several facts share: libraries and tables, compiled once."""

from collections.abc import Callable
from dataclasses import replace
from functools import cache
from pathlib import Path

import pytest
from hypothesis import settings

from ohmward.chart.compile import compile_chart
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import Table
from ohmward.language import library
from ohmward.language.library import Library, load_library
from ohmward.language.nodes import Faults
from ohmward.shop.shipped import shipped_files

settings.register_profile("facts", deadline=None, derandomize=True)  # never a timing in a test that can fail
settings.load_profile("facts")

ROOT = Path(__file__).parent.parent
CUT_RULES = ("hands-need-dead", "opened-is-not-off", "no-closing-on-a-trip", "before-closing", "a-test-ends-held-off", "nothing-left-in-service")


@cache
def _read_once(data: bytes, file: str, model: type, short: str) -> library.Source:
    return _load_one(data, file, model, short)


def _remembered(data: bytes, file: str, model: type, short: str = "") -> library.Source:
    """Reading a file is a function of its bytes: hundreds of facts change one file of eighty, and read the others once."""
    source = _read_once(data, file, model, short)
    return replace(source, faults=Faults(file=source.faults.file, lines=source.faults.lines))


_load_one = library.load_one
library.load_one = _remembered  # type: ignore[assignment]


@cache
def shipped() -> Library:
    return load_library(shipped_files())


@cache
def cut() -> Library:
    folder = ROOT / "tests" / "cut"
    files = {p.relative_to(folder).as_posix(): p.read_bytes() for p in folder.rglob("*.yaml")}
    rules = {f"rules/{n}.yaml": (ROOT / "procedures" / "rules" / f"{n}.yaml").read_bytes() for n in CUT_RULES}
    return load_library(files | rules)


@cache
def table_of(name: str) -> Table:
    library = cut() if name == "cut-down" else shipped()
    return compile_chart(make_plan(library, name))


@pytest.fixture
def table() -> Callable[[str], Table]:
    return table_of
