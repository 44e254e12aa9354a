"""A procedure's steps and ways in the DOT language, for tools that lay graphs out. Source: the DOT grammar (from memory)."""

from typing import Any

from ohmward.chart.table import Table
from ohmward_printouts.chart_blocks import goes_on, signal_of, ways_of
from ohmward_printouts.fonts import drawable


def render_dot(table: Table) -> bytes:
    """Steps as boxes, ends rounded, an edge for each answer, gates dashed. Deterministic."""
    data: Any = table.data
    order: list[str] = list(data["order"])
    lines = [f"digraph {_quoted(table.procedure)} {{", "  node [shape=box];"]
    for name in order:
        step = data["steps"][name]
        signal = signal_of(data, step)
        label = f"{name}\n{step['prompt']}" + (f"\n{signal}" if signal else "")
        lines.append(f"  {_quoted(name)} [label={_quoted(label)}{', penwidth=2' if step['heavy'] else ''}];")
    for name, end in sorted(data["ends"].items()):
        lines.append(f"  {_quoted(name)} [label={_quoted(end['title'])}, style=rounded];")
    gates = sorted({k for n in order for k in data["steps"][n]["needs"]})
    lines += [f"  {_quoted('gate ' + key)} [label={_quoted(key)}, style=dashed];" for key in gates]
    for number, name in enumerate(order):
        if goes_on(data, name) and number + 1 < len(order):
            lines.append(f"  {_quoted(name)} -> {_quoted(order[number + 1])};")
        lines += [
            f"  {_quoted(name)} -> {_quoted(to)} [label={_quoted(answer)}];"
            for answer, to in ways_of(data, name)
        ]
        lines += [
            f"  {_quoted('gate ' + key)} -> {_quoted(name)} [style=dashed];"
            for key in data["steps"][name]["needs"]
        ]
    return ("\n".join([*lines, "}"]) + "\n").encode()


def _quoted(text: str) -> str:
    """A quoted id: backslashes and quotes are text, a line break is a break."""
    flat = [drawable(line).replace("\\", "\\\\").replace('"', '\\"') for line in text.split("\n")]
    return '"' + "\\n".join(flat) + '"'
