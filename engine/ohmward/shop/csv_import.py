"""Rows of a CSV file as entries of the roster or the gear register. Appends only; every fault with its cell."""

import csv
import io
import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel

from ohmward.errors import Diagnostic, FaultyFileError
from ohmward.language.library import load_one
from ohmward.language.suggest import remedy_for
from ohmward.shop.models import SHOWS, Gear, Person, Register, Roster

MOST_BYTES = 1024 * 1024
MOST_ROWS = 2000
KINDS: Mapping[str, tuple[str, str, type[BaseModel]]] = {
    "roster": ("people", "roster.yaml", Roster),
    "gear": ("gear", "gear.yaml", Register),
}
_LISTS = frozenset({"qualified_for", "tasks", "slots"})
_RATINGS = ("leads", "probes")
_RATED = {f"{name}_{part}": (name, part) for name in _RATINGS for part in ("category", "voltage")}


@dataclass(frozen=True, slots=True)
class Row:
    """One row: its line in the file and its cells by column name."""

    line: int
    cells: Mapping[str, str]


def columns_of(kind: str) -> tuple[str, ...]:
    """The columns that a file may have. Accuracy: a column per function, `0.7; 2; 0.1 V` and, last, the range."""
    if kind == "roster":
        return tuple(Person.model_fields)
    plain = [f for f in Gear.model_fields if f not in {"accuracy", *_RATINGS}]
    return (*plain, *_RATED, *SHOWS)


def read_rows(data: bytes, file: str, kind: str) -> tuple[Row, ...]:
    """The rows of a CSV file. Raises FaultyFileError with every fault of its frame."""
    if len(data) > MOST_BYTES:
        raise _fault(
            file, (1, 1), "too-large", f"the file has {len(data)} bytes", f"at most {MOST_BYTES}; split it"
        )
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        line = data.count(b"\n", 0, error.start) + 1
        raise _fault(file, (line, 1), "not-utf-8", "this is not UTF-8", "save the file as UTF-8") from None
    try:
        return _rows(text, file, kind)
    except csv.Error as error:
        raise _fault(
            file, (1, 1), "not-csv", str(error), "separate cells by commas, quote cells with commas"
        ) from None


def _rows(text: str, file: str, kind: str) -> tuple[Row, ...]:
    reader = csv.reader(io.StringIO(text, newline=""), strict=True)
    head = [cell.strip() for cell in next(reader, [])]
    known = columns_of(kind)
    wrong = [
        _one(
            file,
            (1, n + 1),
            "unknown-field",
            f"'{name[:40]}' is not a column here",
            remedy_for(name, known, what="columns"),
        )
        for n, name in enumerate(head)
        if name not in known or name in head[:n]
    ]
    if not head or "id" not in head:
        wrong.append(
            _one(
                file,
                (1, 1),
                "missing-field",
                "the first line has no column 'id'",
                "name the columns in the first line",
            )
        )
    rows = []
    for cells in reader:
        if len(cells) != len(head) and any(c.strip() for c in cells):
            problem = f"{len(cells)} cells; the first line names {len(head)} columns"
            wrong.append(
                _one(file, (reader.line_num, 1), "cells", problem, "quote a cell that holds a comma")
            )
        elif any(c.strip() for c in cells):
            rows.append(Row(reader.line_num, dict(zip(head, (c.strip() for c in cells), strict=True))))
    if len(rows) > MOST_ROWS:
        wrong.append(
            _one(file, (1, 1), "too-many-values", f"{len(rows)} rows; at most {MOST_ROWS}", "split the file")
        )
    if wrong:
        raise FaultyFileError(tuple(wrong))
    return tuple(rows)


def entry_of(row: Row) -> dict[str, object]:
    """A row as the YAML entry would hold it; empty cells are left out."""
    made: dict[str, object] = {}
    for name, cell in row.cells.items():
        if not cell:
            continue
        if name in _LISTS:
            made[name] = [part.strip() for part in cell.split(";") if part.strip()]
        elif name in _RATED:
            thing, part = _RATED[name]
            made[thing] = {**_mapping(made.get(thing)), part: cell}
        elif name in SHOWS:
            words = ("percent", "counts", "resolution", "up_to")
            stated = dict(zip(words, (p.strip() for p in cell.split(";")), strict=False))
            made["accuracy"] = {**_mapping(made.get("accuracy")), name: stated}
        else:
            made[name] = cell
    return made


def _mapping(value: object) -> dict[str, object]:
    return dict(value) if isinstance(value, dict) else {}


def appended(old: bytes, rows: tuple[Row, ...], file: str, kind: str) -> bytes:
    """The shop's file with the rows behind its entries. Raises FaultyFileError with the cell of every fault."""
    word, name, model = KINDS[kind]
    known = {str(item.id) for item in getattr(load_one(old, name, model).model, word)}
    wrong: list[Diagnostic] = []
    for row in rows:
        wrong += _faults_of(row, file, kind)
        number = row.cells.get("id", "")
        if number in known:
            column = list(row.cells).index("id") + 1
            wrong.append(
                _one(
                    file,
                    (row.line, column),
                    "duplicate-id",
                    f"'{number}' is there already",
                    f"change it in {name}, or leave the row out",
                )
            )
        known.add(number)
    if wrong:
        raise FaultyFileError(tuple(wrong))
    text = old.decode()
    indent = next(
        (
            line[: len(line) - len(line.lstrip())]
            for line in text.split("\n")
            if line.lstrip().startswith("- ")
        ),
        "  ",
    )
    lines = [f"{indent}- {json.dumps(entry_of(row), ensure_ascii=False)}" for row in rows]
    return (text.rstrip("\n") + "\n" + "\n".join(lines) + "\n").encode()


def _faults_of(row: Row, file: str, kind: str) -> Iterator[Diagnostic]:
    """The faults of one row, each at its cell."""
    word, name, model = KINDS[kind]
    try:
        load_one(f"{word}:\n  - {json.dumps(entry_of(row), ensure_ascii=False)}\n".encode(), name, model)
    except FaultyFileError as error:
        for found in error.diagnostics:
            column = _column(row, found)
            yield _one(file, (row.line, column), found.code, found.problem, found.remedy)


def _column(row: Row, found: Diagnostic) -> int:
    """The cell whose text the fault is about; the first one when it is about none."""
    width = found.source[found.column - 1 : found.column - 1 + found.width].strip('"')
    names = list(row.cells)
    for number, name in enumerate(names, 1):
        if width and (row.cells[name] == width or width in row.cells[name].split(";") or name == width):
            return number
    return 1


def _one(file: str, at: tuple[int, int], code: str, problem: str, remedy: str) -> Diagnostic:
    """A fault at a cell: its column is the number of the cell."""
    return Diagnostic(file=file, line=at[0], column=at[1], code=code, problem=problem, remedy=remedy)


def _fault(file: str, at: tuple[int, int], code: str, problem: str, remedy: str) -> FaultyFileError:
    return FaultyFileError((_one(file, at, code, problem, remedy),))


def shop_file(folder: Path, kind: str) -> Path:
    """The shop's file of a kind."""
    return folder / KINDS[kind][1]
