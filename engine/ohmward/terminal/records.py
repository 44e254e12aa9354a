"""`runs`, `export`, `print`."""

import argparse
import json
from contextlib import closing
from pathlib import Path

from ohmward.account.fold import end_label, open_matters
from ohmward.account.state import Account
from ohmward.errors import DONE, RefusedError, StoreError, UsageError
from ohmward.record.bundle import MOST_BYTES, Bundle, make_bundle
from ohmward.record.chain import Chain
from ohmward.record.diary import DIARY, anchors_for, pairs_for
from ohmward.record.integrity import named_photos, verify_run
from ohmward.review.standing import ANSWERED, SENT_BACK, standing_of
from ohmward.shop.folder import open_shop
from ohmward.store.contract import Store
from ohmward.store.sqlite import SqliteStore
from ohmward.terminal.opening import every_account
from ohmward.terminal.screen import say
from ohmward.work.keydesk import diary_of


def runs(options: argparse.Namespace) -> int:
    """Newest first."""
    folder = open_shop(options.shop)
    accounts = every_account(folder)[::-1]
    if options.json:
        print(json.dumps([_plain(a) for a in accounts], indent=1))
        return DONE
    for a in accounts:
        left = ", ".join(m.label for m in open_matters(a)) if a.ended else ""
        who = a.opened["people"][a.worker]["name"]
        say(
            f"{a.run}  {a.opened_at[:10]} {a.opened_at[11:16]}  {who} ({a.worker})  {a.table.procedure}  {a.opened['job']['equipment']}  {end_label(a) if a.ended else 'open at ' + a.node}"
            + ("  REHEARSAL" if a.rehearsal else "")
            + (f"  left: {left}" if left else "")
            + (f"  {standing_of(a)[1]}" if standing_of(a)[0] in {SENT_BACK, ANSWERED} else "")
        )
    if not accounts:
        print("no runs yet")
    return DONE


def _plain(account: Account) -> dict[str, object]:
    return {
        "run": account.run,
        "opened": account.opened_at,
        "worker": account.worker,
        "procedure": account.table.procedure,
        "revision": account.table.revision,
        "equipment": account.opened["job"]["equipment"],
        "open": not account.ended,
        "end": end_label(account),
        "rehearsal": account.rehearsal,
        "entries": account.number,
        "left": [m.plain() for m in open_matters(account)] if account.ended else [],
    }


def bundle_of(shop: str | None, run: str, *, pictures: bool = True) -> tuple[Bundle, Chain]:
    """An intact run of a shop with all that its file carries. Raises UsageError, RefusedError, StoreError."""
    folder = open_shop(shop)
    with closing(SqliteStore(folder.store_path)) as store:
        return bundle_in(store, folder.path, run, pictures=pictures)


def bundle_in(store: Store, folder: Path, run: str, *, pictures: bool = True) -> tuple[Bundle, Chain]:
    """The same, out of a store that is open."""
    raw = tuple(store.fetch(run))
    if not raw or run == DIARY:
        raise UsageError(f"there is no run '{run}' in {folder}; `ohmward runs` lists them")
    diary = diary_of(store)
    if diary.problem:
        raise RefusedError(f"the diary is {diary.problem}")
    found = verify_run(raw, run=run, lists=diary.lists, pairs=pairs_for(diary).get(run, ()))
    if not found.intact:
        raise RefusedError(f"run {run} is {found.problem}")
    bundle = Bundle(
        run=run,
        head=found.chain.head,
        raw=raw,
        lists=diary.lists.signed,
        anchors=anchors_for(diary, run),
        photos=_photos(folder, found.chain) if pictures else {},
    )
    return bundle, found.chain


def _photos(folder: Path, chain: Chain) -> dict[str, bytes]:
    """The pictures that the entries name and the shop still has, by their digest."""
    found = {}
    for digest in sorted(named_photos(chain)):
        path = folder / "photos" / digest
        if path.is_file():
            found[digest] = path.read_bytes()
    return found


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
    """One file that carries the exact bytes of every entry, the keys, what anchors it, its pictures."""
    bundle, chain = bundle_of(options.shop, options.run, pictures=not options.without_pictures)
    data = make_bundle(bundle)
    if len(data) > MOST_BYTES:
        raise RefusedError(
            f"the file would have {len(data)} bytes, more than {MOST_BYTES}: export it with --without-pictures and hand the folder 'photos' over beside it"
        )
    write_file(Path(options.output), data)
    print(f"wrote {options.output}: {len(bundle.raw)} entries, head {chain.head}")
    return DONE
