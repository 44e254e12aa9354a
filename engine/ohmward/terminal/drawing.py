"""`draw`: a procedure as a drawing, in the DOT language, or as a model in Promela."""

import argparse
from collections.abc import Mapping
from pathlib import Path

from ohmward.chart.document import digest_of_table
from ohmward.chart.table import Table
from ohmward.errors import DONE, RefusedError, UsageError
from ohmward.shop.folder import find_shop
from ohmward.terminal.approvals import verdict_among
from ohmward.terminal.records import write_file
from ohmward.terminal.screen import safe_text
from ohmward.terminal.tables import files_here, table_named


def draw(options: argparse.Namespace) -> int:
    """Writes the file; its ending says which kind."""
    files, shown = files_here(options.shop)
    table = table_named(options.procedure, files, shown)
    ending = Path(options.output).suffix
    if ending == ".svg":
        from ohmward_printouts.chart_svg import render_chart

        data = render_chart(table, digest_of_table(table), proved=_proved(options.shop, files, table))
    elif ending in {".dot", ".gv"}:
        from ohmward_printouts.chart_dot import render_dot

        data = render_dot(table)
    elif ending == ".pml":
        data = _promela(table, files, shown).encode()
    else:
        kinds = ".svg for a drawing, .dot for the DOT language or .pml for a model in Promela"
        raise UsageError(f"{options.output}: end it in {kinds}")
    write_file(Path(options.output), data)
    print(f"wrote {safe_text(options.output)}")
    return DONE


def _proved(shop: str | None, files: Mapping[str, bytes], table: Table) -> bool:
    """Whether work could begin by a kept verdict: of this very table, under the rules of today."""
    try:
        verdict_among(find_shop(shop), files, table)
    except RefusedError:
        return False
    return True


def _promela(table: Table, files: Mapping[str, bytes], shown: Mapping[str, str]) -> str:
    """The chart with what the rules ask of it; searched first, for the progress with which corrections come."""
    from ohmward.language.library import load_library
    from ohmward.proof.explore import MOST_STATES
    from ohmward.proof.promela import to_promela
    from ohmward.proof.search import prepare

    library = load_library(files, shown)
    search = prepare(table, library)
    search.run(MOST_STATES)
    return to_promela(table, search.asked, search.credit)
