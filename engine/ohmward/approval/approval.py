"""Which tables may be worked: those whose verdict 'proved' is on file for exactly these moves and rules."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from ohmward.errors import RefusedError, StoreError

FORMAT = "ohmward-verdicts-1"


@dataclass(frozen=True, slots=True, kw_only=True)
class Approval:
    """A verdict on file."""

    table: str
    procedure: str
    revision: int
    positions: int
    rules: str
    version: str


def read_verdicts(data: bytes, name: str) -> dict[str, Approval]:
    """Table digest to approval. A file that cannot be read is refused, not skipped: it decides who may work."""
    try:
        plain = json.loads(data)
        known: Any = plain["proved"] if plain["format"] == FORMAT else None
        return {digest: Approval(table=digest, **kept) for digest, kept in known.items()}
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise StoreError(
            f"{name}: the verdicts cannot be read ({type(error).__name__}); move the file away, then run `ohmward check` to make them anew"
        ) from None


def write_verdicts(approvals: Mapping[str, Approval]) -> bytes:
    """The file's bytes, the same for the same verdicts."""
    proved: dict[str, Any] = {
        a.table: {
            "procedure": a.procedure,
            "revision": a.revision,
            "positions": a.positions,
            "rules": a.rules,
            "version": a.version,
        }
        for a in sorted(approvals.values(), key=lambda a: (a.procedure, a.revision, a.table))
    }
    return (json.dumps({"format": FORMAT, "proved": proved}, indent=1) + "\n").encode()


def load_verdicts(paths: tuple[Path, ...]) -> dict[str, Approval]:
    """The verdicts of every file that exists."""
    found: dict[str, Approval] = {}
    for path in paths:
        if path.is_file():
            found |= read_verdicts(path.read_bytes(), str(path))
    return found


def decide_permit(digest: str, rules: str, approvals: Mapping[str, Approval], procedure: str) -> Approval:
    """The approval of exactly this table under exactly these rules. Raises RefusedError with what to do."""
    known = approvals.get(digest)
    if known is None:
        raise RefusedError(
            f"'{procedure}' as it stands is not proved: run `ohmward check`, mend what it tells, then work it. A procedure that is not proved is not worked; `--rehearse` may still be used."
        )
    if known.rules != rules:
        raise RefusedError(
            f"'{procedure}' was proved under other rules than those that stand now: run `ohmward check` again."
        )
    return known
