"""Tables for the doors: of a procedure as it stands, of a file, of a record."""

from collections.abc import Mapping
from pathlib import Path

from ohmward.chart.document import NotATableError, checked_document
from ohmward.chart.table import Table
from ohmward.errors import RefusedError, UsageError
from ohmward.language.library import OWN
from ohmward.language.nodes import Fields, Text
from ohmward.language.suggest import remedy_for
from ohmward.record.bundle import verify_bundle
from ohmward.shop.folder import find_shop, own_files, read_bytes
from ohmward.shop.shipped import shipped_files
from ohmward.shop.tables import keep_table, kept_table, key_of


def files_here(shop: str | None) -> tuple[dict[str, bytes], dict[str, str]]:
    """Shipped files with those of the shop, if there is one; and the paths to show for its own."""
    folder = find_shop(shop)
    own, shown = own_files(folder) if folder is not None else ({}, {})
    return {**shipped_files(), **own}, shown


def table_of(folder: Path, files: Mapping[str, bytes], shown: Mapping[str, str], procedure: str) -> Table:
    """The table of a procedure, kept beside the shop or compiled and kept. Raises UsageError or FaultyFileError."""
    key = key_of(files, procedure)
    kept = kept_table(folder, key)
    if kept is None:
        kept = compiled(files, shown, procedure)
        keep_table(folder, key, kept)
    return kept


def compiled(files: Mapping[str, bytes], shown: Mapping[str, str], procedure: str) -> Table:
    """The table of a procedure. Raises UsageError or FaultyFileError."""
    from ohmward.chart.compile import compile_chart
    from ohmward.chart.resolve import make_plan
    from ohmward.language.library import load_library

    library = load_library(files, shown)
    if procedure not in library.procedures:
        remedy = remedy_for(procedure, library.procedures, what="procedures")
        raise UsageError(f"there is no procedure '{procedure}'; {remedy}")
    return compile_chart(make_plan(library, procedure))


def table_named(name: str, files: Mapping[str, bytes], shown: Mapping[str, str]) -> Table:
    """The table of a procedure by its id, of a procedure's file, or the one that a record carries.

    Raises UsageError, FaultyFileError, or RefusedError for a record that is not intact.
    """
    if name.endswith(".json"):
        return _of_record(name)
    if name.endswith((".yaml", ".yml")):
        return _of_file(name, files, shown)
    return compiled(files, shown, name)


def _of_record(name: str) -> Table:
    chain = verify_bundle(read_bytes(Path(name)))
    if not chain.intact:
        raise RefusedError(f"{name}: {chain.problem}")
    try:
        return checked_document(chain.entries[0].data.get("table"))
    except NotATableError as error:
        raise RefusedError(f"{name}: {error}") from None


BESIDE = ("gates", "groups")


def _with_beside(
    folder: Path, files: Mapping[str, bytes], shown: Mapping[str, str]
) -> tuple[dict[str, bytes], dict[str, str]]:
    """An older copy is read with the gates and groups that stand beside it, where some do; else with the shop's own."""
    paths = [p for kind in BESIDE for p in sorted((folder / kind).glob("*.yaml"))]
    if not paths:
        return dict(files), dict(shown)
    own = tuple(f"{OWN}/{kind}/" for kind in BESIDE)
    same = {f"{p.parent.name}/{p.name}" for p in paths}  # in place of the shipped ones of the same name, too
    others = {n: d for n, d in files.items() if n not in same and not n.startswith(own)}
    beside = {f"{OWN}/{p.parent.name}/{p.name}": p for p in paths}
    return {**others, **{n: read_bytes(p) for n, p in beside.items()}}, {**shown, **{n: str(p) for n, p in beside.items()}}


def stands_alone(name: str) -> bool:
    """Whether a procedure's file has no gates and groups of its own beside it."""
    return name.endswith((".yaml", ".yml")) and not any((Path(name).parent / kind).is_dir() for kind in BESIDE)


def _of_file(name: str, files: Mapping[str, bytes], shown: Mapping[str, str]) -> Table:
    """A procedure's file in place of the one with the same id: an older copy may have any name."""
    from ohmward.language.reader import read_node

    data = read_bytes(Path(name))
    root, faults = read_node(data, name)
    pairs = root.pairs if isinstance(root, Fields) else ()
    own = next((v for k, v in pairs if k.text == "procedure" and isinstance(v, Text)), None)
    if own is None:
        raise UsageError(f"{name}: this is no procedure's file: it has no line `procedure: ID`")
    faults.stop_if_any()
    others = {n: d for n, d in files.items() if n not in {f"{own.text}.yaml", f"{OWN}/{own.text}.yaml"}}
    others, shown = _with_beside(Path(name).parent, others, shown)
    put = f"{OWN}/{own.text}.yaml"
    return compiled({**others, put: data}, {**shown, put: name}, own.text)
