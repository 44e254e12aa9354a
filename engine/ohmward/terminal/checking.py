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
from ohmward.chart.budget import Spent, spent_by
from ohmward.chart.compile import compile_chart
from ohmward.chart.document import digest_of_table
from ohmward.chart.resolve import make_plan
from ohmward.chart.table import Table
from ohmward.errors import DONE, NO, Diagnostic, FaultyFileError, StoreError, UsageError
from ohmward.language.catalogue import catalogue
from ohmward.language.library import OWN, Library
from ohmward.language.schema import schemas
from ohmward.language.suggest import remedy_for
from ohmward.proof.example import try_example
from ohmward.proof.obligations import obligations
from ohmward.proof.page import page_of
from ohmward.proof.verdict import CLAIM, Verdict, prove
from ohmward.shop.models import shop_schemas
from ohmward.terminal.desk import Desk, gather
from ohmward.terminal.screen import say


def check(options: argparse.Namespace) -> int:
    """0 when everything asked for is proved, 1 when something is not, 2 when a file is wrong."""
    if options.schema is not None:
        return _schemas(options.schema)
    if options.explain is not None:
        return _explain(options.explain, options.shop)
    desk = gather(options.shop, options.procedures)
    tables = _compiled(desk)
    if desk.every:
        _examples(desk)
    if options.drills:
        from ohmward.terminal.drilling import show_drills

        show_drills(tables, as_json=options.json)
        return DONE
    verdicts = _proved(tables, desk.library)
    target = Path(options.keep) if options.keep else desk.verdicts
    if target is not None and verdicts:
        _keep(verdicts, target)
    spent = {t.procedure: spent_by(t) for t in tables}
    _report(verdicts, desk.shown, spent, as_json=options.json)
    return DONE if all(v.proved for v, _ in verdicts) else NO


def _proved(tables: list[Table], library: Library) -> list[tuple[Verdict, str]]:
    """Each table with its verdict, in order; several are proved side by side."""
    if sys.stderr.isatty():
        sys.stderr.write(f"proving {', '.join(t.procedure for t in tables)} …\n")
    if len(tables) < 2:
        return [(prove(t, library), digest_of_table(t)) for t in tables]
    with ProcessPoolExecutor(max_workers=min(len(tables), os.cpu_count() or 1)) as pool:
        largest_first = sorted(range(len(tables)), key=lambda at: len(tables[at].rows), reverse=True)
        coming = {at: pool.submit(prove, tables[at], library) for at in largest_first}
        return [(coming[at].result(), digest_of_table(table)) for at, table in enumerate(tables)]


def _compiled(desk: Desk) -> list[Table]:
    """The tables. Raises FaultyFileError with every fault of every file, before anything is proved."""
    tables: list[Table] = []
    wrong = list(desk.wrong)
    for name in desk.names:
        try:
            tables.append(compile_chart(make_plan(desk.library, name)))
        except FaultyFileError as error:
            wrong += [d for d in error.diagnostics if d not in wrong]
    for table in tables:
        try:
            obligations(table, desk.library.rules, frozenset(desk.library.gates))
        except FaultyFileError as error:
            wrong += [d for d in error.diagnostics if d not in wrong]
    _refuse(desk, wrong)
    return tables


def _refuse(desk: Desk, wrong: list[Diagnostic]) -> None:
    if wrong:
        faults = [replace(d, file=desk.shown.get(d.file, d.file)) for d in wrong]
        raise FaultyFileError(tuple(sorted(dict.fromkeys(faults), key=lambda d: (d.file, d.line, d.column))))


def _examples(desk: Desk) -> None:
    """The bad example of each of a shop's own rules, tried; those of shipped rules are tried by the project's own facts."""
    own = [s for s in desk.library.rules.values() if f"{OWN}/rules/{s.model.rule}.yaml" in desk.files]
    for source in own:
        try_example(source, desk.files)
    _refuse(desk, [d for source in own for d in source.faults.found])


def _report(
    verdicts: list[tuple[Verdict, str]],
    shown: dict[str, str],
    spent: dict[str, tuple[Spent, ...]],
    *,
    as_json: bool,
) -> None:
    if as_json:
        plain: list[dict[str, Any]] = [
            {
                **asdict(v),
                "table": digest,
                "claim": CLAIM,
                "questions": [asdict(s) for s in spent[v.procedure]],
            }
            for v, digest in verdicts
        ]
        print(json.dumps(plain, indent=1))
        return
    if not verdicts:
        print("no fault found; nothing here is to be proved")
        return
    for verdict, digest in verdicts:
        word = "proved" if verdict.proved else "NOT PROVED"
        say(
            f"{verdict.procedure} revision {verdict.revision}: {word} ({verdict.positions} positions, {verdict.moves} moves, {len(verdict.rules)} rules, table {digest[:12]})"
        )
        for story in verdict.stories:
            text = story.render()
            for name, path in shown.items():
                text = text.replace(name, path)
            say(*text.split("\n"))
    if any(verdict.proved for verdict, _ in verdicts):
        say(f"What a proof says: {CLAIM}")


def _explain(code: str, shop: str | None) -> int:
    """The page of a fault or of a rule, or of all of them."""
    pages = {name: page.render() for name, page in catalogue().items()}
    pages |= {name: page_of(source.model) for name, source in gather(shop, []).library.rules.items()}
    if code != "all" and code not in pages:
        raise UsageError(
            f"there is no fault or rule '{code}'; {remedy_for(code, pages, what='faults and rules')}"
        )
    print("\n\n".join(pages.values() if code == "all" else [pages[code]]))
    return DONE


def _schemas(directory: str) -> int:
    """Writes one JSON Schema for each kind of file, for editors that complete and explain."""
    folder = Path(directory)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for name, schema in {**schemas(), **shop_schemas()}.items():
            path = folder / f"{name}.schema.json"
            path.write_text(json.dumps(schema, indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
            print(f"wrote {path}")
    except OSError as error:
        raise StoreError(f"{folder}: the schemas could not be written ({error.strerror})") from None
    return DONE


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
