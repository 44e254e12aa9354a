"""Compiled tables kept beside the shop, by the digest of every file they came from. Losing one costs time only.

A kept table is no permit: a real run still asks for the verdict of exactly its moves.
"""

import contextlib
import json
from collections.abc import Mapping
from functools import lru_cache
from hashlib import sha256
from pathlib import Path

from ohmward import __version__
from ohmward.chart.document import NotATableError, canonical_bytes, from_document, to_document
from ohmward.chart.table import Table

FOLDER = ".tables"


def key_of(files: Mapping[str, bytes], procedure: str) -> str:
    """One digest over version, procedure and the exact bytes of every file."""
    whole = sha256(f"{__version__}\0{procedure}\0".encode())
    for name in sorted(files):
        whole.update(f"{name}\0{len(files[name])}\0".encode() + files[name])
    return whole.hexdigest()


def kept_table(shop: Path, key: str) -> Table | None:
    """The table kept under a key; None when there is none that can be read."""
    try:
        return _read((shop / FOLDER / f"{key}.json").read_bytes())
    except (OSError, ValueError, RecursionError, NotATableError):
        return None


@lru_cache(maxsize=4)
def _read(data: bytes) -> Table:
    return from_document(json.loads(data))


def keep_table(shop: Path, key: str, table: Table) -> None:
    """Keeps a table; a folder that cannot be written is no fault."""
    with contextlib.suppress(OSError):
        folder = shop / FOLDER
        folder.mkdir(exist_ok=True)
        part = folder / f"{key}.part"
        part.write_bytes(canonical_bytes(to_document(table)))
        part.replace(folder / f"{key}.json")
