"""`check`: every fault of every file, then the proof of each procedure."""

import argparse
import json
import os
import sys
from concurrent.futures import ProcessPoolExecutor
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

from ohmward import __version__
from ohmward.approval.approval import Approval, load_verdicts, write_verdicts
from ohmward.chart.compile import compile_chart
from ohmward.chart.document import digest_of_table
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import Table
from ohmward.errors import DONE, NO, Diagnostic, FaultyFileError, StoreError, UsageError
from ohmward.language.library import Library, load_library
from ohmward.language.suggest import remedy_for
from ohmward.proof.verdict import CLAIM, Verdict, prove
from ohmward.shop.folder import open_shop
from ohmward.shop.shipped import shipped_files


def library_of(shop: str | None) -> tuple[Library, Path | None, dict[str, str]]:
    """The library, where verdicts are kept, and the paths of own files; the shipped ones alone without a shop."""
    try:
        folder = open_shop(shop)
    except UsageError:
        if shop:
            raise
        return load_library(shipped_files()), None, {}
    files, shown = folder.files()
    return load_library(files, shown), folder.path / "verdicts.json", shown


def check(options: argparse.Namespace) -> int:
    """0 when everything asked for is proved, 1 when something is not, 2 when a file is wrong."""
    library, keep, shown = library_of(options.shop)
    names = options.procedures or sorted(library.procedures)
    for name in names:
        if name not in library.procedures:
            raise UsageError(
                f"there is no procedure '{name}'; {remedy_for(name, library.procedures, what='procedures')}"
            )
    tables = _compiled(library, names, shown)
    verdicts = _proved(tables, library)
    target = Path(options.keep) if options.keep else keep
    if target is not None:
        _keep(verdicts, target)
    _report(verdicts, shown, as_json=options.json)
    return DONE if all(v.proved for v, _ in verdicts) else NO


def _proved(tables: list[Table], library: Library) -> list[tuple[Verdict, str]]:
    """Each table with its verdict, in order; several are proved side by side."""
    if sys.stderr.isatty():
        sys.stderr.write(f"proving {', '.join(t.procedure for t in tables)} …\n")
    if len(tables) < 2:
        return [(prove(t, library), digest_of_table(t)) for t in tables]
    with ProcessPoolExecutor(max_workers=min(len(tables), os.cpu_count() or 1)) as pool:
        coming = [pool.submit(prove, table, library) for table in tables]
        return [(c.result(), digest_of_table(t)) for c, t in zip(coming, tables, strict=True)]


def _compiled(library: Library, names: list[str], shown: dict[str, str]) -> list[Table]:
    """The tables. Raises FaultyFileError with every fault of every procedure, before anything is proved."""
    tables: list[Table] = []
    wrong: list[Diagnostic] = []
    for name in names:
        try:
            tables.append(compile_chart(make_plan(library, name)))
        except FaultyFileError as error:
            wrong += [d for d in error.diagnostics if d not in wrong]
    if wrong:
        raise FaultyFileError(tuple(replace(d, file=shown.get(d.file, d.file)) for d in wrong))
    return tables


def _report(verdicts: list[tuple[Verdict, str]], shown: dict[str, str], *, as_json: bool) -> None:
    if as_json:
        plain: list[dict[str, Any]] = [
            {**asdict(v), "table": digest, "claim": CLAIM} for v, digest in verdicts
        ]
        print(json.dumps(plain, indent=1))
        return
    for verdict, digest in verdicts:
        word = "proved" if verdict.proved else "NOT PROVED"
        print(
            f"{verdict.procedure} revision {verdict.revision}: {word} ({verdict.positions} positions, {verdict.moves} moves, {len(verdict.rules)} rules, table {digest[:12]})"
        )
        for story in verdict.stories:
            text = story.render()
            for name, path in shown.items():
                text = text.replace(name, path)
            print(text)
    print(f"What a proof says: {CLAIM}")


def _keep(verdicts: list[tuple[Verdict, str]], target: Path) -> None:
    """Verdicts of other procedures stay; one that is no longer proved goes."""
    known = load_verdicts((target,))
    names = {v.procedure for v, _ in verdicts}
    kept = {d: a for d, a in known.items() if a.procedure not in names}
    for verdict, digest in verdicts:
        if verdict.proved:
            kept[digest] = Approval(
                table=digest,
                procedure=verdict.procedure,
                revision=verdict.revision,
                positions=verdict.positions,
                rules=verdict.rules_digest,
                version=__version__,
            )
    try:
        target.write_bytes(write_verdicts(kept))
    except OSError as error:
        raise StoreError(f"{target}: the verdicts could not be kept ({error.strerror})") from None
