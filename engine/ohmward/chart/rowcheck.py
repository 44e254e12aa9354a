"""For each node and trigger exactly one row is enabled, whatever the variables hold."""

from ohmward.chart.layout import ALWAYS, exactly_one
from ohmward.chart.table import Node, Row, Table
from ohmward.errors import BrokenError


def check_exactly_one(table: Table) -> None:
    """For every node and trigger exactly one row is enabled, whatever the variables hold. Raises BrokenError."""
    by_node: dict[tuple[str, str], list[Row]] = {}
    kinds: dict[str, list[Node]] = {}
    for node in table.nodes:
        kinds.setdefault(node.kind, []).append(node)
    for row in table.rows:
        nodes = [n.name for n in kinds.get(row.at[4:], [])] if row.at.startswith("any ") else [row.at]
        for name in nodes:
            by_node.setdefault((name, row.trigger), []).append(row)
    for (name, trigger), rows in by_node.items():
        if len(rows) == 1 and rows[0].when == ALWAYS:
            continue
        wrong = exactly_one(table.layout, [r.when for r in rows])
        if wrong is not None:
            raise BrokenError(f"{wrong[0]} at '{name}' for '{trigger}' when {wrong[1]}")
