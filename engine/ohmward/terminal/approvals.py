"""The shop's file of approvals, at the edge: read, and changed under a lock so that no word is lost."""

import fcntl
from collections.abc import Callable, Collection, Mapping
from contextlib import closing
from dataclasses import replace
from datetime import date
from pathlib import Path

from ohmward.approval.approval import Approval, decide_permit, load_verdicts
from ohmward.approval.consent import Approvals, Consent, Word, read_approvals, write_approvals
from ohmward.approval.signed_word import counting
from ohmward.chart.document import digest_of_table
from ohmward.chart.table import Table
from ohmward.errors import StoreError
from ohmward.proof.standing import digest_of_rules, rules_among
from ohmward.shop.due import WITHIN, Due
from ohmward.shop.folder import ShopFolder
from ohmward.shop.shipped import shipped_folder
from ohmward.store.sqlite import SqliteStore
from ohmward.trade.shock import months_after
from ohmward.work.keydesk import diary_of

INSPECTION = "yearly inspection"
FILE, LOCK, TABLES = "approvals.json", ".approvals.lock", "approved"


def approvals_in(shop: Path) -> Approvals:
    """What stands on file; nothing where there is no file yet. Raises StoreError for a file that cannot be read."""
    path = shop / FILE
    try:
        data = path.read_bytes()
    except FileNotFoundError:
        return _with_recalls(shop, Approvals())
    except OSError as error:
        raise StoreError(f"{path}: cannot be read ({error.strerror})") from None
    return _with_recalls(shop, read_approvals(data, str(path)))


def _with_recalls(shop: Path, known: Approvals) -> Approvals:
    """What the diary has as recalled is recalled, whatever the file says: the file can be written by hand."""
    path = shop / "records.db"
    if not path.is_file():
        return known
    with closing(SqliteStore(path, verify=False)) as store:
        recalled = diary_of(store).recalled
    for name, entry in recalled.items():
        word = Word(person=entry.actor, name=entry.said, role="", time=entry.time, why=entry.note)
        consent = known.tables.get(name)
        if consent is not None and consent.recalled is None:
            known = known.put(replace(consent, recalled=word))
        elif len(name) < 64 and name not in known.gear:
            known = replace(known, gear={**known.gear, name: word})
    return known


def change_approvals(shop: Path, change: Callable[[Approvals], Approvals]) -> Approvals:
    """Reads, changes, writes as one. Nothing is written when `change` raises. Raises StoreError."""
    path = shop / FILE
    try:
        with (shop / LOCK).open("w") as lock:
            fcntl.flock(lock, fcntl.LOCK_EX)
            changed = change(approvals_in(shop))
            part = path.with_name(path.name + ".part")
            part.write_bytes(write_approvals(changed))
            part.replace(path)
            return changed
    except OSError as error:
        raise StoreError(f"{path}: could not be written ({error.strerror}); nothing was changed") from None


def verdict_on(folder: ShopFolder, files: Mapping[str, bytes], table: Table) -> Approval:
    """The verdict on file for exactly this table under the rules among `files`. Raises RefusedError with what to do."""
    return verdict_among(folder.path, files, table)


def verdict_among(shop: Path | None, files: Mapping[str, bytes], table: Table) -> Approval:
    """The same of a shop that is a folder alone, or of what is shipped where there is none."""
    own = (shop / "verdicts.json",) if shop is not None else ()
    verdicts = load_verdicts((shipped_folder() / "verdicts.json", *own))
    rules = digest_of_rules(rules_among(files))
    return decide_permit(digest_of_table(table), rules, verdicts, table.procedure)


def _seen_until(consent: Consent, runs: Collection[str], today: date) -> Consent:
    """The consent with the inspections of runs that are in the store, made until today."""
    kept = (i for i in consent.inspections if i.run in runs and i.by.time[:10] <= today.isoformat())
    return replace(consent, inspections=tuple(kept))


def inspections_due(folder: ShopFolder, today: date, within: int = WITHIN) -> tuple[Due, ...]:
    """Approved procedures whose yearly inspection runs out. Source: 29 CFR 1910.147(c)(6)(i), at least annually."""
    known = approvals_in(folder.path)
    if not known.tables:
        return ()
    from ohmward.approval.inspected import months_between

    with closing(SqliteStore(folder.store_path, verify=False)) as store:
        lists, runs = diary_of(store).lists, set(store.runs())
    files, _ = folder.files()
    months = months_between(rules_among(files))
    found = []
    for name in sorted({c.procedure for c in known.tables.values()}):
        consent = known.last_whole(name)
        if consent is None:
            continue
        since = _seen_until(counting(consent, lists), runs, today).since or consent.since
        last = months_after(date.fromisoformat(since), months)
        label = f"revision {consent.revision}"
        days = (last - today).days
        found.append(Due(id=name, label=label, what=INSPECTION, last=last.isoformat(), days=days))
    return tuple(d for d in found if d.days <= within)
