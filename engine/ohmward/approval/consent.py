"""Who agreed to work exactly this table: two different people, until it is recalled. Pure: bytes in, bytes out.

Source: 29 CFR 1910.147(c)(6) for the yearly inspection by someone other than those who use the procedure. Two
people to approve: ours.
"""

import json
from collections.abc import Iterable, Mapping
from dataclasses import asdict, dataclass, field, replace
from datetime import date
from typing import Any

from ohmward.chart.document import canonical_bytes
from ohmward.errors import RefusedError, StoreError
from ohmward.record.authority import skeleton

FORMAT = "ohmward-approvals-2"
FIRST = "ohmward-approvals-1"  # words without signatures: they are read, and do not count
NEEDED = 2
MAY_APPROVE = ("safety-officer", "supervisor")


@dataclass(frozen=True, slots=True, kw_only=True)
class Word:
    """What one person said, and when. `why`: the reason of a recall. `signature`: base64, under `key`; '' for none."""

    person: str
    name: str
    role: str
    time: str
    why: str = ""
    key: str = ""
    list_version: int = 0
    signature: str = ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Inspection:
    """A run that was inspected while or after it was worked, by someone who did not work it."""

    run: str
    equipment: str
    employees: tuple[str, ...]
    by: Word


@dataclass(frozen=True, slots=True, kw_only=True)
class Consent:
    """What stands on file for one table. `statement` is the digest of everything that was agreed to."""

    table: str
    procedure: str
    revision: int
    statement: str
    by: tuple[Word, ...] = ()
    recalled: Word | None = None
    inspections: tuple[Inspection, ...] = ()

    @property
    def whole(self) -> bool:
        return len(self.by) >= NEEDED and self.recalled is None

    @property
    def since(self) -> str:
        """The day from which a year counts: the last inspection, else the last word of approval; '' for none."""
        days = [i.by.time for i in self.inspections] or [w.time for w in self.by]
        return max(days)[:10] if days else ""


@dataclass(frozen=True, slots=True, kw_only=True)
class Approvals:
    """The shop's whole file."""

    tables: Mapping[str, Consent] = field(default_factory=dict)
    gear: Mapping[str, Word] = field(default_factory=dict)  # recalled things by their number

    def of(self, procedure: str) -> tuple[Consent, ...]:
        """Every table of a procedure, in the order in which they were agreed to."""
        found = [c for c in self.tables.values() if c.procedure == procedure]
        return tuple(sorted(found, key=lambda c: (max((w.time for w in c.by), default=""), c.table)))

    def last_whole(self, procedure: str) -> Consent | None:
        """The table that was approved last, and stands."""
        return next((c for c in reversed(self.of(procedure)) if c.whole), None)

    def put(self, consent: Consent) -> "Approvals":
        return replace(self, tables={**self.tables, consent.table: consent})


def read_approvals(data: bytes, name: str) -> Approvals:
    """What stands on file. A file that cannot be read is refused, not skipped: it decides who may work."""
    try:
        plain = _of_this_format(json.loads(data))
        tables = {str(d): _consent(str(d), kept) for d, kept in plain["tables"].items()}
        return Approvals(tables=tables, gear={str(n): _word(w) for n, w in plain["gear"].items()})
    except (ValueError, KeyError, TypeError, AttributeError, RecursionError) as error:
        raise StoreError(
            f"{name}: the approvals cannot be read ({type(error).__name__}); put back the file as it was, or move it away and approve again"
        ) from None


def _of_this_format(plain: Any) -> Any:  # noqa: ANN401  untrusted
    if set(plain) != {"format", "tables", "gear"} or plain["format"] not in {FORMAT, FIRST}:
        raise ValueError(f"it is not of the format {FORMAT}")
    return plain


def _consent(table: str, kept: Any) -> Consent:  # noqa: ANN401  untrusted
    recalled = kept["recalled"]
    inspected = [
        Inspection(
            run=str(i["run"]),
            equipment=str(i["equipment"]),
            employees=tuple(str(e) for e in i["employees"]),
            by=_word(i["by"]),
        )
        for i in kept["inspections"]
    ]
    by = tuple(_word(w) for w in kept["by"])
    if len({w.person for w in by}) != len(by):
        raise ValueError("one person stands twice")
    return Consent(
        table=table,
        procedure=str(kept["procedure"]),
        revision=int(kept["revision"]),
        statement=str(kept["statement"]),
        by=by,
        recalled=None if recalled is None else _word(recalled),
        inspections=tuple(inspected),
    )


def _word(kept: Any) -> Word:  # noqa: ANN401  untrusted
    date.fromisoformat(str(kept["time"])[:10])
    texts = {k: str(kept[k]) for k in ("person", "name", "role", "time", "why")}
    signed = {k: str(kept.get(k, "")) for k in ("key", "signature")}
    return Word(**texts, **signed, list_version=int(kept.get("list_version", 0)))


def write_approvals(approvals: Approvals) -> bytes:
    """The file's bytes, the same for the same words."""
    plain = {
        "format": FORMAT,
        "tables": {
            d: {k: v for k, v in asdict(c).items() if k != "table"}
            for d, c in sorted(approvals.tables.items())
        },
        "gear": {n: asdict(w) for n, w in sorted(approvals.gear.items())},
    }
    return canonical_bytes(plain) + b"\n"


def decide_consent(known: Consent | None, fresh: Consent, word: Word) -> Consent:
    """`fresh` with one more word. Raises RefusedError when that person may not give it.

    A word given to another statement (other rules, another verdict) does not count for this one.
    """
    if word.role not in MAY_APPROVE:
        raise RefusedError(
            f"{word.name} ({word.person}) is {word.role.replace('-', ' ')}: a procedure is approved by a {' or a '.join(r.replace('-', ' ') for r in MAY_APPROVE)}"
        )
    given = known.by if known is not None and known.statement == fresh.statement else ()
    if known is not None and known.recalled is not None:
        raise RefusedError(
            f"this table was recalled by {known.recalled.name} on {known.recalled.time[:10]}: {known.recalled.why}. Change the procedure, prove it, approve that"
        )
    for other in given:
        if other.person == word.person or same_name(other.name, word.name):
            raise RefusedError(
                f"{other.name} ({other.person}) has approved it on {other.time[:10]}: somebody else must be the second"
            )
    kept = known.inspections if known is not None else ()
    return replace(fresh, by=(*given, word), inspections=kept)


def same_name(one: str, other: str) -> bool:
    """Whether two names read alike: letters only, without accents, case, spaces or another alphabet."""
    return skeleton(one) == skeleton(other)


def decide_work(known: Consent | None, statement: str, procedure: str) -> Consent:
    """The consent under which a table is worked. Raises RefusedError with what to do."""
    if known is not None and known.recalled is not None:
        raise RefusedError(
            f"'{procedure}' was recalled by {known.recalled.name} on {known.recalled.time[:10]}: {known.recalled.why}. It is not worked."
        )
    if known is None or known.statement != statement:
        raise RefusedError(
            f"'{procedure}' as it stands is not approved: two people agree to exactly this table with `ohmward approve {procedure} --as PERSON`. `--rehearse` may still be used."
        )
    if not known.by:
        raise RefusedError(
            f"'{procedure}' has no word of approval that counts: those on file are not signed, or their signers' keys have ended. Two people approve it again with `ohmward approve {procedure} --as PERSON`"
        )
    if not known.whole:
        raise RefusedError(
            f"'{procedure}' was approved by {known.by[0].name} only: a second person must look, with `ohmward approve {procedure} --as PERSON`"
        )
    return known


def must_inspect_another(word: Word, workers: Iterable[str], names: Mapping[str, str]) -> None:
    """Source: 29 CFR 1910.147(c)(6)(i)(A): by someone other than the ones who use it. Raises RefusedError."""
    for worker in workers:
        if worker == word.person or same_name(names.get(worker, worker), word.name):
            raise RefusedError(
                f"{word.name} worked this run: a procedure is inspected by somebody else (29 CFR 1910.147(c)(6)(i)(A))"
            )
