"""For each node and trigger exactly one row is enabled, whatever the variables hold."""

from ohmward.chart.layout import ALWAYS, Condition, exactly_one
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
    right: set[tuple[Condition, ...]] = {(ALWAYS,)}  # what was decided once, however often it stands
    for (name, trigger), rows in by_node.items():
        whens = tuple(row.when for row in rows)
        wrong = None if whens in right else exactly_one(table.layout, whens)
        right.add(whens)
        if wrong is not None:
            raise BrokenError(f"{wrong[0]} at '{name}' for '{trigger}' when {wrong[1]}")
