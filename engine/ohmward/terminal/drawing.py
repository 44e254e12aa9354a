"""`draw`: a procedure as a drawing, or in the DOT language."""

import argparse
from pathlib import Path

from ohmward.chart.document import digest_of_table
from ohmward.errors import DONE, UsageError
from ohmward.terminal.records import write_file
from ohmward.terminal.tables import files_here, table_named


def draw(options: argparse.Namespace) -> int:
    """Writes the file; its ending says which kind."""
    table = table_named(options.procedure, *files_here(options.shop))
    ending = Path(options.output).suffix
    if ending == ".svg":
        from ohmward_printouts.chart_svg import render_chart

        data = render_chart(table, digest_of_table(table))
    elif ending in {".dot", ".gv"}:
        from ohmward_printouts.chart_dot import render_dot

        data = render_dot(table)
    else:
        raise UsageError(f"{options.output}: end it in .svg for a drawing or .dot for the DOT language")
    write_file(Path(options.output), data)
    print(f"wrote {options.output}")
    return DONE
