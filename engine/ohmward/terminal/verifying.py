"""`verify`: two verdicts, intact and possible. Imports nothing that it does not need."""

import argparse
import json
import sys
from pathlib import Path

from ohmward.account.fold import NoRecordError, fold
from ohmward.errors import DONE, NO, UsageError
from ohmward.language.nodes import inert
from ohmward.record.bundle import verify_bundle
from ohmward.record.chain import Chain, verify_chain


def verify(options: argparse.Namespace) -> int:
    """0 when every record is intact and possible, else 1."""
    chains = [(name, _from_file(name)) for name in options.files] or _from_shop(options.shop)
    reports = [_report(name, chain) for name, chain in chains]
    if options.json:
        print(json.dumps(reports, indent=1))
    else:
        for report in reports:
            print(inert(f"{report['name']}: {report['integrity']}; {report['possible']}"))
        print(
            "Entries are not yet anchored by signatures or checkpoints: whoever controls the device can cut off the newest ones without trace.",
            file=sys.stderr,
        )
    return DONE if reports and all(r["ok"] for r in reports) else NO


def _from_file(name: str) -> Chain:
    try:
        return verify_bundle(Path(name).read_bytes())
    except OSError as error:
        raise UsageError(f"{name}: cannot be read ({error.strerror})") from None


def _from_shop(shop: str | None) -> list[tuple[str, Chain]]:
    from ohmward.shop.folder import open_shop
    from ohmward.store.sqlite import SqliteStore

    folder = open_shop(shop)
    store = SqliteStore(folder.store_path, verify=False)
    try:
        wrong = [
            (str(folder.store_path), Chain(entries=(), head="", problem=fault)) for fault in store.faults()
        ]
        return wrong or [(run, verify_chain(store.fetch(run), run=run)) for run in store.runs()]
    finally:
        store.close()


def _report(name: str, chain: Chain) -> dict[str, object]:
    if not chain.intact:
        return {"name": name, "ok": False, "integrity": chain.problem, "possible": "not looked at"}
    integrity = f"intact, {len(chain.entries)} entries, head {chain.head}"
    try:
        account = fold(chain.entries)
    except NoRecordError as error:
        return {"name": name, "ok": False, "integrity": integrity, "possible": f"not a run: {error}"}
    if account.impossible:
        return {
            "name": name,
            "ok": False,
            "integrity": integrity,
            "possible": f"not possible under its procedure: {account.impossible}",
        }
    rehearsal = ", a rehearsal" if account.rehearsal else ""
    words = f"possible under {account.table.procedure} revision {account.table.revision} (table {account.table_digest[:12]}){rehearsal}"
    return {"name": name, "ok": True, "integrity": integrity, "possible": words}
