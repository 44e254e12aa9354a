"""The moves inside a gate's routine: how rules over routines walk from its start to held."""

from collections.abc import Iterator

from ohmward.chart.table import Table


def leaving(table: Table, node: str) -> Iterator[tuple[str, tuple[str, ...], tuple[str, ...]]]:
    """By itself, begin, and answers in time: (node, marks, answer). Kept answers count as given before."""
    for row in table.rows:
        if row.at != node:
            continue
        word, _, answer = row.trigger.partition("@")
        if word in {"", "begin", "answered"}:
            to = table.nodes[table.index[node]].name if row.to == "=" else row.to
            yield to, row.marks, ((answer,) if word == "answered" else ())
