"""`runs`, `export`, `print`."""

import argparse
import json
from pathlib import Path

from ohmward.account.fold import end_label, open_matters
from ohmward.account.state import Account
from ohmward.errors import DONE, RefusedError, StoreError, UsageError
from ohmward.record.bundle import make_bundle
from ohmward.record.chain import Chain, verify_chain
from ohmward.shop.folder import open_shop
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.working import every_account


def runs(options: argparse.Namespace) -> int:
    """Newest first."""
    folder = open_shop(options.shop)
    accounts = every_account(folder)[::-1]
    if options.json:
        print(json.dumps([_plain(a) for a in accounts], indent=1))
        return DONE
    for a in accounts:
        left = ", ".join(m.label for m in open_matters(a)) if a.ended else ""
        print(
            f"{a.run}  {a.table.procedure}  {a.opened['job']['equipment']}  {end_label(a) if a.ended else 'open at ' + a.node}"
            + ("  REHEARSAL" if a.rehearsal else "")
            + (f"  left: {left}" if left else "")
        )
    if not accounts:
        print("no runs yet")
    return DONE


def _plain(account: Account) -> dict[str, object]:
    return {
        "run": account.run,
        "procedure": account.table.procedure,
        "revision": account.table.revision,
        "equipment": account.opened["job"]["equipment"],
        "open": not account.ended,
        "end": end_label(account),
        "rehearsal": account.rehearsal,
        "entries": account.number,
        "left": [m.plain() for m in open_matters(account)] if account.ended else [],
    }


def chain_of(shop: str | None, run: str) -> tuple[Chain, list[bytes]]:
    """An intact run of a shop, with its exact bytes. Raises UsageError or RefusedError."""
    folder = open_shop(shop)
    store = SqliteStore(folder.store_path)
    try:
        raw = list(store.fetch(run))
    finally:
        store.close()
    if not raw:
        raise UsageError(f"there is no run '{run}' in {folder.path}; `ohmward runs` lists them")
    chain = verify_chain(raw, run=run)
    if not chain.intact:
        raise RefusedError(f"run {run} is {chain.problem}")
    return chain, raw


def write_file(path: Path, data: bytes) -> None:
    """Writes a result. Raises StoreError."""
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(data)
        part.replace(path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise StoreError(f"{path}: could not be written ({error.strerror}); nothing was changed") from None


def export(options: argparse.Namespace) -> int:
    """One file that carries the exact bytes of every entry."""
    chain, raw = chain_of(options.shop, options.run)
    write_file(Path(options.output), make_bundle(options.run, raw, chain.head))
    print(f"wrote {options.output}: {len(raw)} entries, head {chain.head}")
    return DONE
