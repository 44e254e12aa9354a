"""A table as plain data, and back: what a run's first entry carries and what a digest is taken over."""

import json
from collections.abc import Callable, Mapping
from functools import cache, lru_cache
from hashlib import sha256
from typing import Any

from ohmward.chart.layout import Condition, Layout, Variable
from ohmward.chart.rowcheck import check_exactly_one
from ohmward.chart.table import Assign, Node, Row, Table
from ohmward.errors import BrokenError

FORMAT = "ohmward-table-1"
DOMAIN = b"\x02"


class NotATableError(ValueError):
    """The data is no table that this version can walk."""


def to_document(table: Table) -> dict[str, Any]:
    """Lists, mappings and text only; the same table gives the same document. Equal conditions in it are one list."""
    words = cache(table.layout.words)
    return {
        "format": FORMAT,
        "procedure": table.procedure,
        "revision": table.revision,
        "variables": [[v.name, list(v.values)] for v in table.layout.variables],
        "nodes": [[n.name, n.kind, n.step, n.check, n.waits] for n in table.nodes],
        "rows": [
            [r.at, r.trigger, words(r.when), r.to, [_assign(words, a) for a in r.assigns], list(r.marks)]
            for r in table.rows
        ],
        "consequences": [_assign(words, a) for a in table.consequences],
        "start": dict(table.start),
        "free": list(table.free),
        "data": dict(table.data),
    }


def _assign(words: Callable[[Condition], list[Any]], assign: Assign) -> list[Any]:
    return [words(assign.when), [list(v) for v in assign.values]]


def canonical_bytes(document: Mapping[str, Any]) -> bytes:
    """Sorted keys, no spaces, UTF-8: RFC 8785 for the closed domain of a document."""
    return json.dumps(document, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode()


def digest_of_table(table: Table) -> str:
    """SHA-256 over the domain byte and the canonical bytes."""
    return digest_of_document(to_document(table))


def digest_of_document(document: Mapping[str, Any]) -> str:
    return sha256(DOMAIN + canonical_bytes(document)).hexdigest()


def checked_document(document: Any) -> Table:  # noqa: ANN401  untrusted
    """The table of a document that nobody vouches for: its rows are checked too. Raises NotATableError only."""
    return _checked(canonical_bytes(document)) if isinstance(document, dict) else from_document(document)


@lru_cache(maxsize=8)
def _checked(data: bytes) -> Table:
    table = from_document(json.loads(data))
    try:
        check_exactly_one(table)
    except (BrokenError, KeyError, StopIteration, RecursionError) as error:
        raise NotATableError(f"the table's rows contradict each other: {error}") from None
    return table


def from_document(document: Any) -> Table:  # noqa: ANN401  untrusted
    """The table of a document. Raises NotATableError, and nothing else."""
    try:
        known = str(document["format"])
        table = _table(document) if known == FORMAT else None
    except (KeyError, ValueError, TypeError, IndexError, AttributeError) as error:
        raise NotATableError(f"the table cannot be read: {type(error).__name__}: {error}") from None
    if table is None:
        raise NotATableError(f"the table's format is {known}; this version reads {FORMAT}")
    return table


def _table(document: Any) -> Table:  # noqa: ANN401
    layout = Layout(
        tuple(Variable(str(n), tuple(str(v) for v in values)) for n, values in document["variables"])
    )
    rows = tuple(
        Row(
            at=at,
            trigger=trigger,
            when=layout.from_words(when),
            to=to,
            assigns=tuple(_read(layout, a) for a in assigns),
            marks=tuple(marks),
        )
        for at, trigger, when, to, assigns, marks in document["rows"]
    )
    table = Table(
        procedure=str(document["procedure"]),
        revision=int(document["revision"]),
        layout=layout,
        nodes=tuple(Node(name=n, kind=k, step=s, check=c, waits=w) for n, k, s, c, w in document["nodes"]),
        rows=rows,
        consequences=tuple(_read(layout, a) for a in document["consequences"]),
        start=dict(document["start"]),
        free=tuple(document["free"]),
        data=dict(document["data"]),
    )
    _ = table.packed, table.packed_consequences
    return table


def _read(layout: Layout, assign: Any) -> Assign:  # noqa: ANN401
    when, values = assign
    return Assign(layout.from_words(when), tuple((str(n), str(v)) for n, v in values))
